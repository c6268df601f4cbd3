"""Night against day, reckoned again by pandas, over nights in which the clocks change in three zones."""

from __future__ import annotations

from datetime import datetime
from math import sin
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from matwarden.core.halves import Half, halves
from matwarden.core.record import Point

POLL_S, HOLD_S = 300.0, 900.0
LENGTH_S = 30 * 3600.0


def points_from(start_s: float, gap: tuple[float, float] = (0.0, 0.0)) -> list[Point]:
    """A wave every five minutes for thirty hours, with a gap."""
    times = [n * POLL_S for n in range(round(LENGTH_S / POLL_S))]
    return [Point(t, start_s + t, round(24.0 + 2.0 * sin(t / 5000.0), 3)) for t in times if not gap[0] <= t < gap[1]]


def by_pandas(points: list[Point], zone: str) -> dict[str, tuple[float, float, float]]:
    """Lowest, mean and known time of each half: by the hour of pandas' own local time."""
    frame = pd.DataFrame(points)
    frame["dt"] = frame.elapsed_s.shift(-1, fill_value=LENGTH_S).sub(frame.elapsed_s).clip(upper=HOLD_S)
    hour = pd.to_datetime(frame.wall_s, unit="s", utc=True).dt.tz_convert(zone).dt.hour
    frame["half"] = ((hour >= 20) | (hour < 8)).map({True: "night", False: "day"})
    return {
        str(half): (part.value.min(), (part.value * part.dt).sum() / part.dt.sum(), part.dt.sum())
        for half, part in frame.groupby("half")
    }


# Local noon before the night in which the clocks change, from the IANA time zone database 2025b; hours of that night.
CHANGES = [
    ("Europe/Amsterdam", "2026-03-28T12:00", 11.0),
    ("Europe/Amsterdam", "2026-10-24T12:00", 13.0),
    ("America/New_York", "2026-03-07T12:00", 11.0),
    ("America/New_York", "2026-10-31T12:00", 13.0),
    ("Australia/Lord_Howe", "2026-04-04T12:00", 12.5),
    ("Australia/Lord_Howe", "2026-10-03T12:00", 11.5),
]


@pytest.mark.parametrize(("zone", "noon", "night_h"), CHANGES)
@pytest.mark.parametrize("gap_h", [(0.0, 0.0), (9.0, 16.5)])
def test_the_halves_are_those_of_pandas(zone: str, noon: str, night_h: float, gap_h: tuple[float, float]) -> None:
    """Lowest, mean and known time, whether the night is short or long, whole or with a gap over the morning."""
    start_s = datetime.fromisoformat(noon).replace(tzinfo=ZoneInfo(zone)).timestamp()
    points = points_from(start_s, (gap_h[0] * 3600.0, gap_h[1] * 3600.0))
    night, day = halves(points, LENGTH_S, HOLD_S, ZoneInfo(zone))
    expected = by_pandas(points, zone)
    for half, name in ((night, "night"), (day, "day")):
        assert half.lowest is not None
        assert (half.lowest.value, half.mean, half.known_s) == pytest.approx(expected[name], abs=1e-9)
    if gap_h == (0.0, 0.0):
        assert night.known_s == night_h * 3600.0


def test_the_lowest_is_told_with_the_time_it_was_first_read() -> None:
    """Twice the same lowest value: the first time counts."""
    points = [Point(t, 43200.0 + t, value) for t, value in ((0.0, 21.0), (300.0, 20.0), (600.0, 20.0))]
    _, day = halves(points, 900.0, HOLD_S, ZoneInfo("UTC"))
    assert day.lowest == (20.0, 43500.0)


def test_nothing_read_is_nothing_known() -> None:
    """Neither half has a lowest or a mean; one that was read by night only has no day."""
    nothing = Half(None, None, 0.0)
    assert halves((), 900.0, HOLD_S, ZoneInfo("UTC")) == (nothing, nothing)
    night, day = halves([Point(0.0, 0.0, 20.0)], 900.0, HOLD_S, ZoneInfo("UTC"))
    assert (night.mean, day) == (20.0, nothing)


def test_a_clock_that_is_set_back_changes_the_half_and_not_the_time() -> None:
    """Set back from 08:00 to 07:00: the readings after it are of the night again."""
    points = [Point(0.0, 8 * 3600.0, 24.0), Point(300.0, 7 * 3600.0, 22.0)]
    night, day = halves(points, 600.0, HOLD_S, ZoneInfo("UTC"))
    assert (night.mean, night.known_s, day.mean, day.known_s) == (22.0, 300.0, 24.0, 300.0)
