"""What the composition root hands to whoever runs a station: open probes and relays, and the shelf if simulated."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from matwarden.settings.resolved import Settings
from matwarden_hardware.ports import Permit, Probe, Relay

__all__ = ["Devices", "Discover", "FoundProbe", "IdleLevel", "OpenDevices", "TrueState"]


class TrueState(Protocol):
    """What a simulated shelf knows that no probe does; for demo and tests."""

    def temperatures_c(self, tub: str) -> Any: ...

    def room_c(self) -> float: ...

    def contact_closed(self, tub: str) -> bool: ...

    def heat_w(self, tub: str) -> float: ...


class FoundProbe(Protocol):
    """Something with a temperature that the machine has, whether or not it is in the settings.

    Attributes:
        driver, keys: as the settings name it. answers_to: every set of keys that means it.
        place: where it is. probe: reads it; None when it cannot be used, for the reason `why_not`.
        part_of_machine: it measures the computer, or is no known sensor.
    """

    @property
    def driver(self) -> str: ...

    @property
    def keys(self) -> Mapping[str, str]: ...

    @property
    def answers_to(self) -> Sequence[Mapping[str, str]]: ...

    @property
    def place(self) -> str: ...

    @property
    def probe(self) -> Probe | None: ...

    @property
    def why_not(self) -> str: ...

    @property
    def part_of_machine(self) -> bool: ...


@dataclass(frozen=True, slots=True)
class Devices:
    """Open devices: probes by probe id, relays by enclosure id (each cut). `shelf`: None with real drivers.

    `permit`: None when there is none.
    """

    probes: dict[str, Probe]
    relays: dict[str, Relay]
    shelf: TrueState | None
    permit: Permit | None = None

    def close(self) -> None:
        """Cut and release every relay, then the rest; one that fails keeps no other from being closed."""
        permits = [] if self.permit is None else [self.permit]
        devices: list[Relay | Probe | Permit] = [*self.relays.values(), *permits, *self.probes.values()]
        for device in devices:
            with contextlib.suppress(Exception):
                device.close()


# (settings, the monotonic clock, whether that clock runs by itself) -> open devices
OpenDevices = Callable[[Settings, Callable[[], float], bool], Devices]

# where sysfs is mounted -> what is there
Discover = Callable[[Path], Sequence[FoundProbe]]

# (settings, enclosure) -> whether its relay's line lets power through, left as it is; None when nothing can tell.
# Raises DriverError when it is held or cannot be looked at.
IdleLevel = Callable[[Settings, str], bool | None]
