"""The guard beside its table on paper (`guard_model`), through long random lives with real-valued times.

The exhaustion meets every class of state; here are the numbers between the classes, random limits, and long memories.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st

from guard_examples import Doubt, Good, Look, Said
from guard_model import PaperGuard, digest
from matwarden.core import guard
from matwarden.core.guard import GuardLimits, GuardMemory, Observation
from matwarden.terms import Quality, Reason, Seen

LIVES = settings(max_examples=200, deadline=None)
HOLD_S = 60.0


class Moment(NamedTuple):
    """One moment of a life: what a person does, if anything, and what is seen then."""

    command: str
    seen: Observation


@st.composite
def limits(draw: st.DrawFn) -> GuardLimits:
    """Limits in the order that settings enforce; times from nothing to an hour."""
    on_c = draw(st.floats(20.0, 26.0))
    off_c = on_c + draw(st.floats(0.1, 2.0))
    limiter_c = off_c + draw(st.floats(0.1, 3.0))
    return GuardLimits(
        demand_on_c=on_c,
        demand_off_c=off_c,
        limiter_c=limiter_c,
        cut_out_c=limiter_c + draw(st.floats(0.1, 3.0)),
        differential_k=draw(st.floats(0.1, 3.0)),
        minimum_on_s=draw(st.sampled_from([0.0, 7.5, 60.0])),
        minimum_off_s=draw(st.sampled_from([0.0, 12.5, 120.0])),
        memory_s=draw(st.sampled_from([0.0, 45.0, 3600.0])),
        prove_n=draw(st.integers(1, 4)),
        stale_s=draw(st.sampled_from([3.0, 30.0])),
    )


def value_c(dice: Random, bounds: GuardLimits) -> float:
    """Mostly mild, or nobody ever heats; else at a threshold or a hair beside it, or anything."""
    throw = dice.random()
    if throw < 0.8:
        return dice.uniform(bounds.demand_on_c - 1.0, bounds.demand_off_c)
    if throw < 0.85:
        return dice.uniform(-30.0, 70.0)
    edges = (
        bounds.demand_on_c,
        bounds.demand_off_c,
        bounds.limiter_c - bounds.differential_k,
        bounds.limiter_c,
        bounds.cut_out_c - bounds.differential_k,
        bounds.cut_out_c,
    )
    return dice.choice(edges) + dice.choice([-1e-9, 0.0, 0.0, 1e-9])


def role(dice: Random, bounds: GuardLimits, counts: tuple[int, ...]) -> list[Said]:
    """One role's probes, mostly good and fresh."""

    def said() -> Said:
        throw = dice.random()
        age_s = dice.choice([0.0, bounds.stale_s, dice.uniform(0.0, 2 * bounds.stale_s)])
        if throw < 0.9:
            return Good(value_c(dice, bounds))
        if throw < 0.95:
            return Good(value_c(dice, bounds), dice.choice([0, bounds.prove_n - 1, bounds.prove_n]), age_s)
        return Doubt(value_c(dice, bounds), age_s) if throw < 0.98 else None

    return [said() for _ in range(dice.choice(counts))]


def life(seed: int, bounds: GuardLimits) -> Iterator[Moment]:
    """200 moments, from no time to two hours apart; the same seed is the same life."""
    dice = Random(seed)
    now_s = 0.0
    for _ in range(200):
        waits = (
            0.0,
            1.0,
            bounds.minimum_on_s,
            bounds.minimum_off_s,
            bounds.memory_s,
            dice.uniform(0.0, 7200.0),
        )
        now_s += dice.choice(waits)
        wall = role(dice, bounds, (0, 1, 1, 1, 1, 1, 1, 2, 2))
        look = Look(wall, role(dice, bounds, (0, 1, 1, 1, 2)), role(dice, bounds, (0, 0, 0, 1)))
        look = look._replace(relay_agrees=dice.random() < 0.9)
        yield Moment(dice.choice(["hold", "release", "reset", "reset"] + 16 * [""]), look.at(now_s))


def obey(memory: GuardMemory, moment: Moment, bounds: GuardLimits) -> GuardMemory:
    """A person's command, if there is one."""
    match moment.command:
        case "hold":
            return guard.hold(memory, moment.seen.now_s + HOLD_S)
        case "release":
            return guard.release(memory)
        case "reset":
            return guard.reset(memory, moment.seen, bounds)[0]
        case _:
            return memory


SEEDS = st.integers(0, 2**32)
STARTS = st.tuples(
    st.booleans(),
    st.booleans(),
    st.one_of(st.none(), st.floats(-100.0, 0.0)),
    st.one_of(st.none(), st.floats(0.0, 100.0)),
)


@LIVES
@given(limits(), SEEDS, STARTS)
def test_through_any_life_it_decides_and_remembers_what_the_table_on_paper_says(
    bounds: GuardLimits, seed: int, begin: tuple[bool, bool, float | None, float | None]
) -> None:
    """Verdict, reason, latches and memories agree at every moment, whatever happened before."""
    trip, fault, heated_s, until_s = begin
    memory = guard.start(0.0, tripped=trip, relay_fault=fault, heated_s=heated_s, hold_until_s=until_s)
    paper = PaperGuard.from_memory(memory, bounds)
    for moment in life(seed, bounds):
        match moment.command:
            case "hold":
                paper.hold(moment.seen.now_s + HOLD_S)
            case "release":
                paper.release()
            case "reset":
                paper.reset(moment.seen)
        memory, verdict = guard.step(obey(memory, moment, bounds), moment.seen, bounds)
        assert verdict == paper.look(digest(moment.seen, bounds))
        assert memory == paper.as_memory()


@LIVES
@given(limits(), SEEDS)
def test_through_any_life_heat_is_allowed_only_on_sound_readings(bounds: GuardLimits, seed: int) -> None:
    """Invariants 1, 2 and 3, looked at in the raw readings and in nothing the guard remembers but its latches."""
    memory = guard.start(0.0)
    for moment in life(seed, bounds):
        seen = moment.seen
        told = obey(memory, moment, bounds)
        assert moment.command == "reset" or (told.tripped, told.relay_fault) == (
            memory.tripped,
            memory.relay_fault,
        )
        memory, verdict = guard.step(told, seen, bounds)
        assert memory.tripped >= told.tripped
        assert memory.relay_fault >= told.relay_fault
        if not verdict.allowed:
            continue
        assert (memory.tripped, memory.relay_fault) == (False, False)
        wall, air, other = (usable(probes, seen.now_s, bounds) for probes in (seen.wall, seen.air, seen.other))
        assert wall
        assert air or not seen.air
        assert max(wall + air) < bounds.limiter_c
        assert max(wall + air + other) < bounds.cut_out_c
        for probe in seen.wall + seen.air + seen.other:
            fresh = seen.now_s - probe.taken_s <= bounds.stale_s
            assert not (fresh and probe.quality is Quality.DOUBTFUL and (probe.value_c or 0) >= bounds.limiter_c)


def usable(probes: tuple[Seen, ...], now_s: float, bounds: GuardLimits) -> list[float]:
    """The good values that are fresh."""
    fresh = [probe for probe in probes if now_s - probe.taken_s <= bounds.stale_s]
    return [probe.value_c for probe in fresh if probe.quality is Quality.GOOD and probe.value_c is not None]


def moved(seen: Observation, by_s: float) -> Observation:
    """The same observation on a clock that is ahead; whole seconds, so that nothing is lost in rounding."""

    def whole(probes: tuple[Seen, ...]) -> tuple[Seen, ...]:
        return tuple(probe._replace(taken_s=round(probe.taken_s) + by_s) for probe in probes)

    return Observation(
        round(seen.now_s) + by_s, whole(seen.wall), whole(seen.air), whole(seen.other), seen.relay_agrees
    )


@LIVES
@given(limits(), SEEDS, st.integers(-(2**40), 2**40))
def test_only_differences_of_time_matter(bounds: GuardLimits, seed: int, by_s: int) -> None:
    """Invariant 6: the same life on a clock that began elsewhere gets the same verdicts."""
    here, there = guard.start(0.0), guard.start(float(by_s))
    for moment in life(seed, bounds):
        now, then = moved(moment.seen, 0.0), moved(moment.seen, float(by_s))
        here, verdict = guard.step(obey(here, moment._replace(seen=now), bounds), now, bounds)
        there, elsewhere = guard.step(obey(there, moment._replace(seen=then), bounds), then, bounds)
        assert elsewhere == verdict


def test_the_random_lives_meet_every_reason() -> None:
    """Lives in which a rule never decides would say nothing about it."""
    met: Counter[Reason] = Counter()
    bounds = GuardLimits(24.5, 25.5, 28.0, 30.0, 1.0, 7.5, 120.0, 45.0, 3, 30.0)
    for seed in range(100):
        memory = guard.start(0.0)
        for moment in life(seed, bounds):
            memory, verdict = guard.step(obey(memory, moment, bounds), moment.seen, bounds)
            met[verdict.reason] += 1
    assert min(met[reason] for reason in Reason) >= 10
