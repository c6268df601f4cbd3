"""Probes and relays of the twin: digits, noise, humidity, and the record a relay leaves."""

from __future__ import annotations

import errno
import math
import signal
import statistics
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import matwarden_hardware
from helpers_twin import JumpClock, shelf_at
from matwarden_hardware.ports import DriverError, ProbeError, RelayError
from matwarden_hardware.twin import DailyRoom, Node, TwinProbe, TwinRelay


@given(st.floats(-40.0, 80.0))
def test_a_twelve_bit_probe_reads_in_sixteenths(room_c: float) -> None:
    """Every reading is the nearest multiple of 0.0625 C (DS18B20 data sheet, 12-bit resolution)."""
    read_c = TwinProbe(shelf_at(JumpClock(), DailyRoom(room_c)), "r", None, Node.ROOM).read().temperature_c
    assert (read_c * 16.0).is_integer()
    assert abs(read_c - room_c) <= 0.03125


@given(st.floats(-40.0, 80.0))
def test_a_tenth_is_the_float_of_that_decimal(room_c: float) -> None:
    """At 0.1 K the value has one decimal as a real driver gives it, without binary dust."""
    shelf = shelf_at(JumpClock(), DailyRoom(room_c))
    read_c = TwinProbe(shelf, "r", None, Node.ROOM, resolution_k=0.1).read().temperature_c
    assert read_c == float(f"{read_c:.1f}")


def test_noise_has_the_asked_deviation_and_offset_the_asked_mean() -> None:
    """4000 readings of a 20 C room, read 0.5 K too high with 0.2 K of noise."""
    shelf = shelf_at(JumpClock(), DailyRoom(20.0))
    probe = TwinProbe(shelf, "r", None, Node.ROOM, noise_k=0.2, offset_k=0.5)
    readings = [probe.read().temperature_c for _ in range(4000)]
    assert statistics.fmean(readings) == pytest.approx(20.5, abs=0.02)
    assert statistics.stdev(readings) == pytest.approx(0.2, rel=0.05)


def test_each_node_has_its_own_temperature() -> None:
    """With the mat on for an hour the wall leads, the air follows, the substrate lags, the room stays."""
    clock = JumpClock()
    shelf = shelf_at(clock)
    TwinRelay(shelf, "oak").drive(True)
    clock.jump(3600.0)
    wall, air, ground = (
        TwinProbe(shelf, node, "oak", node).read().temperature_c for node in (Node.WALL, Node.AIR, Node.SUBSTRATE)
    )
    assert wall > air + 2.0 > ground + 2.0 > 20.0
    assert TwinProbe(shelf, "room", None, Node.ROOM).read().temperature_c == 18.0


def test_humidity_is_there_only_when_asked_for() -> None:
    """None, never 0, where there is no such channel."""
    shelf = shelf_at(JumpClock())
    assert TwinProbe(shelf, "a", "oak", Node.AIR).read().humidity_pct is None
    assert TwinProbe(shelf, "b", "oak", Node.AIR, humidity=True).read().humidity_pct == 80.0


# Saturation over water in Pa, IAPWS-95 as CoolProp gives it; its logarithm is straight enough between 5 K to 0.2 %.
SATURATION_PA = {15.0: 1705.793, 20.0: 2339.318, 25.0: 3169.929, 30.0: 4246.971}


def test_air_warmed_over_damp_substrate_gets_drier() -> None:
    """The same vapour is a smaller share of what warmer air can hold: as the steam tables say, within 60 to 90 %."""
    clock = JumpClock()
    shelf = shelf_at(clock)
    probe = TwinProbe(shelf, "a", "oak", Node.AIR, humidity=True)
    TwinRelay(shelf, "oak").drive(True)
    clock.jump(1800.0)
    humidity_pct = probe.read().humidity_pct or math.nan
    _, air_c, ground_c = shelf.temperatures_c("oak")
    over_ground, over_air = np.exp(
        np.interp([ground_c, air_c], list(SATURATION_PA), np.log(list(SATURATION_PA.values())))
    )
    assert air_c > ground_c + 3.0
    assert humidity_pct == pytest.approx(80.0 * over_ground / over_air, abs=0.4)
    assert 60.0 < humidity_pct < 80.0


@pytest.mark.parametrize(
    ("tub", "node", "options"),
    [
        (None, Node.AIR, {}),
        ("oak", Node.ROOM, {}),
        ("oak", Node.WALL, {"humidity": True}),
        ("oak", Node.AIR, {"resolution_k": 0.0}),
        ("oak", Node.AIR, {"noise_k": -0.1}),
        ("oak", Node.AIR, {"offset_k": float("nan")}),
    ],
)
def test_a_probe_that_cannot_be_is_refused_by_name(tub: str | None, node: Node, options: dict[str, float]) -> None:
    """A node without its tub, humidity of a wall, digits or noise that cannot be."""
    with pytest.raises(DriverError, match="simulated probe p: "):
        TwinProbe(shelf_at(JumpClock()), "p", tub, node, **options)  # type: ignore[arg-type]


def test_a_closed_probe_reads_no_more() -> None:
    """Closing twice is safe; reading then is an error of the probe."""
    probe = TwinProbe(shelf_at(JumpClock()), "p", "oak", Node.AIR)
    probe.close()
    probe.close()
    with pytest.raises(ProbeError, match="p: the probe is closed"):
        probe.read()


def test_a_relay_writes_down_every_change_of_its_level_and_nothing_else() -> None:
    """Cut at opening, then each change with the clock's seconds; repeating a level is no change."""
    clock, lines = JumpClock(5000.0), list[str]()
    relay = TwinRelay(shelf_at(clock), "oak", lines.append)
    for allow in (False, True, True, False):
        clock.jump(10.0)
        relay.drive(allow)
    relay.drive(True)
    relay.close()
    assert lines == [
        "5000.000 cut oak\n",
        "5020.000 allow oak\n",
        "5040.000 cut oak\n",
        "5040.000 allow oak\n",
        "5040.000 cut oak\n",
    ]


DIES_HEATING = """
import os, signal, sys, time
from pathlib import Path
from matwarden_hardware.twin import DailyRoom, Shelf, TubPhysics, TwinRelay

shelf = Shelf({"oak": TubPhysics()}, DailyRoom(18.0), time.monotonic, real_time=True)
TwinRelay(shelf, "oak", Path(sys.argv[1])).drive(True)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_the_record_survives_a_process_that_is_killed(tmp_path: Path) -> None:
    """What a relay wrote down is in its file although its process died by SIGKILL at once; the next one appends."""
    record, root = tmp_path / "oak.log", str(Path(matwarden_hardware.__file__).parents[1])
    run = subprocess.run([sys.executable, "-c", DIES_HEATING, record], env={"PYTHONPATH": root}, check=False)
    TwinRelay(shelf_at(JumpClock()), "oak", record).close()
    assert run.returncode == -signal.SIGKILL
    assert [line.split()[1] for line in record.read_text().splitlines()] == ["cut", "allow", "cut"]


def test_relays_may_share_one_record(tmp_path: Path) -> None:
    """Each line names its tub."""
    record, shelf = tmp_path / "relays.log", shelf_at(JumpClock(0.0))
    oak, rowan = (TwinRelay(shelf, tub, record) for tub in ("oak", "rowan"))
    rowan.drive(True)
    oak.drive(True)
    for relay in (oak, rowan):
        relay.close()
    written = record.read_text().splitlines()
    assert [line.removeprefix("0.000 ") for line in written] == [
        "cut oak", "cut rowan", "allow rowan", "allow oak", "cut oak", "cut rowan",
    ]  # fmt: skip


def test_closing_cuts_and_lets_the_line_go() -> None:
    """After `close` the contact is open, the relay refuses, and the line can be opened again, at cut."""
    shelf = shelf_at(JumpClock())
    relay = TwinRelay(shelf, "oak")
    relay.drive(True)
    relay.close()
    relay.close()
    assert not shelf.contact_closed("oak")
    with pytest.raises(RelayError, match="relay of oak: it is closed"):
        relay.drive(True)
    with pytest.raises(RelayError, match="relay of oak: it is closed"):
        relay.read_back()
    assert not TwinRelay(shelf, "oak").read_back()


def test_a_line_is_opened_once() -> None:
    """A second relay on the same tub is refused, and does not touch the first."""
    shelf = shelf_at(JumpClock())
    relay = TwinRelay(shelf, "oak")
    relay.drive(True)
    with pytest.raises(DriverError, match="relay of oak is already in use"):
        TwinRelay(shelf, "oak")
    assert relay.read_back()


def test_a_record_that_cannot_be_opened_is_refused_with_its_path(tmp_path: Path) -> None:
    """The error names relay, path and the system's reason."""
    with pytest.raises(DriverError, match=r"relay of oak: cannot write its record .*lost/r\.log: No such file"):
        TwinRelay(shelf_at(JumpClock()), "oak", tmp_path / "lost" / "r.log")


def test_a_full_disk_stops_no_cut() -> None:
    """When a change cannot be written down the relay says so, but the line has taken its level before."""
    shelf = shelf_at(JumpClock())

    def full(line: str) -> None:
        if relays:
            raise OSError(errno.ENOSPC, "No space left on device")

    relays: list[TwinRelay] = []
    relays.append(TwinRelay(shelf, "oak", full))
    with pytest.raises(RelayError, match="relay of oak: cannot write its record: No space left"):
        relays[0].drive(True)
    with pytest.raises(RelayError, match="No space left"):
        relays[0].close()
    assert not shelf.contact_closed("oak")
    assert not TwinRelay(shelf, "oak").read_back()
