"""Looking at a relay's line: nothing is driven, whatever is found."""

from __future__ import annotations

import errno

import pytest

from helpers_gpiod import FakeGpiod
from matwarden_hardware.gpio import GpioRelay
from matwarden_hardware.line_level import idle_level
from matwarden_hardware.ports import DriverError

CHIP, LINE = "/dev/gpiochip0", 17


@pytest.mark.parametrize("active_high", [True, False])
@pytest.mark.parametrize("rest_high", [True, False])
def test_a_look_changes_neither_level_nor_direction(active_high: bool, rest_high: bool) -> None:
    """It tells by polarity whether heat is let through, and lets go of the line."""
    gpiod = FakeGpiod(CHIP, LINE, rest_high=rest_high)
    assert idle_level(CHIP, LINE, active_high, gpiod) is (rest_high is active_high)
    assert gpiod.pin.history == [rest_high]
    assert (gpiod.pin.used, gpiod.pin.is_output) == (False, False)
    assert not any(call[0] == "set_value" for call in gpiod.calls)


def test_a_level_that_a_dead_program_left_is_seen() -> None:
    """On a kernel that keeps outputs, heat that a killed program left on is found, and left for `cut`."""
    gpiod = FakeGpiod(CHIP, LINE)
    relay = GpioRelay(CHIP, LINE, True, gpiod)
    relay.drive(True)
    gpiod.pin.used = False  # the kernel takes the line back from a killed program
    assert idle_level(CHIP, LINE, True, gpiod) is True
    assert (gpiod.pin.high, gpiod.pin.is_output) == (True, True)


def test_a_held_line_is_not_looked_at() -> None:
    """Who holds it is told."""
    gpiod = FakeGpiod(CHIP, LINE)
    GpioRelay(CHIP, LINE, True, gpiod)
    with pytest.raises(DriverError, match='held by another program, which calls itself "matwarden"'):
        idle_level(CHIP, LINE, True, gpiod)


def test_a_line_that_is_not_there_or_cannot_be_read_is_told() -> None:
    """Wrong chip, wrong line, a failing read: in words; the line is let go."""
    gpiod = FakeGpiod(CHIP, LINE)
    for chip, line in (("/dev/gpiochip9", LINE), (CHIP, 99)):
        with pytest.raises(DriverError, match=f"relay on {chip} line {line}: "):
            idle_level(chip, line, True, gpiod)
    gpiod.broken["get_value"] = errno.EIO
    with pytest.raises(DriverError, match="its level cannot be read"):
        idle_level(CHIP, LINE, True, gpiod)
    assert not gpiod.pin.used
