"""One tub of the simulated shelf: its temperatures, its relay line and contact, and what its faults make of them."""

from __future__ import annotations

from collections.abc import Sequence

from matwarden_hardware.twin.faults import Fault, FaultKind
from matwarden_hardware.twin.physics import Moves, Physics

__all__ = ["Tub"]


class Tub:
    """The state of one tub. The shelf moves it; nobody else writes to it.

    Attributes:
        nodes_c: its state: of the stock tub wall, air and substrate; of a fitted one, see there.
        places: where in it wall, air and substrate are measured, and kelvin above.
        line_allow: the level the relay's line was driven to; `opened`: somebody holds the line.
        contact_closed, readback_wrong, heat_w, network: what follows from the line and the faults.

    Raises:
        ValueError: physics that no tub can have.
    """

    __slots__ = (
        "_networks",
        "_physics",
        "contact_closed",
        "heat_w",
        "line_allow",
        "network",
        "nodes_c",
        "opened",
        "places",
        "readback_wrong",
    )

    def __init__(self, physics: Physics, start_c: float) -> None:
        self._physics = physics
        self._networks: dict[tuple[float, float], Moves] = {}
        self.places = physics.places
        self.nodes_c: tuple[float, ...] = physics.begin(start_c)
        self.line_allow = False
        self.opened = False
        self.obey([])

    def obey(self, faults: Sequence[Fault]) -> None:
        """Make contact, read-back, heat and network follow from the line and these faults."""
        kinds = {fault.kind for fault in faults}
        power_w, lid_factor, cover_factor = self._physics.mat_w, 1.0, 1.0
        for fault in faults:
            if fault.kind is FaultKind.MAT_POWER:
                power_w *= fault.amount
            elif fault.kind is FaultKind.LID_OFF:
                lid_factor *= fault.amount
            elif fault.kind is FaultKind.MAT_COVERED:
                cover_factor *= fault.amount
        # Welded wins over open: of two answers to an impossible question the dangerous one.
        self.contact_closed = FaultKind.RELAY_WELDED in kinds or (self.line_allow and FaultKind.RELAY_OPEN not in kinds)
        self.readback_wrong = FaultKind.RELAY_READBACK_WRONG in kinds
        self.heat_w = power_w if self.contact_closed and FaultKind.MAT_UNPLUGGED not in kinds else 0.0
        factors = (lid_factor, cover_factor)
        self.network = self._networks.get(factors) or self._physics.network(*factors)
        self._networks[factors] = self.network
