"""May heat be allowed? A table, and a step function.

Laws
1. Cut is the default: heat is allowed only by rule 12; whatever the table does not list is a cut.
2. Doubt only ever cuts. A missing value is compared with nothing.
3. The first rule that matches wins and gives the verdict its one reason; latches and memories are updated whenever
   their own condition holds, whichever rule wins.
4. `tripped` and `relay_fault` end only by `reset`, and `reset` is trip-free: it cannot hold heat on.
5. Time is an argument: seconds of a clock that never steps.

The words are those of the trade: limiter (acts in normal operation, resets by itself), cut-out (acts in abnormal
operation, reset by a person). This is software: not a thermal cut-out in the sense of IEC 60335.
"""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from typing import NamedTuple

from matwarden.terms import Enclosure, MatTerms, Quality, Reason, Seen, Verdict

__all__ = [
    "RULES",
    "Facts",
    "GuardLimits",
    "GuardMemory",
    "Observation",
    "Rule",
    "facts",
    "hold",
    "limits_of",
    "release",
    "reset",
    "start",
    "step",
]

# One disagreement may be a command and its read-back crossing; two running are a fault.
RELAY_DISAGREEMENTS = 2


class GuardLimits(NamedTuple):
    """What the guard holds one enclosure to. Celsius, kelvin, seconds.

    Attributes:
        demand_on_c: demand begins at or below. demand_off_c: demand ends at or above.
        stale_s: an older reading is no reading, whatever its probe says of it.
    """

    demand_on_c: float
    demand_off_c: float
    limiter_c: float
    cut_out_c: float
    differential_k: float
    minimum_on_s: float
    minimum_off_s: float
    memory_s: float
    prove_n: int
    stale_s: float


class Observation(NamedTuple):
    """Everything the guard looks at in one step.

    Attributes:
        now_s: monotonic seconds.
        wall, air: the governing roles' probes; `air` is empty when the enclosure has no air probe.
        other: its remaining probes (substrate): they can cut, and never govern demand.
        relay_agrees: the line read back equals the last command; False also when it could not be read.
    """

    now_s: float
    wall: tuple[Seen, ...]
    air: tuple[Seen, ...]
    other: tuple[Seen, ...]
    relay_agrees: bool


class GuardMemory(NamedTuple):
    """What one guard remembers. Times are monotonic seconds.

    Attributes:
        tripped, relay_fault: latches. disagreements: of the read-back, running.
        demand, limiter, hot_room: two-position memories.
        hot_beside: another probe than the governing ones was at the cut-out and has not been seen to have cooled.
        wall_proven, air_proven: `prove_n` good readings in a row were seen since start or since blind.
        allowed: the last verdict. since_s: when it last went from cut to allowed or back (or the start).
        heated_s: when heat was last known allowed; None: not in living memory.
        hold_until_s: end of a person's hold; None: no hold.
    """

    tripped: bool
    relay_fault: bool
    disagreements: int
    demand: bool
    limiter: bool
    hot_room: bool
    hot_beside: bool
    wall_proven: bool
    air_proven: bool
    allowed: bool
    since_s: float
    heated_s: float | None
    hold_until_s: float | None


class Facts(NamedTuple):
    """What the rules look at: an observation and a memory, boiled down."""

    relay_fault: bool
    was_tripped: bool
    trips: bool
    hot_room: bool
    doubtful_heat: bool
    blind: bool
    proving: bool
    held: bool
    limiter: bool
    demand: bool
    below: bool
    finishing: bool
    resting: bool


class Rule(NamedTuple):
    """One row of the table that cuts."""

    number: int
    verdict: Verdict
    holds: Callable[[Facts], bool]


# Rules 1-11 cut, and their order is law. Rule 12 is what is left when none of them holds: rule 10 has then made sure
# that there is demand, or the rest of the minimum on time of a demand that has just ended.
RULES: tuple[Rule, ...] = (
    Rule(1, Verdict(False, Reason.RELAY_FAULT), lambda f: f.relay_fault),
    Rule(2, Verdict(False, Reason.TRIPPED), lambda f: f.was_tripped),
    Rule(3, Verdict(False, Reason.CUT_OUT), lambda f: f.trips),
    Rule(4, Verdict(False, Reason.HOT_ROOM), lambda f: f.hot_room),
    Rule(5, Verdict(False, Reason.DOUBTFUL_HEAT), lambda f: f.doubtful_heat),
    Rule(6, Verdict(False, Reason.BLIND), lambda f: f.blind),
    Rule(7, Verdict(False, Reason.PROVING), lambda f: f.proving),
    Rule(8, Verdict(False, Reason.HELD), lambda f: f.held),
    Rule(9, Verdict(False, Reason.LIMITER), lambda f: f.limiter),
    Rule(10, Verdict(False, Reason.WARM_ENOUGH), lambda f: not f.demand and not f.finishing),
    Rule(11, Verdict(False, Reason.RESTING), lambda f: f.resting),
)


_BELOW = Verdict(True, Reason.BELOW_SETPOINT)
_COASTING = Verdict(True, Reason.COASTING)
_FINISHING = Verdict(True, Reason.MINIMUM_ON)


def limits_of(enclosure: Enclosure, mat: MatTerms) -> GuardLimits:
    """The limits of an enclosure's guard, from its settings."""
    return GuardLimits(
        demand_on_c=mat.setpoint_c - mat.hysteresis_k / 2,
        demand_off_c=mat.setpoint_c + mat.hysteresis_k / 2,
        limiter_c=mat.limiter_c,
        cut_out_c=mat.cut_out_c,
        differential_k=mat.differential_k,
        minimum_on_s=mat.minimum_on_s,
        minimum_off_s=mat.minimum_off_s,
        memory_s=mat.memory_s,
        prove_n=mat.prove_n,
        # Each probe's own stale time has been applied before; this one bounds them all, also those that only cut.
        stale_s=max((probe.stale_s for probe in enclosure.probes), default=0.0),
    )


def start(
    now_s: float,
    *,
    tripped: bool = False,
    relay_fault: bool = False,
    heated_s: float | None = None,
    hold_until_s: float | None = None,
) -> GuardMemory:
    """The memory of a guard that has just started, with what survived: everything else starts cut and unproven."""
    return GuardMemory(
        tripped=tripped,
        relay_fault=relay_fault,
        disagreements=0,
        demand=False,
        limiter=False,
        hot_room=False,
        hot_beside=False,
        wall_proven=False,
        air_proven=False,
        allowed=False,
        since_s=now_s,
        heated_s=heated_s,
        hold_until_s=hold_until_s,
    )


def step(memory: GuardMemory, seen: Observation, limits: GuardLimits) -> tuple[GuardMemory, Verdict]:
    """Decide. Called after every reading and at least once a second."""
    memory, known = facts(memory, seen, limits)
    for rule in RULES:
        if rule.holds(known):
            verdict = rule.verdict
            break
    else:
        verdict = _BELOW if known.below else _COASTING if known.demand else _FINISHING
    if verdict.allowed == memory.allowed:
        return memory, verdict
    return memory._replace(allowed=verdict.allowed, since_s=seen.now_s, heated_s=seen.now_s), verdict


def facts(memory: GuardMemory, seen: Observation, limits: GuardLimits) -> tuple[GuardMemory, Facts]:
    """Update the latches and memories, and boil the observation down to what the rules look at."""
    now_s = seen.now_s
    wall = _boil(seen.wall, now_s, limits)
    air = _boil(seen.air, now_s, limits) if seen.air else wall
    other = _boil(seen.other, now_s, limits) if seen.other else _NOTHING
    hottest_governing_c = _hotter(wall.hottest_c, air.hottest_c)
    hottest_c = _hotter(hottest_governing_c, other.hottest_c)
    coldest_c = air.coldest_c
    # Cooling down must be seen by every governing role, and by another probe that was hot: a hot probe that falls
    # silent has not cooled.
    blind = wall.coldest_c is None or air.coldest_c is None

    disagreements = 0 if seen.relay_agrees else memory.disagreements + 1
    relay_fault = memory.relay_fault or disagreements >= RELAY_DISAGREEMENTS

    heated_s = now_s if memory.allowed else memory.heated_s
    over = hottest_c is not None and hottest_c >= limits.cut_out_c
    trips = over and heated_s is not None and now_s - heated_s <= limits.memory_s
    cool_c = limits.cut_out_c - limits.differential_k
    hot_beside = memory.hot_beside and bool(seen.other)
    if other.hottest_c is not None:
        hot_beside = other.hottest_c >= (cool_c if hot_beside else limits.cut_out_c)
    hot_room = memory.hot_room
    if over:
        hot_room = hot_room or not trips
    elif not blind and not hot_beside and hottest_c is not None and hottest_c < cool_c:
        hot_room = False

    limiter = memory.limiter
    if hottest_governing_c is not None:
        if hottest_governing_c >= limits.limiter_c:
            limiter = True
        elif not blind and hottest_governing_c < limits.limiter_c - limits.differential_k:
            limiter = False

    demand = memory.demand
    below = False
    if coldest_c is not None:
        below = coldest_c <= limits.demand_on_c
        if below:
            demand = True
        elif coldest_c >= limits.demand_off_c:
            demand = False

    wall_proven = wall.coldest_c is not None and (memory.wall_proven or wall.good_run >= limits.prove_n)
    air_proven = air.coldest_c is not None and (memory.air_proven or air.good_run >= limits.prove_n)
    held = memory.hold_until_s is not None and now_s < memory.hold_until_s
    for_s = now_s - memory.since_s
    known = Facts(
        relay_fault,
        memory.tripped,
        trips,
        hot_room,
        wall.doubtful_heat or air.doubtful_heat or other.doubtful_heat,
        blind,
        not (wall_proven and air_proven),
        held,
        limiter,
        demand,
        below,
        memory.allowed and for_s < limits.minimum_on_s,
        not memory.allowed and for_s < limits.minimum_off_s,
    )
    updated = GuardMemory(
        memory.tripped or trips,
        relay_fault,
        disagreements,
        demand,
        limiter,
        hot_room,
        hot_beside,
        wall_proven,
        air_proven,
        memory.allowed,
        memory.since_s,
        heated_s,
        memory.hold_until_s if held else None,
    )
    return updated, known


def hold(memory: GuardMemory, until_s: float) -> GuardMemory:
    """A person's hold: heat is cut until then. A later call replaces it."""
    return memory._replace(hold_until_s=until_s)


def release(memory: GuardMemory) -> GuardMemory:
    """End a person's hold."""
    return memory._replace(hold_until_s=None)


def reset(memory: GuardMemory, seen: Observation, limits: GuardLimits) -> tuple[GuardMemory, str]:
    """A person's reset of trip and relay fault, at the shelf.

    Returns:
        The memory and why the reset was refused; the empty string when it was granted. Refused while any reading of
        the enclosure is missing, doubtful, or not yet under cut-out minus differential, and while the relay's line
        does not read back as commanded.
    """
    below_c = limits.cut_out_c - limits.differential_k
    if not seen.wall:
        return memory, "a probe gives no good reading"
    for s in seen.wall + seen.air + seen.other:
        if s.quality is not Quality.GOOD or s.value_c is None or not isfinite(s.value_c):
            return memory, "a probe gives no good reading"
        if seen.now_s - s.taken_s > limits.stale_s:
            return memory, "a probe gives no good reading"
        if s.value_c >= below_c:
            return memory, "still too hot"
    if not seen.relay_agrees:
        return memory, "the relay's line does not read back as commanded"
    return memory._replace(tripped=False, relay_fault=False, disagreements=0), ""


class _Boiled(NamedTuple):
    """One role's probes: hottest and coldest fresh good value, longest good run, and whether doubt is hot."""

    hottest_c: float | None
    coldest_c: float | None
    good_run: int
    doubtful_heat: bool


_NOTHING = _Boiled(None, None, 0, False)


def _boil(probes: tuple[Seen, ...], now_s: float, limits: GuardLimits) -> _Boiled:
    hottest_c: float | None = None
    coldest_c: float | None = None
    good_run = 0
    doubtful_heat = False
    for quality, value_c, taken_s, run, _ in probes:
        if value_c is None or now_s - taken_s > limits.stale_s:
            continue
        if quality is Quality.GOOD:
            # No number, whatever its label says: all comparisons with it are false, and that must not mean cool.
            if not isfinite(value_c):
                continue
            if hottest_c is None or value_c > hottest_c:
                hottest_c = value_c
            if coldest_c is None or value_c < coldest_c:
                coldest_c = value_c
            if run > good_run:
                good_run = run
        elif not value_c < limits.limiter_c:
            doubtful_heat = True
    return _Boiled(hottest_c, coldest_c, good_run, doubtful_heat)


def _hotter(one_c: float | None, other_c: float | None) -> float | None:
    if one_c is None or other_c is None:
        return other_c if one_c is None else one_c
    return one_c if one_c >= other_c else other_c
