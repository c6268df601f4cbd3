"""What can go wrong on the simulated shelf, when, and to whom: words and rules. Devices and shelf act on them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from matwarden_hardware.ports import DriverError

__all__ = ["PLACES", "ROOM", "Fault", "FaultKind"]

# The subject of a room fault.
ROOM = "room"
# What of a tub a misplaced probe can lie at, in the order of the tub's nodes.
PLACES = ("wall", "air", "substrate")


class FaultKind(StrEnum):
    """A fault, with what its `amount` means. Kinds without a meaning given take no amount."""

    PROBE_DEAD = "probe-dead"
    PROBE_STUCK = "probe-stuck"
    PROBE_OFFSET = "probe-offset"  # kelvin added
    PROBE_DRIFT = "probe-drift"  # kelvin an hour, from the fault's start
    PROBE_NOISE = "probe-noise"  # standard deviation in kelvin, beside the probe's own
    PROBE_SPIKE = "probe-spike"  # kelvin added to one reading
    PROBE_HANG = "probe-hang"
    PROBE_ELSEWHERE = "probe-elsewhere"  # no amount: `place` says where it lies
    RELAY_WELDED = "relay-welded"
    RELAY_OPEN = "relay-open"
    RELAY_READBACK_WRONG = "relay-readback-wrong"
    MAT_UNPLUGGED = "mat-unplugged"
    MAT_POWER = "mat-power"  # factor on the mat's watts
    MAT_COVERED = "mat-covered"  # factor on what joins the wall to air and room: below 1 for a cushion before it
    LID_OFF = "lid-off"  # factor on what joins air and room
    ROOM_OFFSET = "room-offset"  # kelvin added to the room

    @property
    def of_probe(self) -> bool:
        """True when the subject is a probe's id; otherwise it is a tub's, or ROOM."""
        return self.startswith("probe-")


_WITHOUT_AMOUNT = frozenset(
    {
        FaultKind.PROBE_DEAD,
        FaultKind.PROBE_STUCK,
        FaultKind.PROBE_HANG,
        FaultKind.PROBE_ELSEWHERE,
        FaultKind.RELAY_WELDED,
        FaultKind.RELAY_OPEN,
        FaultKind.RELAY_READBACK_WRONG,
        FaultKind.MAT_UNPLUGGED,
    }
)
_NEVER_NEGATIVE = frozenset({FaultKind.PROBE_NOISE, FaultKind.MAT_POWER, FaultKind.MAT_COVERED, FaultKind.LID_OFF})


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault.

    Attributes:
        at_s: shelf time of its start; at or before now: at once.
        until_s: shelf time of its end; None: until mended.
        subject: the id of the probe, of the tub, or ROOM.
        amount: see the kind.
        place: for `PROBE_ELSEWHERE`: ROOM, or a tub and what it lies at, as in `alder/air`.

    Raises:
        DriverError: an end not after the start, an amount or a place that the kind cannot have, a room fault not on
            the room.
    """

    at_s: float
    until_s: float | None
    kind: FaultKind
    subject: str
    amount: float = 0.0
    place: str = ""

    def __post_init__(self) -> None:
        where = f"fault {self.kind} on {self.subject}"
        if not math.isfinite(self.at_s):
            raise DriverError(f"{where}: starts at {self.at_s} s, expected a number of seconds")
        if self.until_s is not None and not self.at_s < self.until_s < math.inf:
            raise DriverError(f"{where}: ends at {self.until_s} s, expected a time after its start at {self.at_s} s")
        if not math.isfinite(self.amount):
            raise DriverError(f"{where}: amount is {self.amount}, expected a number")
        if self.kind in _WITHOUT_AMOUNT and self.amount != 0.0:
            raise DriverError(f"{where}: amount is {self.amount:g}, but this kind takes none")
        if self.kind in _NEVER_NEGATIVE and self.amount < 0.0:
            raise DriverError(f"{where}: amount is {self.amount:g}, expected 0 or more")
        if (self.kind is FaultKind.ROOM_OFFSET) != (self.subject == ROOM):
            raise DriverError(f"{where}: the subject of {FaultKind.ROOM_OFFSET}, and of no other kind, is '{ROOM}'")
        if self.kind is not FaultKind.PROBE_ELSEWHERE:
            if self.place:
                raise DriverError(f"{where}: place is '{self.place}', but this kind takes none")
        elif self.place != ROOM and self.place.partition("/")[2] not in PLACES:
            raise DriverError(f"{where}: place is '{self.place}', expected '{ROOM}' or a tub's, as oak/air")
