"""What is due for a tub, in months of the calendar: common practice among keepers, no source."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.upkeep import Done, Task, UpkeepRules, due_for, later_by, newest
from matwarden.report.upkeep_text import due_lines, upkeep_text

_OAK = {"oak": "Oak"}


def _due(*done: Done, checked: dict[str, date] | None = None) -> list[str]:
    return [
        f"{each.task} {each.from_day} {each.by_day}"
        for each in due_for(["oak"], newest(done), checked or {}, UpkeepRules())
    ]


def _lines(today: str, *done: Done) -> tuple[str, ...]:
    return due_lines(_OAK, due_for(["oak"], newest(done), {}, UpkeepRules()), date.fromisoformat(today))


def _done(task: Task, day: str, undone: bool = False) -> Done:
    return Done("oak", task, date.fromisoformat(day), undone)


def test_of_what_was_never_told_nothing_is_due() -> None:
    """A fresh installation nags nobody."""
    assert _due() == []
    assert _lines("2026-11-25") == ()


def test_substrate_has_a_window_of_three_to_six_months() -> None:
    """Said from its first day on; overdue after its last."""
    changed = _done(Task.SUBSTRATE, "2026-05-03")
    assert _due(changed) == ["substrate 2026-08-03 2026-11-03"]
    assert _lines("2026-08-02", changed) == ()
    assert _lines("2026-08-03", changed) == ("Oak: change its substrate (by 3 Nov 2026)",)
    assert _lines("2026-11-03", changed) == ("Oak: change its substrate (by 3 Nov 2026)",)
    assert _lines("2026-11-04", changed) == ("Oak: change its substrate (overdue since 3 Nov 2026)",)


def test_a_kept_half_is_looked_through_before_it_is_thrown_away() -> None:
    """After two months, and no more once that was done."""
    kept = _done(Task.SPLIT, "2026-09-30")
    assert _lines("2026-11-30", kept) == ("Oak: look for young in the kept half, then discard it (by 30 Dec 2026)",)
    assert _lines("2026-11-30", kept, _done(Task.DISCARD, "2026-11-30")) == ()
    assert _due(kept, _done(Task.DISCARD, "2026-11-30"), _done(Task.SPLIT, "2026-12-01")) == [
        "split 2027-02-01 2027-03-01"
    ]


def test_food_is_due_once_or_twice_a_week() -> None:
    """From the fourth day on; overdue after the seventh."""
    fed = _done(Task.FOOD, "2026-11-20")
    assert [_lines(f"2026-11-{day}", fed) for day in (23, 24, 27, 28)] == [
        (),
        ("Oak: food",),
        ("Oak: food",),
        ("Oak: food (overdue since 27 Nov 2026)",),
    ]


def test_the_newer_of_two_checks_counts() -> None:
    """The settings' `checked` day and what was told are the same thing."""
    assert _due(checked={"oak": date(2026, 1, 31)}) == ["check 2027-01-31 None"]
    assert _due(_done(Task.CHECK, "2026-03-01"), checked={"oak": date(2026, 1, 31)}) == ["check 2027-03-01 None"]


def test_all_of_a_tub_is_one_line_with_the_soonest_overdue_first() -> None:
    """A digest has at most one line a tub."""
    told = (_done(Task.SUBSTRATE, "2026-06-01"), _done(Task.FOOD, "2026-11-20"))
    assert _lines("2026-11-25", *told) == ("Oak: food; change its substrate (by 1 Dec 2026)",)


def test_a_mistake_can_be_taken_back() -> None:
    """The newest that was told goes; what was told before it counts again."""
    told = (_done(Task.FOOD, "2026-11-01"), _done(Task.FOOD, "2026-11-20"))
    assert newest([*told, _done(Task.FOOD, "2026-11-20", undone=True)]) == {("oak", Task.FOOD): date(2026, 11, 1)}
    assert newest([_done(Task.FOOD, "2026-11-20", undone=True)]) == {}


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.integers(0, 40))
def test_months_are_those_of_the_calendar(day: date, months: int) -> None:
    """As pandas' DateOffset counts them: the end of a month stays in its month."""
    assert later_by(day, months) == (pd.Timestamp(day) + pd.DateOffset(months=months)).date()


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [("2026-11-30", 3, "2027-02-28"), ("2027-11-30", 3, "2028-02-29"), ("2026-01-31", 1, "2026-02-28")],
)
def test_a_month_that_is_too_short_ends_on_its_last_day(day: str, months: int, later: str) -> None:
    """Also in a leap year."""
    assert later_by(date.fromisoformat(day), months) == date.fromisoformat(later)


def test_the_list_says_what_was_done_and_what_follows() -> None:
    """Every tub, also one of which nothing was told."""
    due = due_for(["oak"], newest([_done(Task.SUBSTRATE, "2026-11-01")]), {}, UpkeepRules())
    told = upkeep_text({"oak": "Oak", "elm": "Elm"}, due, date(2026, 11, 25))
    assert told.splitlines() == [
        "Oak",
        "  substrate changed on 1 Nov 2026: change its substrate, due from 1 Feb 2027",
        "Elm",
        "  nothing was told yet: matwarden done elm substrate --on 2026-11-01",
    ]
