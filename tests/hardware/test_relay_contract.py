"""What every relay driver keeps to, real or simulated: cut unless told otherwise, and no level in passing."""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby
from typing import Protocol

import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers_gpiod import FakeGpiod
from matwarden_hardware.gpio import GpioRelay
from matwarden_hardware.ports import DriverError, Relay, RelayError
from matwarden_hardware.twin import DailyRoom, Shelf, TubPhysics, TwinRelay


class Rig(Protocol):
    """A line that can be opened, and everything that was ever on it: True where power was allowed."""

    def open(self) -> Relay: ...
    def levels(self) -> list[bool]: ...


class GpioRig:
    """The real driver on a pin that remembers its levels, on a board that rests at cut."""

    def __init__(self, active_high: bool, strict: bool) -> None:
        self._active_high = active_high
        self._gpiod = FakeGpiod("/dev/gpiochip0", 17, rest_high=not active_high, strict=strict)

    def open(self) -> Relay:
        return GpioRelay("/dev/gpiochip0", 17, self._active_high, self._gpiod)

    def levels(self) -> list[bool]:
        return [high is self._active_high for high in self._gpiod.pin.history]


class TwinRig:
    """The simulated relay, with its record."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._shelf = Shelf({"oak": TubPhysics()}, DailyRoom(19.0), now=lambda: 0.0)

    def open(self) -> Relay:
        return TwinRelay(self._shelf, "oak", record=self._lines.append)

    def levels(self) -> list[bool]:
        return [line.split()[1] == "allow" for line in self._lines]


RIGS: dict[str, Callable[[], Rig]] = {
    "gpio-high": lambda: GpioRig(active_high=True, strict=False),
    "gpio-low": lambda: GpioRig(active_high=False, strict=False),
    "gpio-high-strict": lambda: GpioRig(active_high=True, strict=True),
    "gpio-low-strict": lambda: GpioRig(active_high=False, strict=True),
    "twin": TwinRig,
}
every_relay = pytest.mark.parametrize("make", RIGS.values(), ids=RIGS.keys())
Make = Callable[[], Rig]


def changes(levels: list[bool]) -> list[bool]:
    """Levels with repetitions left out."""
    return [level for level, _ in groupby(levels)]


@every_relay
def test_cut_from_the_moment_it_is_opened(make: Make) -> None:
    """Opening cuts, reads back as cut, and never passes through allow."""
    rig = make()
    assert rig.open().read_back() is False
    assert changes(rig.levels()) == [False]


@every_relay
@given(orders=st.lists(st.booleans(), max_size=20))
def test_drive_and_read_back_agree(make: Make, orders: list[bool]) -> None:
    """After each order the line reads back as ordered, and nothing else was ever on it."""
    rig = make()
    relay = rig.open()
    for allow in orders:
        relay.drive(allow)
        assert relay.read_back() is allow
    relay.close()
    assert changes(rig.levels()) == changes([False, *orders, False])


@every_relay
def test_close_leaves_cut(make: Make) -> None:
    """Closing while power is allowed cuts it."""
    rig = make()
    relay = rig.open()
    relay.drive(True)
    relay.close()
    assert changes(rig.levels()) == [False, True, False]


@every_relay
def test_close_twice(make: Make) -> None:
    """A second close does nothing, not even to a line that somebody else has opened since."""
    rig = make()
    first = rig.open()
    first.close()
    second = rig.open()
    second.drive(True)
    first.close()
    assert second.read_back() is True


@every_relay
def test_closed_relay_refuses(make: Make) -> None:
    """A closed relay refuses to be driven and to be read, and stays cut."""
    rig = make()
    relay = rig.open()
    relay.close()
    with pytest.raises(RelayError):
        relay.drive(True)
    with pytest.raises(RelayError):
        relay.read_back()
    assert changes(rig.levels()) == [False]


@every_relay
def test_one_owner(make: Make) -> None:
    """A line in use is refused to a second owner, who changes nothing on it."""
    rig = make()
    relay = rig.open()
    relay.drive(True)
    with pytest.raises(DriverError):
        rig.open()
    assert relay.read_back() is True


@every_relay
def test_reopened_is_cut(make: Make) -> None:
    """A line that was closed can be opened again, and is cut."""
    rig = make()
    relay = rig.open()
    relay.drive(True)
    relay.close()
    assert rig.open().read_back() is False
