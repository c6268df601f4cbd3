"""When the keeper is called about an alarm, and how often."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.ringing import SILENT, Call, Ringing, from_list, next_call, to_list
from matwarden.terms import AlarmState, AlarmTimes, Priority

S = AlarmState
TIMES = AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5, None, ring_again_s=900.0, second_after_s=1800.0)


def calls(
    states: list[AlarmState], priority: Priority = Priority.HIGH, times: AlarmTimes = TIMES, dt_s: float = 60.0
) -> list[tuple[int, Call]]:
    """Each call with the index of its look."""
    ringing, previous, made = SILENT, S.NORMAL, []
    for index, state in enumerate(states):
        ringing, call = next_call(ringing, previous, state, priority, dt_s, times)
        previous = state
        if call:
            made.append((index, call))
    return made


def test_a_high_alarm_that_nobody_acknowledges_goes_up_two_steps_and_stops() -> None:
    """At once, again after 15 min, at the second targets after 30 min, and no more for a day."""
    assert calls([S.UNACKNOWLEDGED] * 1440) == [(0, Call.FIRST), (15, Call.AGAIN), (30, Call.SECOND)]


@pytest.mark.parametrize("priority", [Priority.MEDIUM, Priority.LOW])
def test_what_is_not_high_calls_once(priority: Priority) -> None:
    """A lesser alarm is told and left in peace."""
    assert calls([S.UNACKNOWLEDGED] * 1440, priority) == [(0, Call.FIRST)]


@pytest.mark.parametrize("ended", [S.ACKNOWLEDGED, S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE, S.NORMAL])
def test_whatever_ends_the_unacknowledged_state_ends_the_calling(ended: AlarmState) -> None:
    """After 10 minutes it is acknowledged, put aside or over: the phone stays quiet."""
    assert calls([S.UNACKNOWLEDGED] * 10 + [ended] * 600) == [(0, Call.FIRST)]


def test_what_is_announced_anew_begins_with_the_first_call() -> None:
    """Returned and back again: the steps are counted from the new announcement."""
    story = [S.UNACKNOWLEDGED] * 20 + [S.RETURNED_UNACKNOWLEDGED] * 5 + [S.UNACKNOWLEDGED] * 20
    assert calls(story) == [(0, Call.FIRST), (15, Call.AGAIN), (25, Call.FIRST), (40, Call.AGAIN)]


def test_what_is_back_already_waits_with_its_further_calls() -> None:
    """At 15 and at 30 min the tub is in band, though its alarm still stands: the calls come when it is out again."""
    ringing, made = SILENT, []
    for minute in range(60):
        back = 10 <= minute < 20 or 25 <= minute < 40
        previous = S.NORMAL if minute == 0 else S.UNACKNOWLEDGED
        ringing, call = next_call(ringing, previous, S.UNACKNOWLEDGED, Priority.HIGH, 60.0, TIMES, back)
        if call:
            made.append((minute, call))
    assert made == [(0, Call.FIRST), (20, Call.AGAIN), (40, Call.SECOND)]


def test_either_step_can_be_left_out() -> None:
    """Without the second ring it goes straight to the second targets; without those it rings twice."""
    assert calls([S.UNACKNOWLEDGED] * 60, times=replace(TIMES, ring_again_s=None)) == [
        (0, Call.FIRST),
        (30, Call.SECOND),
    ]
    assert calls([S.UNACKNOWLEDGED] * 60, times=replace(TIMES, second_after_s=None)) == [
        (0, Call.FIRST),
        (15, Call.AGAIN),
    ]


def test_after_a_long_sleep_the_steps_still_come_one_by_one() -> None:
    """A look that comes hours late calls the first targets again, and the second ones at the look after."""
    made = calls([S.UNACKNOWLEDGED] * 3, dt_s=7200.0)
    assert made == [(0, Call.FIRST), (1, Call.AGAIN), (2, Call.SECOND)]


def test_a_restart_goes_on_where_it_was() -> None:
    """What was kept is read back; of an older record or a damaged one what stands counts as called once."""
    ringing = Ringing(120.0, Call.AGAIN)
    assert from_list(to_list(ringing), S.UNACKNOWLEDGED) == ringing
    for damaged in (None, [], [1.0], ["x", "y"], [0.0, 9], {"called": 1}):
        assert from_list(damaged, S.UNACKNOWLEDGED) == Ringing(0.0, Call.FIRST)
        assert from_list(damaged, S.NORMAL) == SILENT


@given(st.lists(st.sampled_from(list(S)), max_size=80), st.sampled_from(list(Priority)))
def test_only_an_unacknowledged_alarm_calls_and_never_twice_the_same(
    story: list[AlarmState], priority: Priority
) -> None:
    """Over any story: a call falls on an unacknowledged look; each announcement makes each call at most once."""
    made = calls(story, priority, dt_s=600.0)
    assert all(story[index] is S.UNACKNOWLEDGED for index, _ in made)
    announced = [
        index
        for index, state in enumerate(story)
        if state is S.UNACKNOWLEDGED and (index == 0 or story[index - 1] is not S.UNACKNOWLEDGED)
    ]
    assert [index for index, call in made if call is Call.FIRST] == announced
    for begin, end in pairwise([*announced, len(story)]):
        steps = [call for index, call in made if begin <= index < end]
        assert steps == sorted(set(steps))
