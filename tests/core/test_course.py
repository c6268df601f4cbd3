"""The course of an experiment: what it asks for at each look. It can hold and release, and nothing else."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.course import (
    MARGIN_K,
    PARTS,
    Course,
    CourseTerms,
    Deed,
    Kind,
    Noticed,
    Part,
    Turn,
    is_ours,
    left_s,
    turn,
)
from matwarden.terms import Reason

LOW_C = 22.2
TERMS = CourseTerms(LOW_C)
COOL = next(number for number, part in enumerate(PARTS) if part.kind is Kind.COOL)
HEAT = next(number for number, part in enumerate(PARTS) if part.kind is Kind.HEAT)
HELD = Noticed(24.0, Reason.HELD, 500.0)
HEATING = Noticed(23.0, Reason.BELOW_SETPOINT, None)


def cooling(now_s: float = 1000.0, held_left_s: float = 500.0, since_s: float = 0.0) -> Course:
    """In its first cooling, with a hold of its own."""
    return Course(COOL, since_s, since_s, 25.0, now_s + held_left_s)


def heating(since_s: float = 0.0) -> Course:
    """In its first heating, with the hold given back."""
    return Course(HEAT, since_s, since_s, 22.5)


def test_the_whole_course_takes_less_than_a_day() -> None:
    """Each part has a longest time, and all of them together are under 24 hours."""
    assert left_s(Course(), 0.0, TERMS) == sum(part.at_most_s for part in PARTS) < 86_400.0
    assert left_s(Course(len(PARTS)), 0.0, TERMS) == 0.0
    assert left_s(Course(1, 100.0), 700.0, TERMS) == sum(part.at_most_s for part in PARTS[1:]) - 600.0


def test_it_only_looks_at_first() -> None:
    """The first part asks for nothing until its time is over; then heat is held."""
    first = turn(Course(), HEATING, 50.0, TERMS)
    assert (first.deed, first.stop, first.course.began_s) == (Deed.NOTHING, "", 50.0)
    later = turn(first.course, HEATING, 50.0 + PARTS[0].at_most_s, TERMS)
    assert (later.deed, later.course.part) == (Deed.HOLD, COOL)


@pytest.mark.parametrize(("left", "deed"), [(500.0, Deed.NOTHING), (301.0, Deed.NOTHING), (299.0, Deed.HOLD)])
def test_a_hold_is_asked_for_again_when_half_of_it_is_over(left: float, deed: Deed) -> None:
    """So that it never ends by itself while somebody looks, and soon after nobody does."""
    taken = turn(cooling(held_left_s=left), Noticed(24.0, Reason.HELD, left), 1000.0, TERMS)
    assert taken.deed is deed
    assert taken.course.held_until_s == (1000.0 + TERMS.hold_s if deed is Deed.HOLD else 1000.0 + left)


@pytest.mark.parametrize(
    ("inside_c", "now_s", "over"),
    [
        (LOW_C + MARGIN_K + 0.01, 1000.0, False),
        (LOW_C + MARGIN_K, 1000.0, True),  # as cold as it may get
        (LOW_C - 3.0, 1000.0, True),
        (24.95, 1799.0, False),
        (24.95, 1800.0, True),  # it hardly cools any more: 0.05 K in half an hour
        (24.8, 1800.0, False),
        (23.0, PARTS[COOL].at_most_s - 1.0, False),
        (23.0, PARTS[COOL].at_most_s, True),  # its time is over
    ],
)
def test_cooling_ends(inside_c: float, now_s: float, over: bool) -> None:
    """At the margin over the band's low edge, when it hardly cools, or after its time: heat is given back at once."""
    taken = turn(cooling(now_s), Noticed(inside_c, Reason.HELD, 500.0), now_s, TERMS)
    assert taken.deed is (Deed.RELEASE if over else Deed.NOTHING)
    assert taken.course.part == (HEAT if over else COOL)
    assert (taken.course.held_until_s is None) is over


@pytest.mark.parametrize(
    ("reason", "now_s", "over"),
    [
        (Reason.BELOW_SETPOINT, 100.0, False),
        (Reason.COASTING, 100.0, False),
        (Reason.LIMITER, 100.0, False),  # the limiter lets go again: there is more to come
        (Reason.RESTING, 100.0, False),
        (Reason.PROVING, 100.0, False),
        (Reason.WARM_ENOUGH, 100.0, True),
        (Reason.BELOW_SETPOINT, PARTS[HEAT].at_most_s, True),
    ],
)
def test_heating_ends_when_the_guard_says_warm_enough(reason: Reason, now_s: float, over: bool) -> None:
    """Or when its time is over: how warm it gets is the guard's to say."""
    taken = turn(heating(), Noticed(24.0, reason, None), now_s, TERMS)
    assert (taken.course.part > HEAT) is over
    assert taken.stop == ""


def test_what_the_guard_said_of_the_hold_does_not_end_the_heating() -> None:
    """The first look after the release may still show the verdict of before it."""
    released = turn(cooling(), Noticed(LOW_C, Reason.WARM_ENOUGH, 500.0), 1000.0, TERMS)
    assert (released.deed, released.course.part) == (Deed.RELEASE, HEAT)


@pytest.mark.parametrize("course", [Course(0, 0.0), cooling(), heating()], ids=["watching", "cooling", "heating"])
@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"tripped": True}, "tripped"),
        ({"relay_fault": True}, "fault"),
        ({"alarms": ("cold/oak",)}, "cold/oak"),
        ({"reason": Reason.CUT_OUT}, "cut-out"),
        ({"reason": Reason.HOT_ROOM}, "hot-room"),
    ],
)
def test_anything_unusual_ends_it_and_gives_heat_back(course: Course, wrong: dict[str, object], said: str) -> None:
    """In every part; a hold of its own is released with it."""
    held = course.held_until_s is not None
    seen = {"inside_c": 24.0, "reason": Reason.HELD, "hold_left_s": 500.0 if held else None} | wrong
    taken = turn(course, Noticed(**seen), 1000.0, TERMS)  # type: ignore[arg-type]
    assert said in taken.stop
    assert taken.deed is (Deed.RELEASE if held else Deed.NOTHING)
    assert taken.course.held_until_s is None


def test_a_tub_that_is_not_read_for_a_minute_ends_it() -> None:
    """A reading that is doubted for a moment does not; meanwhile no hold is asked for."""
    dark = Noticed(None, Reason.BLIND, 200.0)
    first = turn(cooling(held_left_s=200.0), dark, 1000.0, TERMS)
    assert (first.deed, first.stop) == (Deed.NOTHING, "")
    seen_again = turn(first.course, Noticed(24.0, Reason.HELD, 150.0), 1050.0, TERMS)
    assert (seen_again.deed, seen_again.course.dark_s) == (Deed.HOLD, None)
    last = turn(first.course, Noticed(None, Reason.BLIND, 140.0), 1060.0, TERMS)
    assert (last.deed, "not read" in last.stop) == (Deed.RELEASE, True)


@pytest.mark.parametrize(
    ("course", "hold_left_s", "said"),
    [
        (Course(0, 0.0), 3600.0, "somebody holds"),
        (heating(), 20.0, "somebody holds"),
        (cooling(held_left_s=500.0), None, "somebody ended"),
        (cooling(held_left_s=500.0), 7200.0, "somebody else holds"),
        (cooling(held_left_s=500.0), 100.0, "somebody else holds"),
    ],
)
def test_somebody_elses_hand_ends_it_and_is_left_alone(course: Course, hold_left_s: float | None, said: str) -> None:
    """A hold that a person asked for, or the end of one, stands as that person left it."""
    taken = turn(course, Noticed(24.0, Reason.HELD, hold_left_s), 1000.0, TERMS)
    assert said in taken.stop
    assert taken.deed is Deed.NOTHING


def test_its_own_hold_that_ran_out_is_asked_for_again() -> None:
    """As after an hour in which this process stood still."""
    late = turn(cooling(held_left_s=-3000.0), Noticed(24.0, Reason.COASTING, None), 1000.0, TERMS)
    assert (late.deed, late.stop) == (Deed.HOLD, "")


def test_a_course_taken_up_again_begins_its_part_anew() -> None:
    """Of a part that was cut off nobody knows what happened since."""
    again = turn(cooling().anew(), Noticed(25.4, Reason.WARM_ENOUGH, None), 9000.0, TERMS)
    assert (again.course.part, again.course.began_s, again.deed) == (COOL, 9000.0, Deed.HOLD)


def test_a_hold_is_told_by_when_it_ends() -> None:
    """Half a minute of doubt, for answers take their time; no hold is nobody's."""
    assert is_ours(1600.0, 595.0, 1000.0)
    assert not is_ours(1600.0, 560.0, 1000.0)
    assert not is_ours(None, 600.0, 1000.0)
    assert not is_ours(1600.0, None, 1000.0)


def test_at_the_end_nothing_is_held() -> None:
    """Also where the last part was a cooling."""
    terms = CourseTerms(LOW_C, (Part("cooling", Kind.COOL, 60.0),))
    taken = turn(Course(0, 0.0, 0.0, 25.0, 500.0), Noticed(24.0, Reason.HELD, 440.0), 60.0, terms)
    assert (taken.deed, taken.course.over(terms), taken.course.held_until_s) == (Deed.RELEASE, True, None)


_LOOKS = st.lists(
    st.tuples(
        st.floats(0.5, 4000.0),
        st.one_of(st.none(), st.floats(15.0, 30.0)),
        st.sampled_from(list(Reason)),
        st.sampled_from(["ours", "ours", "ours", "ours", "another", "none"]),
        st.booleans(),
    ),
    max_size=60,
)


@given(looks=_LOOKS)
def test_whatever_is_seen_it_never_holds_a_cold_or_unread_tub(
    looks: list[tuple[float, float | None, Reason, str, bool]],
) -> None:
    """A hold is asked for only over the margin, is short, and is never left standing when the course stops."""
    course, now_s, held_s = Course(COOL), 0.0, None
    for step_s, inside_c, reason, whose, alarm in looks:
        now_s += step_s
        if held_s is not None and held_s <= now_s:
            held_s = None
        left = None if held_s is None else held_s - now_s
        left = 5000.0 if whose == "another" else None if whose == "none" else left
        seen = Noticed(inside_c, reason, left, alarms=("hot/oak",) if alarm and step_s > 3900.0 else ())
        taken: Turn = turn(course, seen, now_s, TERMS)
        if taken.deed is Deed.HOLD:
            assert inside_c is not None
            assert inside_c > TERMS.floor_c
            assert taken.course.held_until_s == now_s + TERMS.hold_s
            assert not taken.stop
            held_s = taken.course.held_until_s
        elif taken.deed is Deed.RELEASE:
            held_s = None
        if inside_c is not None and inside_c <= TERMS.floor_c and held_s is not None and whose == "ours":
            assert taken.stop, "a hold of its own outlives the margin"
        course = taken.course
        if taken.stop or course.over(TERMS):
            assert course.held_until_s is None
            return
