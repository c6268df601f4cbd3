"""The digest's calendar, against the zone rules of the IANA time zone database (values of release 2026f)."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.dates import due_digest, exists, instant, local_date, newest_date, next_digest

DAY_S = 86400.0
AMSTERDAM = ZoneInfo("Europe/Amsterdam")
EIGHT = time(8, 0)


def utc(text: str) -> float:
    return datetime.strptime(text + "+0000", "%Y-%m-%d %H:%M%z").timestamp()


def hours_of(day: str, zone: str) -> float:
    """Length of a local day from its first instant to that of the next date."""
    first = date.fromisoformat(day)
    midnight = time(0, 0)
    return (
        instant(first + timedelta(days=1), midnight, ZoneInfo(zone)) - instant(first, midnight, ZoneInfo(zone))
    ) / 3600


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/Amsterdam", "2026-03-29", 23.0),
        ("Europe/Amsterdam", "2026-10-25", 25.0),
        ("Europe/London", "2026-03-29", 23.0),
        ("America/New_York", "2026-03-08", 23.0),
        ("America/New_York", "2026-11-01", 25.0),
        ("Australia/Sydney", "2026-10-04", 23.0),
        ("Australia/Sydney", "2026-04-05", 25.0),
        ("Australia/Lord_Howe", "2026-10-04", 23.5),
        ("Australia/Lord_Howe", "2026-04-05", 24.5),
        ("Antarctica/Troll", "2026-03-29", 22.0),
        ("Antarctica/Troll", "2026-10-25", 26.0),
        ("Africa/Cairo", "2026-04-24", 23.0),
        ("Africa/Cairo", "2026-10-29", 25.0),
        ("Asia/Beirut", "2026-03-29", 23.0),
        ("Asia/Beirut", "2026-10-24", 25.0),
        ("America/Havana", "2026-03-08", 23.0),
        ("America/Santiago", "2026-09-06", 23.0),
        ("Asia/Kathmandu", "2026-03-29", 24.0),
        ("UTC", "2026-03-29", 24.0),
        ("Pacific/Apia", "2011-12-30", 0.0),
    ],
)
def test_local_days_are_as_long_as_the_zone_rules_make_them(zone: str, day: str, hours: float) -> None:
    """22 to 26 hours, half hours included, and no hours at all for a date that never was (IANA 2026f)."""
    assert hours_of(day, zone) == hours


@pytest.mark.parametrize(
    ("zone", "day", "at", "expected"),
    [
        ("Europe/Amsterdam", "2026-10-25", time(2, 30), "2026-10-25 00:30"),  # comes twice: the first one
        ("Europe/Amsterdam", "2026-03-29", time(2, 30), "2026-03-29 01:00"),  # skipped: the gap's end
        ("America/New_York", "2026-11-01", time(1, 30), "2026-11-01 05:30"),
        ("America/New_York", "2026-03-08", time(2, 30), "2026-03-08 07:00"),
        ("Australia/Lord_Howe", "2026-10-04", time(2, 15), "2026-10-03 15:30"),
        ("Antarctica/Troll", "2026-03-29", time(1, 30), "2026-03-29 01:00"),
        ("Africa/Cairo", "2026-04-24", time(0, 0), "2026-04-23 22:00"),
        ("Asia/Beirut", "2026-03-29", time(0, 30), "2026-03-28 22:00"),
        ("Asia/Kolkata", "2026-06-01", EIGHT, "2026-06-01 02:30"),
        ("Europe/Amsterdam", "2026-01-15", EIGHT, "2026-01-15 07:00"),
    ],
)
def test_a_time_of_day_has_one_exact_instant(zone: str, day: str, at: time, expected: str) -> None:
    """Skipped: the first instant after the gap; repeated: the first occurrence (IANA 2026f)."""
    assert instant(date.fromisoformat(day), at, ZoneInfo(zone)) == utc(expected)


def test_the_instant_of_a_gap_is_the_first_one_with_the_new_offset() -> None:
    """One second before it the clocks still show the time before the gap."""
    end_s = instant(date(2026, 3, 29), time(2, 30), AMSTERDAM)
    shown = [datetime.fromtimestamp(end_s + by_s, AMSTERDAM).strftime("%H:%M:%S") for by_s in (-1, 0)]
    assert shown == ["01:59:59", "03:00:00"]


def test_a_date_that_never_was_has_no_digest() -> None:
    """Apia went from 29 to 31 December 2011 (IANA 2026f): so do its digests."""
    apia = ZoneInfo("Pacific/Apia")
    assert not exists(date(2011, 12, 30), apia)
    after_s = instant(date(2011, 12, 29), EIGHT, apia)
    assert next_digest(after_s, EIGHT, apia)[0] == date(2011, 12, 31)
    assert newest_date(instant(date(2011, 12, 31), EIGHT, apia) - 1.0, EIGHT, apia) == date(2011, 12, 29)


def test_a_digest_in_a_gap_over_midnight_keeps_its_date() -> None:
    """Toronto went from 23:30 on 30 March 1919 to 00:30 on the 31st (IANA): 23:45 means 00:30, and no date is lost."""
    toronto, at = ZoneInfo("America/Toronto"), time(23, 45)
    end_s = utc("1919-03-31 04:30")
    assert instant(date(1919, 3, 30), at, toronto) == end_s
    assert next_digest(end_s - 60.0, at, toronto) == (date(1919, 3, 30), end_s)
    assert next_digest(end_s, at, toronto)[0] == date(1919, 3, 31)


class TestDue:
    def test_a_digest_is_due_from_its_instant_on_and_only_once(self) -> None:
        """A second before 08:00 it is not due; at 08:00 it is; once done it is not."""
        at_s = instant(date(2026, 1, 15), EIGHT, AMSTERDAM)
        done = {date(2026, 1, 14)}
        assert due_digest(at_s - 1.0, EIGHT, AMSTERDAM, done, 0.0) is None
        assert due_digest(at_s, EIGHT, AMSTERDAM, done, 0.0) == date(2026, 1, 15)
        assert due_digest(at_s, EIGHT, AMSTERDAM, done | {date(2026, 1, 15)}, 0.0) is None

    def test_after_days_off_only_the_newest_is_made(self) -> None:
        """Five days without power: one digest, which covers them all."""
        now_s = instant(date(2026, 1, 20), EIGHT, AMSTERDAM) + 3600.0
        assert due_digest(now_s, EIGHT, AMSTERDAM, {date(2026, 1, 15)}, now_s) == date(2026, 1, 20)

    @pytest.mark.parametrize("back_s", [300.0, 3600.0, 6 * 3600.0, DAY_S, 3 * DAY_S])
    def test_a_clock_set_back_makes_no_digest_again(self, back_s: float) -> None:
        """Neither at once nor when the same 08:00 comes a second time."""
        done = {date(2026, 1, day) for day in range(1, 16)}
        at_s = instant(date(2026, 1, 15), EIGHT, AMSTERDAM)
        since_s = at_s + 60.0 - back_s
        for ahead_s in range(0, int(back_s) + 3600, 600):
            assert due_digest(since_s + ahead_s, EIGHT, AMSTERDAM, done, since_s) is None

    def test_a_clock_that_was_far_ahead_does_not_end_the_digests(self) -> None:
        """A digest was made for a date 400 days on; the clock is put right, and tomorrow's digest comes."""
        done = {date(2026, 1, 15), date(2027, 2, 19)}
        right_s = instant(date(2026, 1, 15), EIGHT, AMSTERDAM) + 7200.0
        assert due_digest(right_s, EIGHT, AMSTERDAM, done, right_s) is None
        assert next_digest(right_s, EIGHT, AMSTERDAM, done)[0] == date(2026, 1, 16)
        tomorrow_s = instant(date(2026, 1, 16), EIGHT, AMSTERDAM)
        assert due_digest(tomorrow_s, EIGHT, AMSTERDAM, done, right_s) == date(2026, 1, 16)

    def test_a_board_that_wakes_up_in_1970_makes_no_digest_for_it(self) -> None:
        """Without a clock chip and a network the time is wrong; nothing is made for a date that was not lived."""
        assert due_digest(20.0, EIGHT, AMSTERDAM, {date(2026, 1, 15)}, 15.0) is None

    def test_a_done_date_that_comes_again_is_passed_over(self) -> None:
        """After a step back the next digest is that of the first date that has none."""
        done = {date(2026, 1, day) for day in (14, 15, 16)}
        now_s = instant(date(2026, 1, 14), EIGHT, AMSTERDAM) + 60.0
        assert next_digest(now_s, EIGHT, AMSTERDAM, done)[0] == date(2026, 1, 17)


# Every kind of rule: half hours, two hours, no summer time, gaps over midnight, a date line, negative summer time.
ZONES = st.sampled_from(
    [
        "Africa/Cairo",
        "Africa/Casablanca",
        "America/Havana",
        "America/New_York",
        "America/Nuuk",
        "America/Santiago",
        "Antarctica/Troll",
        "Asia/Beirut",
        "Asia/Kathmandu",
        "Australia/Lord_Howe",
        "Europe/Amsterdam",
        "Europe/Dublin",
        "Pacific/Apia",
        "Pacific/Kiritimati",
        "UTC",
    ]
).map(ZoneInfo)
TIMES = st.builds(time, st.integers(0, 23), st.integers(0, 59))
WALLS = st.integers(0, 4_000_000_000).map(float)


@given(ZONES, TIMES, WALLS, st.integers(2, 20), st.integers(1800, 40_000))
def test_a_clock_that_runs_straight_makes_every_date_once(
    zone: ZoneInfo, at: time, start_s: float, days: int, look_every_s: int
) -> None:
    """Looked at every so often, each existing date between start and end is made exactly once, in order."""
    done: list[date] = []
    fresh = due_digest(start_s, at, zone, (), start_s)
    made = [] if fresh is None else [fresh]
    now_s = start_s
    while now_s < start_s + days * DAY_S:
        now_s += look_every_s
        due = due_digest(now_s, at, zone, made, start_s)
        if due is not None:
            made.append(due)
            done.append(due)
    expected = [made[0] + timedelta(days=n) for n in range(1, 1 + (newest_date(now_s, at, zone) - made[0]).days)]
    assert done == [day for day in expected if exists(day, zone)]


@given(
    ZONES,
    TIMES,
    WALLS,
    st.lists(st.tuples(st.integers(0, 200_000), st.integers(-500_000, 500_000)), max_size=30),
)
def test_whatever_the_clock_does_a_date_has_at_most_one_digest(
    zone: ZoneInfo, at: time, start_s: float, moves: list[tuple[int, int]]
) -> None:
    """The clock runs, and is set forward and back: no date is made twice, none before its time."""
    now_s = since_s = start_s
    made: list[date] = []
    for run_s, step_s in moves:
        now_s += run_s
        due = due_digest(now_s, at, zone, made, since_s)
        if due is not None:
            assert due not in made
            assert instant(due, at, zone) <= now_s
            made.append(due)
        if step_s > 0 or now_s + step_s > 0:
            now_s = since_s = now_s + step_s


@given(ZONES, TIMES, WALLS)
def test_the_next_digest_is_the_first_one_to_come(zone: ZoneInfo, at: time, now_s: float) -> None:
    """It lies ahead, is not due a second before, is due then, and is less than 50 hours away."""
    day, at_s = next_digest(now_s, at, zone)
    assert now_s < at_s < now_s + 50 * 3600.0
    assert newest_date(at_s, at, zone) == day
    assert newest_date(at_s - 1.0, at, zone) < day


@given(ZONES, WALLS)
def test_a_local_date_is_the_one_the_standard_library_shows(zone: ZoneInfo, wall_s: float) -> None:
    """Checked against datetime.fromtimestamp of Python's library."""
    assert local_date(wall_s, zone) == datetime.fromtimestamp(wall_s, UTC).astimezone(zone).date()
