"""Every single fault of probe, relay, mat, tub, room and clock that we can name; for the tests and for drills.

Values only. What each kind does to the simulated shelf is said where the shelf is: `matwarden_hardware.twin`. How large
each is was chosen, not measured: large enough to matter, and as keepers meet them (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from matwarden.terms import Role

__all__ = ["COLD_TUB", "NOTHING", "FaultCase", "fault_cases"]


class FaultCase(NamedTuple):
    """One fault.

    Attributes:
        id: what a keeper types. name: what a person reads.
        kind: as the simulated shelf names it; empty: it strikes no part of the shelf.
        role: of the probe it strikes; None: it strikes the tub, or the room.
        amount: as of the kind. for_h: hours until it is over by itself; None: it stays.
        place: where the probe lies, with the tub's id as {tub}; `cold tub`: in another one, without heat.
        clock_s: by how much the wall clock is set.
        blinds: heat is wrong from the fault on, because the guard can no longer know.
        excused: its wall may pass the cut-out: software cannot hold a welded contact, nor see past a probe that lies.
        of_house: strikes the whole shelf.
        grows: harmless at first, so that what matters is when it passes a bound.
    """

    id: str
    name: str
    kind: str = ""
    role: Role | None = None
    amount: float = 0.0
    for_h: float | None = None
    place: str = ""
    clock_s: float = 0.0
    blinds: bool = False
    excused: bool = False
    of_house: bool = False
    grows: bool = False


NOTHING = FaultCase("nothing", "nothing")
COLD_TUB = "cold tub"


def _of_probe(role: Role) -> list[FaultCase]:
    lies = role is Role.WALL
    elsewhere = "probe-elsewhere"
    cases = [
        FaultCase("dead", "dead", "probe-dead", blinds=True),
        FaultCase("hangs", "hangs", "probe-hang", blinds=True),
        FaultCase("stuck", "stuck", "probe-stuck", excused=lies),
        FaultCase("noisy", "noisy, 1 K", "probe-noise", amount=1.0),
        FaultCase("drifts-down", "drifts down, 1 K/h", "probe-drift", amount=-1.0, excused=lies, grows=lies),
        FaultCase("drifts-up", "drifts up, 1 K/h", "probe-drift", amount=1.0),
        FaultCase("low", "5 K low", "probe-offset", amount=-5.0, excused=lies),
        FaultCase("in-room", "fallen into the room", elsewhere, place="room", excused=lies),
        FaultCase("in-sun", "in the sun, +8 K for 6 h", "probe-offset", amount=8.0, for_h=6.0),
        FaultCase("in-cold-tub", "reads a cold tub", elsewhere, place=COLD_TUB, excused=lies),
    ]
    if lies:
        cases.append(FaultCase("reads-air", "fallen off, reads the air", elsewhere, place="{tub}/air", excused=True))
    return [
        case._replace(id=f"{role.value}-{case.id}", name=f"{role.value} probe {case.name}", role=role) for case in cases
    ]


_OF_HEAT = (
    FaultCase("relay-welded", "relay welded", "relay-welded", excused=True),
    FaultCase("relay-open", "relay never closes", "relay-open"),
    FaultCase("relay-readback", "relay read-back wrong", "relay-readback-wrong", blinds=True),
    FaultCase("mat-dead", "mat dead", "mat-unplugged"),
    FaultCase("mat-double", "mat of twice its watts", "mat-power", amount=2.0),
    FaultCase("mat-covered", "mat covered", "mat-covered", amount=0.3),
)
_WINDOW = FaultCase("window", "window open, room 8 K colder", "room-offset", amount=-8.0, of_house=True)
_LID = FaultCase("lid-off", "lid off", "lid-off", amount=5.0)
_OF_HOUSE = (
    FaultCase("heat-wave", "heat wave, room 12 K warmer", "room-offset", amount=12.0, of_house=True),
    FaultCase("clock-forward", "clock set forward 3 h", clock_s=3 * 3600.0, of_house=True),
    FaultCase("clock-back", "clock set back 3 h", clock_s=-3 * 3600.0, of_house=True),
)


def fault_cases(roles: Collection[Role], mat: bool, cold_tub: bool) -> tuple[FaultCase, ...]:
    """The faults that a tub can have, in the table's order; the first is none at all.

    Args:
        roles: of its probes. mat: whether it has a mat. cold_tub: another tub without heat stands beside it.
    """
    cases = [NOTHING]
    for role in (Role.WALL, Role.AIR, Role.SUBSTRATE):
        if role in roles:
            cases += _of_probe(role)
    cases += [*(_OF_HEAT if mat else ()), _WINDOW, _LID, *_OF_HOUSE]
    return tuple(
        case for case in cases if (cold_tub or case.place != COLD_TUB) and not (case.place and _air_lacks(case, roles))
    )


def _air_lacks(case: FaultCase, roles: Collection[Role]) -> bool:
    return case.place.endswith("/air") and Role.AIR not in roles
