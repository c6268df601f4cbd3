"""A night against the days before it: every figure reckoned again by pandas over the same daily sums."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from digest_examples import LENGTH_S, OAK, QUIET_SERIES, ROOM, START_S
from matwarden.core.digest import night_digest
from matwarden.core.digest_compare import Against, days_before
from matwarden.core.digest_document import to_document
from matwarden.core.exposure import Extreme
from matwarden.core.record import HeatChange, Window
from matwarden.core.sums import TubSum
from matwarden.report.numbers_text import against_lines
from matwarden.terms import Unit

ZONE = ZoneInfo("Europe/Amsterdam")
HEAT = [
    HeatChange(0.0, START_S, "oak", False, "warm-enough", 40),
    HeatChange(LENGTH_S / 4, START_S, "oak", True, "below-setpoint", 41),
]


def day_sum(days_ago: int, lowest_c: float = 24.0, missing_s: float = 0.0, heat_share: float = 0.75) -> TubSum:
    """A local day before the night's, a fortieth of it a kelvin too cold."""
    day = date(2026, 1, 14) - timedelta(days=days_ago)
    begins_s = datetime.combine(day, datetime.min.time(), tzinfo=ZONE).timestamp()
    below_s = LENGTH_S / 40
    in_band_s = LENGTH_S - below_s - missing_s
    extremes = (Extreme(lowest_c, begins_s), Extreme(25.5, begins_s))
    spans = (below_s, in_band_s, 0.0, missing_s)
    return TubSum(
        day.isoformat(), begins_s, LENGTH_S, *extremes, lowest_c + 0.5, *spans, below_s / 3600.0, 0.0,
        heat_share * (LENGTH_S - missing_s), 3,
    )  # fmt: skip


def nothing_read(days_ago: int) -> TubSum:
    """A day on which the program ran and no probe answered."""
    return day_sum(days_ago)._replace(
        lowest=None, highest=None, mean=None, below_s=0.0, in_band_s=0.0, missing_s=LENGTH_S, below_kh=0.0
    )


def against_of(days: list[TubSum]) -> tuple[Against, ...]:
    """The quiet night (24.0 C throughout, heat three quarters of the time) against these days."""
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, QUIET_SERIES, HEAT, (), (), 0, ())
    return (
        night_digest("2026-01-15", "Europe/Amsterdam", window, (OAK,), (ROOM,), (), {"oak": days}).enclosures[0].against
    )


MONTH = [
    day_sum(n, 22.0 + (n % 7) / 3.0, 1800.0 * (n % 5), 0.1 + n / 50.0) for n in range(30, 0, -1) if n not in (2, 9)
]


@pytest.mark.parametrize(("place", "asked", "n"), [(0, 7, 6), (1, 30, 28)])
def test_every_figure_is_that_of_pandas(place: int, asked: int, n: int) -> None:
    """Of seven and of thirty days, with days and hours missing: means, shares, degree-hours a day, differences."""
    each = against_of(MONTH)[place]
    frame = pd.DataFrame(MONTH)
    frame = frame[pd.to_datetime(frame.date) >= pd.Timestamp("2026-01-14") - pd.Timedelta(days=asked)]
    known = frame.lasts_s - frame.missing_s
    lowest = frame.lowest.map(lambda extreme: extreme[0]).mean()
    mean = (frame["mean"] * known).sum() / known.sum()
    in_band = frame.in_band_s.sum() / known.sum()
    below = frame.below_kh.sum() / (known.sum() / 86400.0)
    heat = frame.allowed_s.sum() / known.sum()
    assert (each.asked_days, each.days, each.missing_s) == (asked, n, frame.missing_s.sum())
    assert len(frame) == n
    assert [each.lowest_c, each.mean_c, each.in_band_share, each.below_kh_per_day, each.heat_share] == pytest.approx(
        [lowest, mean, in_band, below, heat]
    )
    assert [each.lowest_k, each.mean_k, each.in_band_off_share, each.below_off_kh_per_day, each.heat_off_share] == (
        pytest.approx([24.0 - lowest, 24.0 - mean, 1.0 - in_band, -below, 0.75 - heat])
    )
    assert (each.above_kh_per_day, each.above_off_kh_per_day) == (0.0, 0.0)


def test_a_day_on_which_nothing_was_read_is_not_among_them() -> None:
    """Six of seven days were read: the seventh is in no mean, and no day at all is no comparison."""
    seven = [day_sum(n) for n in range(7, 1, -1)] + [nothing_read(1)]
    assert [each.days for each in against_of(seven)] == [6, 6]
    assert against_of([nothing_read(1)]) == ()
    assert against_of([]) == ()


def test_days_that_overlap_the_night_are_left_out() -> None:
    """The night begins on the 14th at 08:00: the 14th itself is part of it, and the 13th the last day before."""
    assert against_of([day_sum(0)]) == ()
    assert [each.days for each in against_of([day_sum(1), day_sum(0)])] == [1, 1]


@pytest.mark.parametrize(
    ("zone", "night", "hours"),
    [
        ("Europe/Amsterdam", "2026-03-30T08:00", 7 * 24 - 1),
        ("America/New_York", "2026-11-02T08:00", 7 * 24 + 1),
        ("Australia/Lord_Howe", "2026-04-06T08:00", 7 * 24 + 0.5),
    ],
)
def test_seven_days_are_local_ones(zone: str, night: str, hours: float) -> None:
    """Over a change of clocks (IANA time zone database 2025b) they are an hour, or half of one, off a week."""
    start_s = datetime.fromisoformat(night).replace(tzinfo=ZoneInfo(zone)).timestamp()
    since_s, until_s = days_before(start_s, 7, ZoneInfo(zone))
    assert until_s - since_s == hours * 3600.0
    assert start_s - until_s == 8 * 3600.0


def test_a_night_like_those_before_is_not_told() -> None:
    """0.4 K and 9 points are no news."""
    usual = [day_sum(n, 23.6, 0.0, 0.66) for n in range(1, 31)]
    assert against_lines(against_of(usual), Unit.C) == []


def test_a_night_unlike_those_before_is_told_with_the_days_that_were_there() -> None:
    """Two kelvin warmer than five of the last seven days, and much more heat; missing hours are said."""
    five = [day_sum(n, 22.0, 4 * 3600.0, 0.35) for n in range(1, 6)]
    assert against_lines(against_of(five), Unit.C) == [
        "  against 5 of the last 7 days: lowest +2.0 °C, mean +1.5 °C, heat +40 points; 20 h of them not read",
    ]
    assert against_lines(against_of(five), Unit.F)[0].startswith("  against 5 of the last 7 days: lowest +3.6 °F, mean")


def test_two_days_are_no_habit() -> None:
    """From three days on it is told."""
    assert against_lines(against_of([day_sum(n, 22.0) for n in (1, 2)]), Unit.C) == []
    assert len(against_lines(against_of([day_sum(n, 22.0) for n in (1, 2, 3)]), Unit.C)) == 1


def test_the_document_says_the_usual_and_the_difference() -> None:
    """Keys with units; a day's degree-hours and the night's difference from them."""
    days = [day_sum(n, 22.0) for n in range(1, 31)]
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, QUIET_SERIES, HEAT, (), (), 0, ())
    digest = night_digest("2026-01-15", "Europe/Amsterdam", window, (OAK,), (ROOM,), (), {"oak": days})
    week, month = to_document(digest)["enclosures"][0]["against"]
    assert (week["days"], week["of_days"], month["days"]) == (7, 7, 30)
    assert week["usual_per_day"]["below_kh"] == 0.6
    assert week["less_usual"]["lowest_k"] == 2.0
    assert datetime.fromtimestamp(days[0].begins_wall_s, UTC).isoformat() == "2026-01-12T23:00:00+00:00"
