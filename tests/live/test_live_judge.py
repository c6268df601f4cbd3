"""What is found on a machine, judged."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from matwarden.live_judge import State, clock, free_space, hardware_watchdog, persistence, probe, relay_at_rest, span_s
from matwarden.terms import ProbeTerms, Role, Unit
from matwarden_hardware.ports import Sample

MB = 1_000_000
WALL = ProbeTerms("oak-wall", Role.WALL, "oak", None, 10.0, 5.0, 60.0, 3.0, 0.5)


@pytest.mark.parametrize(
    ("parameters", "command_line", "state"),
    [
        ({"pinctrl_bcm2835": "Y"}, "", State.FAIL),
        ({"pinctrl_bcm2835": "N"}, "", State.OK),
        ({"pinctrl_rp1": "N", "pinctrl_bcm2835": "Y"}, "", State.FAIL),
        # The live parameter says what is; the command line only what was asked for.
        ({"pinctrl_rp1": "Y"}, "pinctrl_bcm2835.persist_gpio_outputs=n", State.FAIL),
        ({}, "quiet pinctrl_bcm2835.persist_gpio_outputs=n", State.OK),
        ({}, "pinctrl_rp1.persist_gpio_outputs=n pinctrl_rp1.persist_gpio_outputs=y", State.WARN),
        ({}, "quiet", State.WARN),
    ],
)
def test_a_line_that_keeps_its_level_is_to_be_put_right(
    parameters: dict[str, str], command_line: str, state: State
) -> None:
    """Module parameters as in the Raspberry Pi kernel's pinctrl drivers; a boolean parameter reads Y or N."""
    found = persistence(parameters, command_line)
    assert found.state is state
    assert ("dtparam=strict_gpiod" in found.advice) is (state is not State.OK)


@pytest.mark.parametrize(
    ("device", "set_to", "state"),
    [
        (True, "14s", State.OK),
        (True, "15s", State.OK),
        (True, "1min", State.WARN),
        (True, "0", State.FAIL),
        (True, "infinity", State.FAIL),
        (True, None, State.WARN),
        (False, "14s", State.FAIL),
    ],
)
def test_a_frozen_board_must_be_started_again(device: bool, set_to: str | None, state: State) -> None:
    """The Pi's watchdog counts to about 15 s (bcm2835_wdt: 20 bits of 1/65536 s), so more may not be taken."""
    found = hardware_watchdog(device, set_to)
    assert found.state is state
    assert bool(found.advice) is (state is not State.OK)


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed")
@pytest.mark.parametrize("text", ["14s", "1min 30s", "2h 15min", "500ms", "1d 1s", "3.5s"])
def test_spans_are_read_as_systemd_reads_them(text: str) -> None:
    """Held to `systemd-analyze timespan`."""
    told = subprocess.run(["systemd-analyze", "timespan", text], capture_output=True, text=True, check=True).stdout
    assert span_s(text) == pytest.approx(int(told.split("s:")[1].split()[0]) / 1e6)


@pytest.mark.parametrize("text", ["", "infinity", "soon", "14", "14parsecs", "-3s"])
def test_what_is_no_span_is_none(text: str) -> None:
    """Whatever else the service manager might say."""
    assert span_s(text) is None


@pytest.mark.parametrize(
    ("mark", "told", "state"),
    [(True, None, State.OK), (False, True, State.OK), (False, False, State.WARN), (False, None, State.WARN)],
)
def test_a_wrong_clock_is_no_failure(mark: bool, told: bool | None, state: State) -> None:
    """systemd-timesyncd leaves a mark (systemd-timesyncd.service(8)); timedatectl tells of any time service."""
    assert clock(mark, told).state is state


@pytest.mark.parametrize(("free_mb", "state"), [(5000, State.OK), (499, State.WARN), (49, State.FAIL)])
def test_room_is_judged_by_what_the_record_does_then(free_mb: int, state: State) -> None:
    """Under keep_free_mb old readings go; under 50 MB none is written any more."""
    assert free_space(free_mb * MB, 500, "/var/lib/matwarden").state is state


def test_a_probe_is_judged_as_the_station_judges_it() -> None:
    """Its offset is added, in the keeper's unit; what the station would refuse fails."""
    assert probe(WALL, Sample(22.25), Unit.F).told == "73.0 °F"  # 22.75 C by hand
    for told in (Sample(85.0, None, True), Sample(0.0, 0.0), Sample(-127.0), Sample(3276.7), "empty answer"):
        found = probe(WALL, told, Unit.C)
        assert found.state is State.FAIL
        assert found.told
    assert probe(WALL, "empty answer", Unit.C).told == "empty answer"


@pytest.mark.parametrize(
    ("allows", "state"), [(False, State.OK), (None, State.OK), (True, State.FAIL), ("it is held", State.FAIL)]
)
def test_a_line_at_rest_must_say_cut(allows: bool | str | None, state: State) -> None:
    """A line that lets heat through while nobody drives it asks for the plug first."""
    found = relay_at_rest("oak", allows)
    assert found.state is state
    assert ("Unplug the mat" in found.advice) is (allows is True)
