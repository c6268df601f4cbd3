"""One alarm through time: delays, unknown time, what is told. Definitions of the delays: OPC 10000-9 annex B.1.5."""

from __future__ import annotations

import json
from dataclasses import replace
from timeit import timeit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alarm_examples import LATCHING, MEANING, PLAIN, WAITS_FOR_ACK, lead, states
from matwarden.core.alarm_kept import from_dict, to_dict
from matwarden.core.alarms import (
    QUIET,
    AlarmMemory,
    acknowledge,
    re_alarm,
    reset,
    return_to_service,
    shelve,
    step,
    take_out_of_service,
    unshelve,
)
from matwarden.terms import AlarmState

S = AlarmState


class TestDelays:
    def test_on_delay_is_counted_from_the_first_true_step(self) -> None:
        """With an on-delay of 30 s and steps of 10 s the alarm starts 30 s after the first true step."""
        _, changes = lead(".XXXXX", on_delay_s=30.0)
        assert states(changes) == [(4, S.UNACKNOWLEDGED)]
        assert changes[0][1].active_s == 30.0

    def test_a_return_inside_the_on_delay_starts_it_again(self) -> None:
        """The condition must hold without a break: one false step and the count is at zero."""
        _, changes = lead("XXX.XXXX", on_delay_s=30.0)
        assert states(changes) == [(7, S.UNACKNOWLEDGED)]

    def test_the_off_delay_must_pass_without_a_break_too(self) -> None:
        """With an off-delay of 20 s the alarm ends 20 s after the last first false step."""
        _, changes = lead("X..X....", off_delay_s=20.0)
        assert states(changes) == [(0, S.UNACKNOWLEDGED), (6, S.NORMAL)]

    def test_no_delay_means_at_once(self) -> None:
        """Delays of zero act in the very step."""
        _, changes = lead(".X.")
        assert states(changes) == [(1, S.UNACKNOWLEDGED), (2, S.NORMAL)]

    def test_nothing_sets_while_the_value_is_back_inside(self) -> None:
        """Inside its deadband a delay goes on, but the alarm sets only once the value is out again."""
        memory, set_at = QUIET, []
        for index, deviation_k in enumerate([0.2, 0.2, -0.3, -0.3, -0.3, -0.3, 0.0, 0.2]):
            memory, change = step(memory, True, False, 10.0, 30.0, 0.0, PLAIN, deviation_k=deviation_k)
            set_at += [] if change is None else [index]
        assert set_at == [6]

    def test_unknown_time_neither_advances_nor_clears_the_on_delay(self) -> None:
        """30 s of true with an unknown hole: the hole and the interval that ends it do not count."""
        _, changes = lead("XX???XXX", on_delay_s=30.0)
        assert states(changes) == [(7, S.UNACKNOWLEDGED)]

    def test_unknown_time_neither_advances_nor_clears_the_off_delay(self) -> None:
        """An alarm does not end because nothing is known, however long."""
        memory, changes = lead("X." + "?" * 1000, off_delay_s=20.0)
        assert states(changes) == [(0, S.UNACKNOWLEDGED)]
        _, changes = lead("...", memory, off_delay_s=20.0)
        assert states(changes) == [(2, S.NORMAL)]

    def test_poll_intervals_that_do_not_add_up_exactly_are_no_step_late(self) -> None:
        """A sum of 36000 steps of 0.1 s reaches an on-delay of 3600 s in the step that completes it."""
        _, changes = lead("X" * 36002, dt_s=0.1, on_delay_s=3600.0)
        assert states(changes) == [(36000, S.UNACKNOWLEDGED)]

    def test_how_long_it_lasted_spans_brief_returns_but_not_the_final_one(self) -> None:
        """True for 20 s, false for 10 s, true again for 10 s and then gone: it lasted until it went."""
        _, changes = lead("XX.XX...", off_delay_s=20.0)
        assert changes[-1][1].active_s == 50.0

    def test_unknown_time_does_not_count_as_lasting(self) -> None:
        """Only known time is claimed: two known intervals around a long hole are 30 s with the end's own."""
        _, changes = lead("XX" + "?" * 500 + "XX.")
        assert changes[-1][1].active_s == 30.0

    @given(
        st.text(alphabet="X.?", max_size=60),
        st.sampled_from([0.0, 10.0, 30.0]),
        st.sampled_from([0.0, 10.0, 30.0]),
    )
    def test_an_alarm_starts_only_after_its_delay_of_known_truth(
        self, story: str, on_delay_s: float, off_delay_s: float
    ) -> None:
        """Whatever the story, before each start lie enough true steps with no false one between."""
        _, changes = lead(story, on_delay_s=on_delay_s, off_delay_s=off_delay_s)
        for index, change in changes:
            wanted, delay_s = ("X", on_delay_s) if change.starts else (".", off_delay_s)
            other = "." if wanted == "X" else "X"
            since = story[: index + 1].rpartition(other)[2]
            steps = sum(pair == wanted * 2 for pair in zip_pairs(since))
            assert steps * 10.0 >= delay_s

    @given(st.text(alphabet="XX.?", max_size=60), st.sampled_from([0.0, 10.0, 30.0]))
    def test_an_alarm_never_starts_late(self, story: str, on_delay_s: float) -> None:
        """The first start is in the first step by which enough known truth lies since the last false step."""
        enough = [
            index
            for index, mark in enumerate(story)
            if mark == "X" and zip_pairs(story[: index + 1].rpartition(".")[2]).count("XX") * 10.0 >= on_delay_s
        ]
        _, changes = lead(story, on_delay_s=on_delay_s)
        assert [index for index, _ in changes[:1]] == enough[:1]

    def test_the_extreme_is_of_this_activation_only(self) -> None:
        """The coldest value since the condition became true is told, not an older one."""
        memory, told = QUIET, []
        for condition, value in [
            (True, 18.0),
            (False, 23.0),
            (True, 21.0),
            (True, 20.5),
            (True, 20.9),
            (False, 23.0),
        ]:
            memory, change = step(memory, condition, False, 10.0, 0.0, 0.0, PLAIN, value)
            if change is not None:
                told.append(change.worst)
        assert told == [18.0, 18.0, 21.0, 20.5]


class TestTold:
    def test_an_alarm_that_needs_no_acknowledgement_ends_by_itself(self) -> None:
        """It starts once and returns once."""
        _, changes = lead("XX..")
        assert [(change.starts, change.returns) for _, change in changes] == [(True, False), (False, True)]

    def test_an_alarm_that_waits_for_a_person_stays_until_seen(self) -> None:
        """Returned and unacknowledged; the acknowledgement ends it and is no return of its own."""
        memory, changes = lead("X.", spec=WAITS_FOR_ACK)
        assert states(changes) == [(0, S.UNACKNOWLEDGED), (1, S.RETURNED_UNACKNOWLEDGED)]
        memory, change = acknowledge(memory, WAITS_FOR_ACK)
        assert memory is QUIET
        assert change is not None
        assert not change.returns

    def test_an_alarm_that_comes_back_before_it_was_seen_is_told_again(self) -> None:
        """From returned-unacknowledged a new activation announces itself."""
        _, changes = lead("X.X", spec=WAITS_FOR_ACK)
        assert [change.starts for _, change in changes] == [True, False, True]

    def test_re_alarm_announces_what_still_stands_and_nothing_else(self) -> None:
        """An acknowledged alarm that still stands is announced again; one that is over cannot be."""
        standing, _ = acknowledge(lead("X")[0], PLAIN)
        memory, change = re_alarm(standing, PLAIN)
        assert change is not None
        assert change.starts
        assert re_alarm(QUIET, PLAIN) == (QUIET, None)


class TestLatched:
    def test_a_latch_outlives_its_condition(self) -> None:
        """It must be seen, then reset; only then is it over."""
        memory, _ = lead("X..", spec=LATCHING)
        assert memory.state is S.LATCHED_UNACKNOWLEDGED
        assert reset(memory, LATCHING) == (memory, None)
        memory, _ = acknowledge(memory, LATCHING)
        memory, change = reset(memory, LATCHING)
        assert memory is QUIET
        assert change is not None

    @pytest.mark.parametrize("now", ["X", "?"])
    def test_reset_is_refused_while_the_condition_is_true_or_unknown(self, now: str) -> None:
        """No reset on a hope."""
        memory, _ = acknowledge(lead("X.", spec=LATCHING)[0], LATCHING)
        memory, _ = lead(now, memory, spec=LATCHING, on_delay_s=3600.0)
        assert reset(memory, LATCHING) == (memory, None)


class TestPutAside:
    def test_a_timed_shelf_ends_by_its_timer_and_tells_what_stands(self) -> None:
        """However often it comes and goes in between, it is quiet until then."""
        memory, change = shelve(lead("X")[0], PLAIN, 50.0, 3600.0)
        assert change is not None
        assert change.state is S.SHELVED
        _, changes = lead(".X.XXX", memory)
        assert states(changes) == [(4, S.UNACKNOWLEDGED)]

    def test_a_shelf_that_ends_over_a_gone_condition_is_silent(self) -> None:
        """Back to normal, and neither a start nor a return."""
        memory, _ = shelve(lead("X")[0], PLAIN, 30.0, 3600.0)
        memory, changes = lead("....", memory)
        assert states(changes) == [(2, S.NORMAL)]
        assert not changes[0][1].returns
        assert memory is QUIET

    def test_a_one_shot_shelf_ends_with_this_activation(self) -> None:
        """The current activation is not shown; the next one is."""
        memory, _ = shelve(lead("X")[0], PLAIN, None, 3600.0)
        _, changes = lead("XX.X", memory)
        assert states(changes) == [(2, S.NORMAL), (3, S.UNACKNOWLEDGED)]

    def test_a_one_shot_shelf_of_a_quiet_alarm_waits_for_the_next_activation(self) -> None:
        """The next activation passes unseen, the one after is told."""
        memory, _ = shelve(QUIET, PLAIN, None, 3600.0)
        _, changes = lead("...XX.X", memory)
        assert states(changes) == [(5, S.NORMAL), (6, S.UNACKNOWLEDGED)]

    def test_no_shelf_outlasts_the_maximum(self) -> None:
        """A one-shot shelf ends after the maximum; a longer timed one is refused."""
        memory, _ = shelve(lead("X")[0], PLAIN, None, 30.0)
        assert states(lead("XXXX", memory)[1]) == [(2, S.UNACKNOWLEDGED)]
        with pytest.raises(ValueError, match="up to 30 s, not for 31 s"):
            shelve(QUIET, PLAIN, 31.0, 30.0)

    @pytest.mark.parametrize("for_s", [0.0, -1.0, float("nan"), float("inf")])
    def test_a_shelf_needs_a_real_duration(self, for_s: float) -> None:
        """Zero, less, or no number at all is refused."""
        with pytest.raises(ValueError, match="shelved"):
            shelve(QUIET, PLAIN, for_s, 3600.0)

    def test_unshelving_tells_what_stands(self) -> None:
        """Taken off the shelf early, an alarm that stands is announced."""
        memory, _ = shelve(lead("X")[0], PLAIN, 50.0, 3600.0)
        memory, change = unshelve(memory, PLAIN)
        assert change is not None
        assert change.starts
        assert memory.shelved_left_s is None

    def test_a_suppressed_alarm_is_silent_and_told_when_the_cause_ends(self) -> None:
        """It comes up while suppressed, and is announced in the step in which the suppression is over."""
        _, changes = lead(".XXXX", suppress=lambda index: index < 3)
        assert states(changes) == [(0, S.SUPPRESSED), (3, S.UNACKNOWLEDGED)]

    def test_a_start_in_the_very_step_of_its_suppression_is_not_told(self) -> None:
        """The leader and the follower come up together: the follower goes from normal to suppressed."""
        _, changes = lead("X", suppress=lambda index: True)
        assert states(changes) == [(0, S.SUPPRESSED)]
        assert not changes[0][1].starts

    def test_a_shelf_that_ends_under_a_suppression_is_not_told(self) -> None:
        """It goes from the shelf straight to suppressed."""
        memory, _ = shelve(lead("X")[0], PLAIN, 20.0, 3600.0)
        _, changes = lead("XXX", memory, suppress=lambda index: True)
        assert states(changes) == [(1, S.SUPPRESSED)]

    def test_out_of_service_shows_nothing_until_it_is_put_back(self) -> None:
        """Maintenance hides the alarm, but its condition is followed."""
        memory, _ = take_out_of_service(QUIET, PLAIN)
        memory, changes = lead("XXX", memory)
        assert changes == []
        _, change = return_to_service(memory, PLAIN)
        assert change is not None
        assert change.starts


class TestKept:
    @given(st.text(alphabet="X.?", max_size=30), st.sampled_from([0.0, 20.0]))
    def test_a_memory_survives_a_restart(self, story: str, delay_s: float) -> None:
        """Through JSON and back nothing but the knowledge of this moment is lost, and time away counts for nothing."""
        memory, _ = lead(story, on_delay_s=delay_s, off_delay_s=delay_s)
        back = from_dict(json.loads(json.dumps(to_dict(memory, 1000.0))), 9_999_000.0)
        assert back == (QUIET if memory is QUIET else memory._replace(known=False))

    def test_an_on_delay_goes_on_after_a_restart(self) -> None:
        """A board that restarts every half hour still raises an alarm with a delay of an hour."""
        memory = QUIET
        for _ in range(3):
            memory, changes = lead("X" * 181, memory, on_delay_s=3600.0)
            if changes:
                return
            memory = from_dict(to_dict(memory, 0.0), 5.0)
        pytest.fail("the alarm never came")

    @pytest.mark.parametrize(("away_s", "left_s"), [(100.0, 500.0), (-86400.0, 600.0), (0.0, 600.0)])
    def test_a_shelf_goes_on_for_what_is_left_of_it(self, away_s: float, left_s: float) -> None:
        """Time away is taken off; a clock that was set back does not make the shelf longer."""
        memory, _ = shelve(lead("X")[0], PLAIN, 600.0, 3600.0)
        assert from_dict(to_dict(memory, 5000.0), 5000.0 + away_s).shelved_left_s == left_s

    def test_a_shelf_without_a_stored_end_is_over(self) -> None:
        """If it cannot be known how long it was meant, the alarm is unshelved (OPC 10000-9, 5.8.17)."""
        kept = to_dict(shelve(lead("X")[0], PLAIN, 600.0, 3600.0)[0], 5000.0)
        del kept["shelved_until_wall_s"]
        _, changes = lead("X", from_dict(kept, 5001.0))
        assert states(changes) == [(0, S.UNACKNOWLEDGED)]

    @pytest.mark.parametrize(
        "broken",
        [{}, {"state": "on"}, {"pending_s": "soon"}, {"state": None}, {"worst": []}, {"active_s": None}],
    )
    def test_what_was_not_kept_by_us_is_refused(self, broken: dict[str, object]) -> None:
        """A key that is missing or has a wrong value is one plain error."""
        kept = to_dict(lead("X")[0], 0.0) | broken if broken else {}
        with pytest.raises(ValueError, match="not the kept state of an alarm"):
            from_dict(kept, 0.0)


def test_an_alarm_without_a_response_is_refused() -> None:
    """What needs no response is an event and not an alarm (ISA-18.2's definition of an alarm)."""
    with pytest.raises(ValueError, match="what to do now"):
        replace(PLAIN, response=" ")


def test_the_quiet_case_returns_the_same_object_and_costs_next_to_nothing() -> None:
    """Nothing is the matter: the same memory, and (with room for a slow board) below 5 microseconds."""
    assert step(QUIET, False, False, 10.0, 3600.0, 300.0, PLAIN)[0] is QUIET
    assert step(QUIET, None, False, 10.0, 3600.0, 300.0, PLAIN)[0] is QUIET
    spent_s = min(
        timeit(lambda: step(QUIET, False, False, 10.0, 3600.0, 300.0, PLAIN), number=10_000) for _ in range(5)
    )
    assert spent_s / 10_000 < 5e-6


def test_a_memory_that_has_calmed_down_is_the_quiet_one() -> None:
    """After an alarm is over the fast path is taken again."""
    memory, _ = lead("XX....")
    assert memory is QUIET
    assert AlarmMemory() == QUIET


def zip_pairs(text: str) -> list[str]:
    """Neighbouring characters as pairs."""
    assert set(text) <= set(MEANING)
    return [text[index : index + 2] for index in range(len(text) - 1)]
