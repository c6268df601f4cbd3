"""The permit's line, real driver and simulated: low, strictly alternating, and only when it is told to."""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

import pytest

from helpers_gpiod import FakeGpiod
from matwarden_hardware.permit import PermitLine
from matwarden_hardware.ports import DriverError, Permit, RelayError
from matwarden_hardware.twin import TwinPermit

CHIP = "/dev/gpiochip0"


class Rig(Protocol):
    """A line that can be opened, and every level that was ever on it."""

    def open(self) -> Permit: ...
    def levels(self) -> list[bool]: ...


class GpioRig:
    """The real driver on a pin that remembers its levels."""

    def __init__(self, strict: bool = False) -> None:
        self.gpiod = FakeGpiod(CHIP, 24, strict=strict)

    def open(self) -> Permit:
        return PermitLine(CHIP, 24, self.gpiod)

    def levels(self) -> list[bool]:
        return self.gpiod.pin.history


class TwinRig:
    """The simulated one, with its record."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def open(self) -> Permit:
        return TwinPermit(lambda: 7.0, self.lines.append)

    def levels(self) -> list[bool]:
        return [line == "7.000 high permit\n" for line in self.lines]


@pytest.fixture(params=[GpioRig, lambda: GpioRig(strict=True), TwinRig], ids=["gpio", "gpio-strict", "twin"])
def rig(request: pytest.FixtureRequest) -> Rig:
    make: Callable[[], Rig] = request.param
    return make()


def test_it_is_low_when_opened_and_stays_so(rig: Rig) -> None:
    """Nothing but a pulse ever raises it."""
    rig.open()
    assert rig.levels() == [False]


def test_pulses_alternate_strictly(rig: Rig) -> None:
    """Each pulse is one change of level."""
    permit = rig.open()
    for _ in range(5):
        permit.pulse()
    assert rig.levels() == [False, True, False, True, False, True]


@pytest.mark.parametrize("pulses", [2, 3])
def test_it_is_low_when_closed(pulses: int, rig: Rig) -> None:
    """Closed on a high or a low level, and closed twice: it ends low, and no pulse comes after."""
    permit = rig.open()
    for _ in range(pulses):
        permit.pulse()
    permit.close()
    permit.close()
    with pytest.raises(RelayError, match="closed"):
        permit.pulse()
    assert rig.levels() == [False, True, False] + [True, False] * (pulses - 2)


def test_a_line_left_high_is_low_when_opened() -> None:
    """What a killed run left high is low with the first request, which sets level and direction at once."""
    rig = GpioRig()
    rig.gpiod.pin.put(True)
    rig.open()
    assert rig.levels() == [False, True, False]
    assert [call[0] for call in rig.gpiod.calls] == ["request_lines"]


def test_a_refused_level_is_tried_again() -> None:
    """A pulse that the kernel refused was none: the next one goes to the same level."""
    rig = GpioRig()
    permit = rig.open()
    rig.gpiod.broken["set_value"] = errno.EIO
    with pytest.raises(RelayError, match="permit on /dev/gpiochip0 line 24"):
        permit.pulse()
    del rig.gpiod.broken["set_value"]
    permit.pulse()
    assert rig.levels() == [False, True]


def test_a_line_in_use_is_refused_by_its_name() -> None:
    """The keeper is told that it is the permit's line that somebody holds."""
    rig = GpioRig()
    rig.open()
    with pytest.raises(DriverError, match="permit on /dev/gpiochip0 line 24: it is held by another program"):
        rig.open()


def test_a_record_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """Opening it says so; a record in a file is added to."""
    with pytest.raises(DriverError, match="permit: cannot write its record"):
        TwinPermit(lambda: 0.0, tmp_path / "nowhere" / "record.txt")
    for _ in range(2):
        permit = TwinPermit(lambda: 0.0, tmp_path / "record.txt")
        permit.pulse()
        permit.close()
    words = [line.split()[1] for line in (tmp_path / "record.txt").read_text(encoding="utf-8").splitlines()]
    assert words == ["low", "high", "low"] * 2
