"""What the composition root hands to whoever runs a station: open probes and relays, and the shelf if simulated."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from matwarden.settings.resolved import Settings
from matwarden_hardware.ports import Probe, Relay

__all__ = ["Devices", "OpenDevices", "TrueState"]


class TrueState(Protocol):
    """What a simulated shelf knows that no probe does; for demo and tests."""

    def temperatures_c(self, tub: str) -> Any: ...

    def room_c(self) -> float: ...

    def contact_closed(self, tub: str) -> bool: ...

    def heat_w(self, tub: str) -> float: ...


@dataclass(frozen=True, slots=True)
class Devices:
    """Open devices: probes by probe id, relays by enclosure id (each cut). `shelf`: None with real drivers."""

    probes: dict[str, Probe]
    relays: dict[str, Relay]
    shelf: TrueState | None

    def close(self) -> None:
        """Cut and release every relay, then the probes; one that fails keeps no other from being closed."""
        devices: list[Relay | Probe] = [*self.relays.values(), *self.probes.values()]
        for device in devices:
            with contextlib.suppress(Exception):
                device.close()


# (settings, the monotonic clock, whether that clock runs by itself) -> open devices
OpenDevices = Callable[[Settings, Callable[[], float], bool], Devices]
