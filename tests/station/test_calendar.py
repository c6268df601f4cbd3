"""What happens at a time of day: each digest once, each failure again later; and the thread that wakes it."""

from __future__ import annotations

import threading
import time as machine_time
from collections.abc import Callable, Collection, Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from matwarden.calendar import CLEAN_UP_AFTER_START_S, CLEAN_UP_EVERY_S, RETRY_AFTER_S, Calendar, CalendarThread

_ZONE = ZoneInfo("Europe/Amsterdam")
_EIGHT = time(8, 0)
# Only a failing test waits this long.
_PATIENCE_S = 20.0
_HOUR_S = 3600.0
_DAY_S = 86400.0


def _wall_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=_ZONE).timestamp()


class _Diary:
    """A calendar, what it did, and whether its digests succeed."""

    def __init__(
        self,
        now_wall_s: float,
        done: Collection[date] = (),
        at: time | None = _EIGHT,
        cleaned_s: float | None = None,
    ) -> None:
        self.made: list[date] = []
        self.cleaned_n = 0
        self.succeeds = True
        self.calendar = Calendar(at, _ZONE, done, self._make, self._clean, now_wall_s, cleaned_s)

    def look(self, wall_s: float) -> list[date]:
        """Have it done what is due, and say which digests were made."""
        before = len(self.made)
        self.calendar.run_due(wall_s)
        return self.made[before:]

    def live(self, from_wall_s: float, to_wall_s: float) -> list[date]:
        """Look at every instant the calendar asks for."""
        before, now_s = len(self.made), from_wall_s
        while now_s <= to_wall_s:
            self.calendar.run_due(now_s)
            now_s = self.calendar.next_wall_s(now_s)
        return self.made[before:]

    def _make(self, day: date) -> bool:
        self.made.append(day)
        return self.succeeds

    def _clean(self) -> None:
        self.cleaned_n += 1


_JAN_16 = date(2026, 1, 16)


def test_a_fresh_installation_owes_no_digest() -> None:
    """Installed in the evening, the first digest is the next morning's: not one of this morning at once."""
    diary = _Diary(_wall_s("2026-01-15T18:00"))
    assert diary.look(_wall_s("2026-01-15T18:00")) == []
    assert diary.look(_wall_s("2026-01-16T07:59:59")) == []
    assert diary.look(_wall_s("2026-01-16T08:00")) == [_JAN_16]


def test_a_digest_that_was_slept_through_is_made_at_the_start() -> None:
    """A program that was off at eight makes that digest when it comes up; of many missed ones only the newest."""
    diary = _Diary(_wall_s("2026-01-16T11:00"), done=[date(2026, 1, 3)])
    assert diary.look(_wall_s("2026-01-16T11:00")) == [_JAN_16]
    assert diary.look(_wall_s("2026-01-16T23:00")) == []


def test_a_digest_that_failed_is_tried_again_after_a_while() -> None:
    """A failed digest is asked for again, not before the pause is over, and once it succeeds no more."""
    now_s = _wall_s("2026-01-16T08:00")
    diary = _Diary(now_s, done=[date(2026, 1, 15)])
    diary.succeeds = False
    assert diary.look(now_s) == [_JAN_16]
    assert diary.look(now_s + RETRY_AFTER_S - 1.0) == []
    assert diary.calendar.next_wall_s(now_s) == now_s + RETRY_AFTER_S
    diary.succeeds = True
    assert diary.look(now_s + RETRY_AFTER_S) == [_JAN_16]
    assert diary.look(now_s + 2 * RETRY_AFTER_S) == []


def test_a_digest_that_raises_is_tried_again_after_the_same_while() -> None:
    """An error of ours in the making is no reason to make it every second."""
    now_s = _wall_s("2026-01-16T08:00")

    def fail(day: date) -> bool:
        raise RuntimeError("a bug")

    calendar = Calendar(_EIGHT, _ZONE, [date(2026, 1, 15)], fail, lambda: None, now_s)
    with pytest.raises(RuntimeError):
        calendar.run_due(now_s)
    assert calendar.next_wall_s(now_s) == now_s + RETRY_AFTER_S


def test_a_clock_set_back_does_not_put_off_the_second_try() -> None:
    """After a failure and a clock set back six hours, the pause is not six hours longer."""
    now_s = _wall_s("2026-01-16T20:00")
    diary = _Diary(now_s, done=[date(2026, 1, 15)])
    diary.succeeds = False
    diary.look(now_s)
    diary.succeeds = True
    back_s = now_s - 6 * _HOUR_S
    diary.calendar.clock_stepped(back_s)
    assert diary.look(back_s) == [_JAN_16]


@pytest.mark.parametrize("start", ["2026-03-20T18:00", "2026-10-20T18:00"])
def test_ten_days_have_ten_digests_over_a_change_to_or_from_summer_time(start: str) -> None:
    """Woken only when it asks to be, the calendar makes each day's digest once, at the same local time."""
    from_s = _wall_s(start)
    diary = _Diary(from_s)
    made = diary.live(from_s, from_s + 10 * _DAY_S + _HOUR_S)
    first = datetime.fromisoformat(start).date()
    assert made == [first + timedelta(days=n) for n in range(1, 11)]


def test_the_record_is_cleaned_up_once_a_day() -> None:
    """A clean-up soon after the first start, then one a day, and none more for a clock set back by an hour."""
    from_s = _wall_s("2026-01-16T18:00")
    diary = _Diary(from_s)
    diary.look(from_s)
    assert diary.cleaned_n == 0
    diary.live(from_s, from_s + _HOUR_S)
    assert diary.cleaned_n == 1
    diary.live(from_s, from_s + 7.5 * CLEAN_UP_EVERY_S)
    assert diary.cleaned_n == 8


def test_a_clock_set_back_by_a_year_does_not_put_off_the_clean_up() -> None:
    """It was done under a wrong clock: under the right one it is done anew, once."""
    from_s = _wall_s("2026-01-16T18:00")
    diary = _Diary(from_s, at=None)
    diary.live(from_s, from_s + _HOUR_S)
    back_s = from_s - 365 * _DAY_S
    diary.live(back_s, back_s + _HOUR_S)
    assert diary.cleaned_n == 2


def test_a_machine_that_is_restarted_every_day_is_cleaned_up_every_day() -> None:
    """Started at 18:00 and off again two hours later, for a week: seven clean-ups, each soon after a start."""
    cleaned_s: float | None = None
    cleaned_n = 0
    for day in range(7):
        from_s = _wall_s("2026-01-16T18:00") + day * _DAY_S
        diary = _Diary(from_s, cleaned_s=cleaned_s)
        diary.live(from_s, from_s + 2 * _HOUR_S)
        cleaned_n += diary.cleaned_n
        if diary.cleaned_n:
            cleaned_s = from_s + CLEAN_UP_AFTER_START_S
    assert cleaned_n == 7


def test_a_restart_soon_after_a_clean_up_makes_no_other() -> None:
    """Ten starts in an hour clean up once; the next one is due a day after the last, not after the start."""
    cleaned_s = _wall_s("2026-01-16T18:00")
    for minutes in range(0, 60, 6):
        from_s = cleaned_s + 60.0 * minutes
        diary = _Diary(from_s, at=None, cleaned_s=cleaned_s)
        diary.live(from_s, from_s + 360.0)
        assert diary.cleaned_n == 0
        assert diary.calendar.next_wall_s(from_s) == cleaned_s + CLEAN_UP_EVERY_S


@pytest.mark.parametrize("ahead_s", [_HOUR_S, 400 * _DAY_S])
def test_a_clean_up_remembered_from_a_clock_that_was_ahead_puts_nothing_off(ahead_s: float) -> None:
    """The last clean-up seems to be in the future: it is done soon after the start."""
    from_s = _wall_s("2026-01-16T18:00")
    diary = _Diary(from_s, cleaned_s=from_s + ahead_s)
    diary.live(from_s, from_s + _HOUR_S)
    assert diary.cleaned_n == 1


def test_without_digests_there_is_only_the_clean_up() -> None:
    """Switched off, no digest is ever made; the clean-up goes on."""
    from_s = _wall_s("2026-01-16T18:00")
    diary = _Diary(from_s, at=None)
    assert diary.live(from_s, from_s + 3.5 * _DAY_S) == []
    assert diary.cleaned_n == 4


class _Threaded:
    """A calendar in its thread, on a wall clock that is the machine's plus what the test sets it ahead."""

    def __init__(self, due_in_s: float, make: Callable[[date], bool] | None = None) -> None:
        self.ahead_s = 0.0
        self.made: list[date] = []
        self.made_one = threading.Event()
        due = datetime.fromtimestamp(self.wall_s() + due_in_s, UTC)
        self.day = due.date()
        # Every digest before this one is done.
        done = [self.day - timedelta(days=1)]
        calendar = Calendar(due.time(), ZoneInfo("UTC"), done, make or self._make, lambda: None, self.wall_s())
        self.thread = CalendarThread(calendar, self.wall_s)

    def wall_s(self) -> float:
        return machine_time.time() + self.ahead_s

    def set_clock(self, by_s: float) -> None:
        self.ahead_s += by_s
        self.thread.clock_stepped(self.wall_s())

    def _make(self, day: date) -> bool:
        self.made.append(day)
        self.made_one.set()
        return True


@pytest.fixture
def closing() -> Iterator[list[_Threaded]]:
    """Whatever is put in here is closed in the end."""
    threads: list[_Threaded] = []
    yield threads
    for each in threads:
        each.thread.close()


def test_the_thread_makes_a_digest_at_its_instant(closing: list[_Threaded]) -> None:
    """A digest due in a moment is made then, by a real scheduler, without anybody asking."""
    diary = _Threaded(0.3)
    closing.append(diary)
    assert not diary.made_one.is_set()
    assert diary.made_one.wait(_PATIENCE_S)
    assert diary.made == [diary.day]


def test_the_thread_makes_an_overdue_digest_promptly_and_once(closing: list[_Threaded]) -> None:
    """A digest that was due an hour before the start is made at the start, once, however often it looks."""
    diary = _Threaded(-_HOUR_S)
    closing.append(diary)
    assert diary.made_one.wait(_PATIENCE_S)
    for _ in range(3):
        diary.thread.look()
    assert diary.made == [diary.day]


def test_a_clock_set_over_the_instant_has_the_digest_made_at_once(closing: list[_Threaded]) -> None:
    """A clock set forward over the digest's time makes it promptly; set back and forward again, not twice."""
    diary = _Threaded(6 * _HOUR_S)
    closing.append(diary)
    assert diary.made == []
    diary.set_clock(7 * _HOUR_S)
    assert diary.made_one.wait(_PATIENCE_S)
    diary.set_clock(-7 * _HOUR_S)
    diary.thread.look()
    diary.set_clock(7 * _HOUR_S)
    diary.thread.look()
    assert diary.made == [diary.day]


def test_a_slow_digest_does_not_hold_up_the_start() -> None:
    """An overdue digest whose making takes long leaves the caller free: the control loop waits for no digest."""
    begun, let_go = threading.Event(), threading.Event()

    def make_slowly(day: date) -> bool:
        begun.set()
        return let_go.wait(_PATIENCE_S)

    def start() -> None:
        started.append(_Threaded(-_HOUR_S, make_slowly))

    started: list[_Threaded] = []
    starter = threading.Thread(target=start, daemon=True)
    starter.start()
    assert begun.wait(_PATIENCE_S)
    starter.join(2.0)
    held_up = starter.is_alive()
    let_go.set()
    starter.join(_PATIENCE_S)
    started[0].thread.close()
    assert not held_up


def test_close_finishes_the_digest_that_is_being_made() -> None:
    """Closing waits for a digest under way and then returns, with nothing left to wake anybody."""
    begun, let_go = threading.Event(), threading.Event()
    made: list[date] = []

    def make_slowly(day: date) -> bool:
        begun.set()
        assert let_go.wait(_PATIENCE_S)
        made.append(day)
        return True

    diary = _Threaded(0.3, make_slowly)
    assert begun.wait(_PATIENCE_S)
    closer = threading.Thread(target=diary.thread.close, daemon=True)
    closer.start()
    let_go.set()
    closer.join(_PATIENCE_S)
    assert not closer.is_alive()
    assert made == [diary.day]
