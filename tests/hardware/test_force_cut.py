"""Forcing lines to cut from outside, on a stand-in for libgpiod that keeps physical levels."""

from __future__ import annotations

import errno
import inspect
import sys
from types import ModuleType

import pytest

from helpers_gpiod import FakeGpiod, Pin
from matwarden_hardware.gpio import GpioRelay
from matwarden_hardware.lines import force_cut
from matwarden_hardware.ports import DriverError

CHIP = "/dev/gpiochip0"


def board(*lines: int, rest_high: bool = False) -> FakeGpiod:
    """A chip with these lines, each left at the level opposite to its rest."""
    gpiod = FakeGpiod(CHIP, lines[0], rest_high=rest_high)
    for line in lines:
        gpiod.pins[CHIP, line] = Pin(rest_high)
        gpiod.pins[CHIP, line].put(not rest_high)
    return gpiod


def levels(gpiod: FakeGpiod) -> list[bool]:
    return [pin.high for pin in gpiod.pins.values()]


def test_all_lines_of_a_chip_go_in_one_request() -> None:
    """Three lines, one system call, and each is let go of at its level for cut, whatever its polarity."""
    gpiod = board(17, 22, 27)
    assert force_cut(CHIP, {17: True, 22: False, 27: True}, gpiod) == {}
    assert [call[0] for call in gpiod.calls] == ["request_lines", "get_value", "get_value", "get_value", "release"]
    assert levels(gpiod) == [False, True, False]
    assert not any(pin.used for pin in gpiod.pins.values())


def test_a_line_in_use_is_named_and_the_others_are_cut() -> None:
    """Line 22 is held: 17 and 27 are cut all the same, and 22 is said to be busy and keeps its level."""
    gpiod = board(17, 22, 27)
    GpioRelay(CHIP, 22, True, gpiod).drive(True)
    uncut = force_cut(CHIP, {17: True, 22: True, 27: True}, gpiod)
    assert levels(gpiod) == [False, True, False]
    assert list(uncut) == [22]
    assert uncut[22].busy
    assert 'held by another program, which calls itself "matwarden"' in uncut[22].why


def test_a_line_the_chip_has_not_is_named_and_the_others_are_cut() -> None:
    """A slip in a number keeps no other line on."""
    gpiod = board(17)
    uncut = force_cut(CHIP, {99: True, 17: True}, gpiod)
    assert levels(gpiod) == [False]
    assert (list(uncut), uncut[99].busy) == ([99], False)


@pytest.mark.parametrize("broken", ["reads", "refuses"])
def test_a_line_that_does_not_read_back_as_cut_is_told(broken: str) -> None:
    """A level that something else forces, or that cannot be read, is not taken for cut; the line is let go of."""
    gpiod = board(17)
    if broken == "reads":
        gpiod.pin.put = lambda high: None  # type: ignore[method-assign]
    else:
        gpiod.broken["get_value"] = errno.EIO
    assert "it was driven to cut" in force_cut(CHIP, {17: True}, gpiod)[17].why
    assert gpiod.calls[-1] == ("release",)


def test_without_the_library_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """No GPIO library: an error with what to install, not an empty answer that would mean cut."""
    monkeypatch.setitem(sys.modules, "gpiod", ModuleType("gpiod"))
    with pytest.raises(DriverError, match="too old"):
        force_cut(CHIP, {17: True})


def test_its_calls_fit_the_real_library() -> None:
    """Every call it makes binds to the signature of the installed package `gpiod`."""
    real = pytest.importorskip("gpiod")
    gpiod = board(17, 22)
    force_cut(CHIP, {17: True, 22: False}, gpiod)
    _, path, config, consumer = gpiod.calls[0]
    assert isinstance(config, dict)
    inspect.signature(real.request_lines).bind(path, config=config, consumer=consumer)
    for call, *arguments in gpiod.calls[1:]:
        inspect.signature(getattr(real.LineRequest, str(call))).bind("self", *arguments)
    for settings in config.values():
        names = {"INACTIVE": real.line.Value.INACTIVE, "OUTPUT": real.line.Direction.OUTPUT}
        real.LineSettings(
            direction=names[settings.direction.name],
            active_low=settings.active_low,
            output_value=names[settings.output_value.name],
        )
