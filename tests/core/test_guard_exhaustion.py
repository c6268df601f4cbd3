"""Every state the guard can get into, met with every kind of observation: what must hold, holds in each of them.

Temperatures, ages and runs are reduced to classes that sit on both sides of, and exactly on, each threshold. Time is a
step of its own: an age grows by one second and stops growing where no rule can tell the difference any more. So the
states are finite, and a breadth-first walk from every kind of start meets all of them, and every edge between them.
"""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator
from functools import cache
from itertools import product
from typing import NamedTuple

import pytest

from guard_examples import Doubt, Good, Look, Role, Said
from guard_model import Digest, PaperGuard, digest
from matwarden.core import guard
from matwarden.core.guard import GuardLimits, GuardMemory, Observation, step
from matwarden.terms import Quality, Reason, Verdict

# Millions of edges: half a minute on a quick machine, several on a slow one that does other work too.
pytestmark = pytest.mark.timeout(600)

LIMITS = GuardLimits(
    demand_on_c=23,
    demand_off_c=25,
    limiter_c=28,
    cut_out_c=30,
    differential_k=1,
    minimum_on_s=1,
    minimum_off_s=2,
    memory_s=1,
    prove_n=2,
    stale_s=3,
)
NOW = 100
AGE_CAP = max(int(LIMITS.minimum_on_s), int(LIMITS.minimum_off_s))
HEAT_CAP = int(LIMITS.memory_s) + 1
HOLD_S = 1

STALE = 4
# At or below demand on, between, at demand off, under limiter - differential, at it, limiter, cut-out - differential,
# cut-out: every class of temperature.
AIR = (23, 24, 25, 26, 27, 28, 29, 30)
WALL = (24, 26, 27, 28, 29, 30)
UNUSABLE: tuple[Said, ...] = (None, Good(30, 2, STALE), Doubt(27), Doubt(28), Doubt(30, STALE))

CUTS = {rule.verdict.reason for rule in guard.RULES}
ALLOWS = {Reason.BELOW_SETPOINT, Reason.COASTING, Reason.MINIMUM_ON}


class Case(NamedTuple):
    """One class of observation, with what the rules say about it whatever the past.

    Attributes:
        must_cut: a good reading at or above cut-out, or a doubtful one at or above the limiter.
        sound: every governing role is fresh and good, and none of it is at or above the limiter or the cut-out.
    """

    seen: Observation
    digest: Digest
    must_cut: bool
    sound: bool


class Walk(NamedTuple):
    """What the walk met."""

    states: frozenset[GuardMemory]
    transitions: int


def case_of(look: Look) -> Case:
    """Judge the raw probes directly."""
    seen = look.at(NOW)
    fresh = [
        p for p in seen.wall + seen.air + seen.other if p.value_c is not None and NOW - p.taken_s <= LIMITS.stale_s
    ]
    good = [p for p in fresh if p.quality is Quality.GOOD]
    doubtful = [p.value_c for p in fresh if p.quality is Quality.DOUBTFUL]
    good_c = [p.value_c or 0 for p in good]
    governing_c = [p.value_c or 0 for p in good if p in seen.wall + seen.air]
    return Case(
        seen,
        digest(seen, LIMITS),
        must_cut=max(good_c, default=0) >= 30 or max((c or 0 for c in doubtful), default=0) >= 28,
        sound=any(p in seen.wall for p in good)
        and (not seen.air or any(p in seen.air for p in good))
        and max(governing_c) < 28
        and max(good_c) < 30,
    )


def goods(values: tuple[int, ...], unproven: tuple[int, ...]) -> tuple[Said, ...]:
    """Good readings, proven for each value and still proving for some."""
    return (*(Good(c, 2) for c in values), *(Good(c, 1) for c in unproven))


def looks() -> Iterator[Look]:
    """Every class: one probe a role, no air probe, two probes a role, and a third role beside them."""
    wall: tuple[Said, ...] = (*goods(WALL, (24, 28, 30)), *UNUSABLE)
    air: tuple[Said, ...] = (*goods(AIR, (23, 28)), *UNUSABLE)
    no_air: list[Role] = [*goods(AIR, (23, 28, 30)), *UNUSABLE]
    few: list[Role] = [Good(23, 2), Good(28, 2), None]
    pairs: list[Role] = [
        [Good(23, 2), None],
        [Good(24, 1), Doubt(27)],
        [Good(24, 2), Doubt(28)],
        [Good(23, 1), Good(25, 2)],
        [Good(23, 1), Good(24, 1)],
        [Good(23, 2), Good(28, 1)],
        [Good(23, 2), Good(30, 1)],
        [Good(23, 2), Good(30, 2, STALE)],
        [None, Doubt(28)],
        [None, None],
    ]
    beside: list[Role] = [Good(23, 2), Good(28, 2), Good(29, 2), Good(30, 1), None, Doubt(27), Doubt(28)]
    for agrees in (True, False):
        yield from (Look(w, a, [], 0, agrees) for w, a in product(wall, air))
        yield from (Look(w, [], [], 0, agrees) for w in no_air)
        yield from (Look(one, Good(23, 2), other, 0, agrees) for one, other in product(few, beside))
    yield Look([], Good(23, 2), [], 0)
    yield from (Look(pair, one, [], 0) for pair, one in product(pairs, few))
    yield from (Look(one, pair, [], 0) for pair, one in product(pairs, few))


STARTS = tuple(
    guard.start(NOW, tripped=trip, relay_fault=fault, heated_s=heated, hold_until_s=held)
    for trip, fault, heated, held in product(
        (False, True), (False, True), (None, NOW - HEAT_CAP, NOW), (None, NOW + HOLD_S)
    )
)


def canonical(memory: GuardMemory) -> GuardMemory:
    """The same state, with ages that no rule can tell apart made equal."""
    return memory._replace(
        disagreements=min(memory.disagreements, 2),
        since_s=max(memory.since_s, NOW - AGE_CAP),
        heated_s=None if memory.heated_s is None else max(memory.heated_s, NOW - HEAT_CAP),
        hold_until_s=None if memory.hold_until_s is None else max(memory.hold_until_s, NOW),
    )


def tick(memory: GuardMemory) -> GuardMemory:
    """One second later, seen from then."""
    return canonical(
        memory._replace(
            since_s=memory.since_s - 1,
            heated_s=None if memory.heated_s is None else memory.heated_s - 1,
            hold_until_s=None if memory.hold_until_s is None else memory.hold_until_s - 1,
        )
    )


def check(state: GuardMemory, case: Case, after: GuardMemory, verdict: Verdict) -> str:
    """What is wrong with one transition; empty when nothing is. Numbers are those of the invariants."""
    allowed, reason = verdict
    if allowed:
        if not case.sound:
            return "1: allowed without sound readings"
        if state.tripped or after.tripped or after.relay_fault:
            return "1: allowed with a latch set"
        if state.hold_until_s is not None and state.hold_until_s > NOW:
            return "1: allowed under a hold"
        if reason not in ALLOWS:
            return "7: allowed without a reason to allow"
    elif reason not in CUTS:
        return "7: cut without a reason to cut"
    if case.must_cut and (allowed or after.allowed):
        return "2: not cut at once"
    if (state.tripped and not after.tripped) or (state.relay_fault and not after.relay_fault):
        return "3: a latch was left"
    if case.digest.coldest_demand_c is None and after.demand != state.demand:
        return "5: demand moved without a number"
    if case.digest.hottest_governing_c is None and (after.limiter, after.hot_room) != (
        state.limiter,
        state.hot_room,
    ):
        return "5: limiter or hot room moved without a number"
    silent = case.digest.has_other and case.digest.hottest_other_c is None
    if silent and state.hot_beside and (not after.hot_beside or after.hot_room < state.hot_room):
        return "a hot room ended by silence"
    if reason is Reason.CUT_OUT and after.hot_room:
        return "a runaway and a hot room at once"
    return ""


@cache
def walk() -> Walk:
    """Meet every state and every edge once; stop at the first edge that breaks an invariant."""
    cases = [case_of(look) for look in looks()]
    resets = [case for case in cases if case.digest.coldest_demand_c == 23]
    known = {canonical(state) for state in STARTS}
    frontier = list(known)
    transitions = 0
    while frontier:
        state = frontier.pop()
        met = {tick(state), guard.hold(state, NOW + HOLD_S), guard.release(state)}
        on_paper: dict[Digest, tuple[GuardMemory, Verdict]] = {}
        for case in cases:
            came = step(state, case.seen, LIMITS)
            if case.digest not in on_paper:
                paper = PaperGuard.from_memory(state, LIMITS)
                verdict = paper.look(case.digest)
                on_paper[case.digest] = (paper.as_memory(), verdict)
            wrong = check(state, case, *came)
            if wrong or came != on_paper[case.digest]:
                wrong = wrong or f"(the table on paper says {on_paper[case.digest]})"
                pytest.fail(f"invariant {wrong}\nfrom {state}\nseeing {case.seen}\ncame {came}")
            met.add(canonical(came[0]) if came[0].disagreements > 2 else came[0])
        if state.tripped or state.relay_fault:
            met.update(guard.reset(state, case.seen, LIMITS)[0] for case in resets)
        transitions += len(cases)
        for after in met - known:
            known.add(after)
            frontier.append(after)
    return Walk(frozenset(known), transitions)


def test_every_edge_between_reachable_states_keeps_the_invariants() -> None:
    """Invariants 1, 2, 3, 4, 5 and 7 hold on every edge, and the table on paper agrees with each of them."""
    met = walk()
    print(f"\nguard: {len(met.states)} states, {met.transitions} transitions")
    assert len(met.states) > 5_000
    assert met.transitions > 3_000_000
    assert any(state.allowed for state in met.states)


def test_the_classes_reach_both_sides_of_every_latch_and_memory() -> None:
    """A walk that never sees a latch set, a memory on or an age run out would prove nothing."""
    for field, ages in zip(GuardMemory._fields, zip(*walk().states, strict=True), strict=True):
        assert len(set(ages)) >= 2, field


def test_only_a_reset_that_finds_everything_cool_leaves_a_latch() -> None:
    """Invariant 3: a reset changes nothing but the latches, and only when every probe reads well under the cut-out."""
    cases = [case_of(look) for look in looks()]
    latched = [state for state in walk().states if state.tripped or state.relay_fault]
    # The latches' own answer cannot depend on the other memories: one state per pair of latches meets every case.
    for state in {(s.tripped, s.relay_fault): s for s in latched}.values():
        for case in cases:
            after, refused = guard.reset(state, case.seen, LIMITS)
            probes = case.seen.wall + case.seen.air + case.seen.other
            cool = bool(case.seen.wall)
            cool &= all(p.quality is Quality.GOOD and NOW - p.taken_s <= 3 and (p.value_c or 0) < 29 for p in probes)
            if cool and case.seen.relay_agrees:
                assert (after, refused) == (
                    state._replace(tripped=False, relay_fault=False, disagreements=0),
                    "",
                )
            else:
                assert after == state
                assert refused


def test_a_hold_and_its_end_touch_nothing_else() -> None:
    """Invariants 1 and 3: neither of a person's other commands allows heat or leaves a latch."""
    for state in walk().states:
        for after in (guard.hold(state, NOW + HOLD_S), guard.release(state)):
            assert after._replace(hold_until_s=state.hold_until_s) == state


def test_heat_comes_back_from_every_state_that_no_person_must_end() -> None:
    """Invariant 9: good readings and demand bring heat within minimum off time and N polls, or when the hold ends."""
    cold = [Look(Good(24, run), Good(23, run), [], 0).at(NOW) for run in range(1, 9)]
    free = [state for state in walk().states if not state.tripped and not state.relay_fault]
    assert len(free) > 500
    within = int(LIMITS.minimum_off_s) + LIMITS.prove_n
    for state in free:
        now = state
        for seen in cold[:within]:
            now, verdict = step(tick(now), seen, LIMITS)
            if verdict.allowed:
                break
        else:
            pytest.fail(f"still cut after {within} polls: {verdict} from {state}")


def test_silence_alone_cuts_in_every_state() -> None:
    """Invariant 4: once the last reading is older than its stale time, the next step cuts, with nothing new read."""
    silent = Look(Good(24, 2, STALE), Good(23, 2, STALE), [], 0).at(NOW)
    assert not any(step(state, silent, LIMITS)[1].allowed for state in walk().states)


@pytest.mark.parametrize("number_c", [-3276.7, 0, 22, 26, 1000, float("nan"), float("inf"), float("-inf")])
def test_a_number_that_may_not_be_used_decides_nothing(number_c: float) -> None:
    """Invariant 5: whatever number stands in a stale reading, or a good one that is no number, is as good as none."""
    gone = Look(None, Good(24, 2), None, 0).at(NOW)
    stale = Look(Good(number_c, 2, STALE), Good(24, 2), Doubt(number_c, STALE), 0).at(NOW)
    same = [gone, stale]
    if number_c - number_c != 0:
        same.append(Look(Good(number_c, 2), Good(24, 2), None, 0).at(NOW))
    for state in walk().states:
        assert len({step(state, seen, LIMITS) for seen in same}) == 1


def test_the_guard_can_reach_no_clock() -> None:
    """Invariant 6: the module imports values and types only, and the one time it gets is `now_s`."""
    tree = ast.parse(inspect.getsource(guard))
    imported = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert imported == {"__future__", "collections.abc", "math", "typing", "matwarden.terms"}
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.Import)]
    assert [name for name in Observation._fields if name.endswith("_s")] == ["now_s"]
