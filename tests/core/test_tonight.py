"""The coming night: intervals held to nights that really came, of recorded rooms and weather (tests/data)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from matwarden.core.tonight import Interval, Scored, came, expected, night_of, record_of
from recorded_series import building_c, house_c, new_york_c, typical_c

UTC_ZONE, AMSTERDAM = ZoneInfo("UTC"), ZoneInfo("Europe/Amsterdam")
# 2013-01-01T00:00Z; the series' first row is taken as a midnight.
START_S, DAY_S = 1_356_998_400.0, 86_400.0
START = date(2013, 1, 1)


def known(values_c: Sequence[float | None]) -> list[float]:
    """Without gaps: the hour before goes on."""
    found: list[float] = []
    for value_c in values_c:
        found.append(value_c if value_c is not None else found[-1])
    return found


def hours_of(values_c: Sequence[float]) -> dict[float, float]:
    """Values at whole hours, joined by lines: the lowest of each hour is at one of its ends."""
    return {START_S + 3600.0 * n: min(pair) for n, pair in enumerate(zip(values_c, values_c[1:], strict=False))}


def lived(values_c: Sequence[float], at_h: float) -> tuple[list[Scored], list[Scored]]:
    """Every night in turn, as the program would have had it: all that were expected, and those that were told."""
    hours = hours_of(values_c)
    scored: list[Scored] = []
    told: list[Scored] = []
    for day in range(len(values_c) // 24 - 1):
        made_s = START_S + day * DAY_S + at_h * 3600.0
        so_far = {each: hours[each] for each in hours if made_s - 32 * DAY_S <= each <= made_s - 3600.0}
        record = record_of(scored)
        interval = expected(so_far, made_s, UTC_ZONE, record.missed_share)
        night = START + timedelta(days=day)
        lowest_c = came(hours, *night_of(night, UTC_ZONE))
        if interval is not None and lowest_c is not None:
            scored.append(Scored(night.isoformat(), interval, lowest_c))
            told += scored[-1:] if record.earned else []
    return scored, told


def held_share(scored: Sequence[Scored]) -> float:
    return sum(each.held for each in scored) / len(scored)


def width_k(scored: Sequence[Scored]) -> float:
    return sum(each.interval.high_c - each.interval.low_c for each in scored) / len(scored)


def usual_width_k(scored: Sequence[Scored]) -> float:
    return sum(each.interval.usual_high_c - each.interval.usual_low_c for each in scored) / len(scored)


ROOMS: dict[str, Callable[[], Sequence[float | None]]] = {
    "New York": lambda: house_c(known(new_york_c("EWR")), 3.0),
    "a typical year": lambda: house_c(known(typical_c("703165")), 3.0),
}
OUTDOORS: dict[str, Callable[[], Sequence[float | None]]] = {
    "New York": lambda: new_york_c("JFK"),
    "a typical year": lambda: typical_c("723170"),
}


@pytest.mark.parametrize("room", ROOMS)
def test_what_is_told_of_an_unheated_house_holds_and_is_narrower_than_what_is_usual(room: str) -> None:
    """Over a year, made at eight in the morning: 80 to 97 % of all nights, and of those that were told."""
    scored, told = lived(known(ROOMS[room]()), 8.0)
    assert len(scored) > 330
    assert len(told) > 300
    assert 0.80 <= held_share(scored) <= 0.97
    assert 0.80 <= held_share(told) <= 0.97
    assert width_k(told) < 0.8 * usual_width_k(told)


@pytest.mark.parametrize("place", OUTDOORS)
def test_even_outdoors_nine_nights_in_ten_are_held(place: str) -> None:
    """Weather that changes from day to day makes the interval wide, and does not break it: 80 to 97 % of a year."""
    scored, told = lived(known(OUTDOORS[place]()), 8.0)
    assert 0.80 <= held_share(scored) <= 0.97
    assert len(told) < 0.5 * len(scored)


def test_in_the_evening_more_is_known() -> None:
    """Made at eight in the evening it is less than half as wide as in the morning, and holds as often."""
    room_c = known(ROOMS["New York"]())
    (morning, _), (evening, _) = lived(room_c, 8.0), lived(room_c, 20.0)
    assert width_k(evening) < 0.5 * width_k(morning)
    assert 0.80 <= held_share(evening) <= 0.97


def test_a_building_whose_heating_failed() -> None:
    """Recorded indoors for a month, 106 hours of it unheated: told from the 25th night on, and right then."""
    scored, told = lived(building_c(), 8.0)
    assert len(scored) == 22
    assert held_share(scored) >= 0.80
    assert len(told) == 8
    assert held_share(told) >= 0.80
    assert width_k(told) < 2.0 < usual_width_k(told)


def test_weather_that_forgets_each_day_earns_nothing() -> None:
    """Where a night has nothing to do with the day before, hardly anything is told: under a twentieth, by chance."""
    nights = told_nights = 0
    for seed in range(6):
        days = np.random.default_rng(seed).normal(10.0, 3.0, 200)
        values = [float(days[hour // 24]) if hour % 24 >= 12 else 10.0 for hour in range(200 * 24)]
        scored, told = lived(values, 8.0)
        nights, told_nights = nights + len(scored), told_nights + len(told)
    assert nights > 1000
    assert told_nights < 0.05 * nights


def test_the_share_left_out_is_the_quantile_of_numpy() -> None:
    """Between two nights by a straight line at rank (n + 1) p: numpy's method "weibull"."""
    random = np.random.default_rng(1)
    changes = random.normal(-2.0, 1.0, 30)
    # Each day at 20:00 a level of 15, the night's lowest a change below it.
    hours = {}
    for back in range(1, 31):
        evening_s = START_S + (40 - back) * DAY_S + 20 * 3600.0
        hours[evening_s - 3600.0] = 15.0
        hours |= {evening_s + 3600.0 * n: 15.0 + changes[back - 1] for n in range(12)}
    made_s = START_S + 40 * DAY_S + 20 * 3600.0
    hours[made_s - 3600.0] = 16.0
    found = expected(hours, made_s, UTC_ZONE)
    assert found is not None
    low, high = np.quantile(changes, [0.05, 0.95], method="weibull")
    assert found.low_c == pytest.approx(16.0 + low, abs=0.1)
    assert found.high_c == pytest.approx(16.0 + high, abs=0.1)
    assert found.low_c <= 16.0 + low
    assert found.high_c >= 16.0 + high


def test_a_night_follows_the_clocks() -> None:
    """20:00 to 08:00 in Amsterdam: eleven hours in the night in which they go forward (IANA database 2025b)."""
    from_s, until_s = night_of(date(2026, 3, 28), AMSTERDAM)
    assert until_s - from_s == 11 * 3600.0


def test_a_night_of_which_too_little_was_read_is_none() -> None:
    """Three of twelve hours missing: nobody knows how cold it was."""
    from_s, until_s = night_of(START, UTC_ZONE)
    hours = {from_s + 3600.0 * n: 15.0 for n in range(12)}
    assert came(hours, from_s, until_s) == 15.0
    for n in (3, 4, 5):
        del hours[from_s + 3600.0 * n]
    assert came(hours, from_s, until_s) is None


@pytest.mark.parametrize(("nights", "held", "wide_k", "earned"), [
    (13, 13, 1.0, False),
    (14, 14, 1.0, True),
    (14, 12, 1.0, True),
    (14, 11, 1.0, False),
    (14, 14, 5.0, False),
    (40, 38, 1.0, True),
])  # fmt: skip
def test_an_interval_is_told_once_it_has_earned_it(nights: int, held: int, wide_k: float, earned: bool) -> None:
    """After 14 nights, while four in five held, and narrower than what was usual (4 K); misses here are by 0.1 K."""
    interval = Interval(15.0, 15.0 + wide_k, 14.0, 18.0)
    scored = [Scored(str(n), interval, 14.9 if n < nights - held else 15.5) for n in range(nights)]
    assert record_of(scored).earned is earned


def test_far_misses_cost_what_is_earned() -> None:
    """Narrower, but two of fourteen off by 5 K: the interval score (2 / 0.1 for each kelvin) is worse."""
    interval = Interval(15.0, 16.0, 9.0, 19.0)
    assert not record_of([Scored(str(n), interval, 10.0 if n < 2 else 15.5) for n in range(14)]).earned


def test_a_miss_makes_the_next_ones_wider() -> None:
    """Less is left out after a miss, a little more after each night that was held."""
    interval = Interval(15.0, 16.0, 14.0, 18.0)
    held, missed = Scored("a", interval, 15.5), Scored("b", interval, 12.0)
    assert record_of([held]).missed_share == pytest.approx(0.105)
    assert record_of([held, missed]).missed_share == pytest.approx(0.06)
    assert record_of([missed] * 20).missed_share == pytest.approx(0.01)
