"""The relay driver on a stand-in for libgpiod that keeps physical levels, and on the real library where it can fail."""

from __future__ import annotations

import errno
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import ModuleType

import pytest

from helpers_gpiod import Direction, FakeGpiod, LineSettings, Value
from matwarden_hardware.gpio import GpioRelay
from matwarden_hardware.ports import DriverError, RelayError

CHIP = "/dev/gpiochip0"


def board(active_high: bool, strict: bool = False) -> FakeGpiod:
    """A chip whose line 17 is pulled to "cut" by the board's resistor, as the wiring notes ask."""
    return FakeGpiod(CHIP, 17, rest_high=not active_high, strict=strict)


def refusal(gpiod: ModuleType | None, chip: str = CHIP, line: int = 17) -> str:
    with pytest.raises(DriverError) as caught:
        GpioRelay(chip, line, True, gpiod)
    return str(caught.value)


@pytest.mark.parametrize("active_high", [True, False])
def test_one_request_sets_everything(active_high: bool) -> None:
    """Direction, polarity and the level for cut go to the kernel in one request, and in nothing before or after it."""
    gpiod = board(active_high)
    GpioRelay(CHIP, 17, active_high, gpiod)
    settings = LineSettings(direction=Direction.OUTPUT, active_low=not active_high, output_value=Value.INACTIVE)
    assert gpiod.calls == [("request_lines", CHIP, {17: settings}, "matwarden")]


@pytest.mark.parametrize("strict", [True, False])
@pytest.mark.parametrize("active_high", [True, False])
def test_levels_on_the_pin(active_high: bool, strict: bool) -> None:
    """Over a whole life the pin goes to the allowing level only between allow and cut, in either polarity."""
    gpiod = board(active_high, strict)
    relay = GpioRelay(CHIP, 17, active_high, gpiod)
    relay.drive(False)
    assert gpiod.pin.history == [not active_high]
    relay.drive(True)
    assert gpiod.pin.high is active_high
    relay.close()
    assert gpiod.pin.history == [not active_high, active_high, not active_high]


@pytest.mark.parametrize("active_high", [True, False])
def test_opening_cuts_what_a_killed_process_left(active_high: bool) -> None:
    """A line that still allows because its owner was killed is cut by opening it."""
    gpiod = board(active_high)
    gpiod.pin.put(active_high)
    GpioRelay(CHIP, 17, active_high, gpiod)
    assert gpiod.pin.high is not active_high


def test_close_cuts_before_it_releases() -> None:
    """The last level written while the line is still held is cut; release comes after, once."""
    gpiod = board(True)
    relay = GpioRelay(CHIP, 17, True, gpiod)
    relay.drive(True)
    relay.close()
    relay.close()
    assert gpiod.calls[2:] == [("set_value", 17, Value.INACTIVE), ("release",)]


def test_close_releases_even_if_it_cannot_cut() -> None:
    """A line that cannot be cut at the end is released all the same, and the keeper is told to unplug."""
    gpiod = board(True)
    relay = GpioRelay(CHIP, 17, True, gpiod)
    gpiod.broken["set_value"] = errno.EIO
    with pytest.raises(RelayError, match="could not be cut before release.*unplug the mat"):
        relay.close()
    assert gpiod.calls[-1] == ("release",)
    assert not gpiod.pin.used


def test_closed_is_closed() -> None:
    """A closed relay refuses to be driven or read, and the pin stays as it was."""
    gpiod = board(True)
    relay = GpioRelay(CHIP, 17, True, gpiod)
    relay.close()
    with pytest.raises(RelayError, match="already closed"):
        relay.drive(True)
    with pytest.raises(RelayError, match="already closed"):
        relay.read_back()
    assert gpiod.pin.history == [False]


def test_no_order_slips_in_while_closing() -> None:
    """An order to allow from another thread, given between the last cut and the release, finds the relay closed."""
    gpiod = board(True)
    relay = GpioRelay(CHIP, 17, True, gpiod)
    late: Future[None]
    with ThreadPoolExecutor() as other:

        def order_while_closing() -> None:
            nonlocal late
            late = other.submit(relay.drive, True)
            with pytest.raises(TimeoutError):
                late.result(timeout=0.05)

        gpiod.before_release = order_while_closing
        relay.close()
        with pytest.raises(RelayError, match="already closed"):
            late.result()
    assert gpiod.pin.history == [False]


@pytest.mark.parametrize(("allow", "word"), [(True, "allowed"), (False, "cut")])
def test_refused_level(allow: bool, word: str) -> None:
    """A level that the kernel refuses is an error that names the line and what was wanted."""
    gpiod = board(True)
    relay = GpioRelay(CHIP, 17, True, gpiod)
    gpiod.broken["set_value"] = errno.EIO
    with pytest.raises(RelayError, match=f"relay on {CHIP} line 17: cannot be {word}"):
        relay.drive(allow)


def test_refused_read_back() -> None:
    """A level that cannot be read is an error, never an answer."""
    gpiod = board(True)
    relay = GpioRelay(CHIP, 17, True, gpiod)
    gpiod.broken["get_value"] = errno.EIO
    with pytest.raises(RelayError, match="its level cannot be read"):
        relay.read_back()


def test_read_back_is_the_pin_not_the_command() -> None:
    """A pin that something else forces is read as it is, whatever was commanded."""
    gpiod = board(False)
    relay = GpioRelay(CHIP, 17, False, gpiod)
    gpiod.pin.put(False)
    assert relay.read_back() is True


def test_held_line_names_its_holder() -> None:
    """A line that another program holds is refused with that program's own name for itself."""
    gpiod = board(True)
    GpioRelay(CHIP, 17, True, gpiod)
    assert refusal(gpiod) == (
        f'relay on {CHIP} line 17: it is held by another program, which calls itself "matwarden"; '
        "stop that first, or choose another line"
    )


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.EACCES, "add it to the group gpio"),
        (errno.EPERM, "the service's DeviceAllow"),
        (errno.EBUSY, "held by another program or the kernel"),
        (errno.EINVAL, "has no such line, or it cannot be an output"),
        (errno.EIO, "it cannot be opened (Input/output error)"),
    ],
)
def test_refused_request(number: int, words: str) -> None:
    """Each error number of the request becomes advice."""
    gpiod = board(True)
    gpiod.broken["request_lines"] = number
    assert words in refusal(gpiod)


@pytest.mark.parametrize("line", [99, -1])
def test_no_such_line(line: int) -> None:
    """A line that the chip does not have is refused, with a hint at the chip."""
    assert "no such line; is it the right chip?" in refusal(board(True), line=line)


def test_no_such_chip(tmp_path: Path) -> None:
    """A chip that is absent is refused with the list of those that are there."""
    (tmp_path / "gpiochip4").touch()
    message = refusal(board(True), chip=str(tmp_path / "gpiochip0"))
    assert message.endswith(f"there is no such chip; this machine has: {tmp_path}/gpiochip4")


def test_without_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a machine without the library the keeper is told what to install."""
    monkeypatch.setitem(sys.modules, "gpiod", None)
    assert "needs the Python package gpiod" in refusal(None)


def test_with_the_old_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """The incompatible first version of the library is recognised and refused."""
    monkeypatch.setitem(sys.modules, "gpiod", ModuleType("gpiod"))
    assert 'too old, version 2 is needed; install it with: pip install "gpiod>=2.2.2"' in refusal(None)


def test_real_library_absent_chip(tmp_path: Path) -> None:
    """The real library's answer to an absent chip becomes our refusal."""
    pytest.importorskip("gpiod")
    assert refusal(None, chip=str(tmp_path / "gpiochip0")).endswith("this machine has: none")


@pytest.mark.parametrize("file", ["/dev/null", "/etc/passwd"])
def test_real_library_not_a_chip(file: str) -> None:
    """The real library's answer to a file that is no GPIO chip becomes our refusal."""
    pytest.importorskip("gpiod")
    assert refusal(None, chip=file) == f"relay on {file} line 17: that file is no GPIO chip"


def test_the_recorder_sees_a_glitch() -> None:
    """The record would show a driver that claims first and sets the level after: these tests can fail."""
    gpiod = board(active_high=False)
    careless = gpiod.request_lines(CHIP, {17: LineSettings(direction=Direction.OUTPUT)}, "careless")
    careless.set_value(17, Value.ACTIVE)
    assert gpiod.pin.history == [True, False, True]
