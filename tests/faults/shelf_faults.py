"""Every fault of probe, relay, mat and room, let loose on the running station at the worst moments. Simulated time.

The station, store and push are the program's own (`House`); the shelf is the twin, whose true temperatures no probe can
hide. Two tubs are struck in each run, each at its own moment: oak has an ordinary mat, alder one twice as strong as it
should be, so that the limiter and not the air decides. Rowan, without a mat, is a cold tub to be mistaken for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

from faults.measured import CUT_OUT_C, LIMITER_C, PAST_CUT_OUT_K, Row, Told
from helpers_station import House, house
from matwarden.core.fault_catalogue import COLD_TUB, FaultCase, fault_cases
from matwarden.events import PushAsked, Refused
from matwarden.settings import Settings
from matwarden.terms import Role
from matwarden_hardware.twin import ROOM, Fault, FaultKind

__all__ = ["CASES", "Case", "Moment", "run"]

TUBS = ("oak", "alder")
POLL_S = 10.0
# The shelf begins at 18:00 local time (17:00 UTC); settled and in the coldest part of the night after this.
SETTLED_S = 10 * 3600.0
WATCHED_S = 12 * 3600.0
# Band, setpoint and hysteresis by default, written down again. Slack: what the strongest mat gains in one poll.
BAND_C = (22.22, 27.78)
DEMAND_ENDS_C = 25.5
SLACK_K = 0.4

_ROOM = "plan = [[5.5, 17.0], [8.0, 20.5], [20.5, 20.5]]"
_WATTS = {"oak": 7.0, "alder": 15.0, "rowan": 7.0}


class Moment(StrEnum):
    """When a fault strikes: both with the mat on, in the coldest hours."""

    HOTTEST = "wall at its hottest"
    DEMAND = "heat just on"


Strike = Callable[[House, str], None]


class Case(NamedTuple):
    """One fault of the catalogue, and how it is let loose here."""

    of: FaultCase
    strike: Strike

    @property
    def name(self) -> str:
        return self.of.name


def _strike(fault: FaultCase) -> Strike:
    def strike(on: House, tub: str) -> None:
        if fault.clock_s:
            on.clock.step_wall(fault.clock_s)
        if not fault.kind:
            return
        now_s = on.shelf.t_s
        until_s = None if fault.for_h is None else now_s + fault.for_h * 3600.0
        subject = tub if fault.role is None else f"{tub}-{fault.role.value}"
        if fault.kind == FaultKind.ROOM_OFFSET:
            subject = ROOM
        place = fault.place.format(tub=tub)
        if place == COLD_TUB:
            assert fault.role is not None
            place = f"rowan/{fault.role.value}"
        on.shelf.inject(Fault(now_s, until_s, FaultKind(fault.kind), subject, fault.amount, place))

    return strike


CASES: tuple[Case, ...] = tuple(
    Case(fault, _strike(fault)) for fault in fault_cases((Role.WALL, Role.AIR), mat=True, cold_tub=True)
)


class _True(NamedTuple):
    """What no probe tells."""

    wall_c: float
    air_c: float
    room_c: float
    powered: bool


@dataclass(slots=True)
class _Watch:
    """One tub under observation, sampled at each cycle."""

    tub: str
    moment: Moment
    hottest_c: float = 0.0
    on_since_s: float | None = None
    struck_s: float | None = None
    peak_wall_c: float = 0.0
    peak_air_c: float = 0.0
    over_k: float = -99.0
    lowest_air_c: float = 99.0
    line_wrong_s: float = 0.0
    mat_wrong_s: float = 0.0
    harm_at_s: float | None = None
    past_at_s: float | None = None
    out_since_s: float | None = None

    def ripe(self, wall_c: float, allowed: bool, now_s: float) -> bool:
        """Is this its moment? Heat is on in either case."""
        if allowed:
            self.on_since_s = now_s if self.on_since_s is None else self.on_since_s
        else:
            self.on_since_s = None
        if now_s < SETTLED_S:
            if now_s > SETTLED_S - 3 * 3600.0 and allowed:
                self.hottest_c = max(self.hottest_c, wall_c)
            return False
        if self.on_since_s is None:
            return False
        if self.moment is Moment.DEMAND:
            return now_s - self.on_since_s <= 2 * POLL_S
        return wall_c >= self.hottest_c - 0.3

    def look(self, true: _True, allowed: bool, blinds: bool, now_s: float) -> None:
        """Take down what is true in this cycle, after the fault."""
        wall_c, air_c, room_c, powered = true
        self.over_k = max(self.over_k, wall_c - max(CUT_OUT_C, room_c))
        self.peak_wall_c = max(self.peak_wall_c, wall_c)
        self.peak_air_c = max(self.peak_air_c, air_c)
        self.lowest_air_c = min(self.lowest_air_c, air_c)
        if self.over_k > PAST_CUT_OUT_K and self.past_at_s is None:
            self.past_at_s = now_s
        forbidden = blinds or wall_c >= LIMITER_C + SLACK_K or air_c >= DEMAND_ENDS_C + SLACK_K
        if forbidden and powered:
            self.mat_wrong_s += POLL_S
            self.line_wrong_s += POLL_S if allowed else 0.0
        # A short excursion does no harm (common practice, no source): an hour out of the band does, and a wall past the
        # limiter that is still heated.
        outside = not BAND_C[0] <= air_c <= BAND_C[1]
        self.out_since_s = (self.out_since_s or now_s) if outside else None
        harmed = (powered and wall_c >= LIMITER_C + SLACK_K) or (
            self.out_since_s is not None and now_s - self.out_since_s >= 3600.0
        )
        if harmed and self.harm_at_s is None:
            self.harm_at_s = now_s


def run(case: Case, moment: Moment, directory: Path, tubs: Sequence[str] = TUBS) -> list[Row]:
    """One run of the whole program: a night until the moment, the fault, and half a day after."""
    on = House(_shelf(directory))
    watches = [_Watch(tub, moment) for tub in tubs]
    shelf, levels, told_from = on.shelf, on.relays, len(on.collector.events)

    def after(now_s: float) -> None:
        for watch in watches:
            wall_c, air_c, _ = shelf.temperatures_c(watch.tub)
            allowed = levels[watch.tub].level
            if watch.struck_s is not None:
                true = _True(wall_c, air_c, shelf.room_c(), shelf.heat_w(watch.tub) > 0.0)
                watch.look(true, allowed, case.of.blinds, now_s)
            elif watch.ripe(wall_c, allowed, now_s):
                struck = watches if case.of.of_house else [watch]
                for each in struck:
                    each.struck_s = now_s
                case.strike(on, watch.tub)

    try:
        on.pass_time(SETTLED_S, after)
        on.pass_time(2 * 3600.0, after)
        missed = [watch.tub for watch in watches if watch.struck_s is None]
        assert not missed, f"{case.name}: {missed} never came to the moment '{moment}'"
        on.pass_time(WATCHED_S - 2 * 3600.0, after)
    finally:
        on.close()
    delivered = on.pushed()
    events = on.collector.events[told_from:]
    return [_row(case, watch, events, len(delivered)) for watch in watches]


def _shelf(directory: Path) -> Settings:
    """The shelf in a house that cools at night, with each tub's own mat."""
    settings = house(directory, heated=TUBS, unheated=("rowan",), room=_ROOM)
    simulation = settings.simulation
    assert simulation is not None
    twins = tuple(
        replace(twin, wall_j_per_k=600.0, air_j_per_k=500.0, mat_w=_WATTS[twin.enclosure]) for twin in simulation.twins
    )
    return replace(settings, simulation=replace(simulation, twins=twins))


def _row(case: Case, watch: _Watch, events: Sequence[object], delivered_n: int) -> Row:
    struck_s = watch.struck_s
    assert struck_s is not None
    pushes = [event for event in events if isinstance(event, PushAsked) and event.at.mono_s >= struck_s]
    mine = [push for push in pushes if _is_about(push, watch.tub)]
    told: Told | None = None
    if mine:
        at_s = mine[0].at.mono_s
        told = Told(at_s - struck_s, mine[0].title)
    refused = [
        event
        for event in events
        if isinstance(event, Refused) and event.at.mono_s >= struck_s and event.probe.startswith(f"{watch.tub}-")
    ]
    asked_n = sum(isinstance(event, PushAsked) for event in events)
    lost = [f"{len(refused)} readings"] if refused else []
    if asked_n > delivered_n:
        lost.append(f"{asked_n - delivered_n} pushes")
    return Row(
        case.name,
        watch.tub,
        watch.moment.value,
        watch.peak_wall_c,
        watch.peak_air_c,
        watch.lowest_air_c,
        watch.over_k,
        watch.line_wrong_s,
        watch.mat_wrong_s,
        None if watch.harm_at_s is None else watch.harm_at_s - struck_s,
        None if watch.past_at_s is None else watch.past_at_s - struck_s,
        told,
        ", ".join(lost),
        case.of.excused,
        case.of.grows,
    )


def _is_about(push: PushAsked, tub: str) -> bool:
    """Of this tub, one of its probes, or of the house; not of another tub, and not the daily digest."""
    return not push.key.startswith("digest") and not any(
        f"/{other}/" in push.key or f"/{other}-" in push.key for other in (*TUBS, "rowan") if other != tub
    )
