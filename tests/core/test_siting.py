"""Places side by side: hand-reckoned days, and a recorded building and weather reckoned again by pandas."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.exposure import Extreme, Spell
from matwarden.core.night_drop import NightDrops
from matwarden.core.record import Point
from matwarden.core.shared_time import TimeSpan, both, length_s, longest_gap_s, read_spans, shared_spans
from matwarden.core.siting import PlaceFound, PlaceRead, Refusal, compared, needs_no_heat
from recorded_series import as_polls, building_c, new_york_c
from siting_examples import BAND, HOUR_S, MIDNIGHT_S, POLL_S, STALE_S, hourly

AMSTERDAM = ZoneInfo("Europe/Amsterdam")
# A worked day: the hours of tests/core/test_exposure.py, plus 3 K, so that 22 C is at its 19.
DAY_C = [23, 23, 22, 22, 21, 21, 22, 23, 24, 25, 26, 27, 28, 28, 28, 27, 27, 26, 25, 25, 24, 24, 23, 23]


def only(found: tuple[PlaceFound, ...], id: str) -> PlaceFound:
    return next(each for each in found if each.id == id)


def test_a_worked_day() -> None:
    """Two hours at 21 C under a band from 22: 2 of 48 hours and 1 K.h a day, over the edge of 28 never."""
    found = compared({"top": hourly(DAY_C * 2)}, 48 * HOUR_S, BAND, AMSTERDAM)
    (place,) = found.places
    assert found.shared_s == 48 * HOUR_S
    assert place.shared == place.own
    assert place.own.in_band_share == pytest.approx(44 / 48)
    assert place.own.below_kh_per_day == pytest.approx(2.0)
    assert (place.own.above_s, place.own.above_kh_per_day) == (0.0, 0.0)
    assert place.own.lowest == Extreme(21, MIDNIGHT_S + 4 * HOUR_S)
    assert place.own.highest == Extreme(28, MIDNIGHT_S + 12 * HOUR_S)
    assert place.own.longest_below == Spell(MIDNIGHT_S + 4 * HOUR_S, 2 * HOUR_S)
    assert place.own.mean_c == pytest.approx(np.mean(DAY_C))
    assert not needs_no_heat(place)


def test_the_night_falls_from_the_highest_of_the_day_before() -> None:
    """Of two days only one night is whole: from 28 C of the first day to 21 C at 4 o'clock of the second: 7 K."""
    (place,) = compared({"top": hourly(DAY_C * 2)}, 48 * HOUR_S, BAND, AMSTERDAM).places
    assert place.own.drops == NightDrops(1, 7.0, 7.0, MIDNIGHT_S + 20 * HOUR_S)


def test_places_are_compared_only_while_all_were_read() -> None:
    """The warm place's probe was silent in the cold hours 24 to 36: those count for no place, and break the spell."""
    cold = [25.0] * 20 + [20.0] * 20 + [25.0] * 20
    silent = [25.0] * 24 + [None] * 12 + [25.0] * 24
    found = compared({"cold": hourly(cold), "silent": hourly(silent)}, 60 * HOUR_S, BAND, AMSTERDAM)
    assert found.shared_s == 48 * HOUR_S
    assert found.spans == (TimeSpan(0.0, 24 * HOUR_S), TimeSpan(36 * HOUR_S, 60 * HOUR_S))
    assert [each.id for each in found.places] == ["silent", "cold"]
    place = only(found.places, "cold")
    assert (place.shared.below_s, place.own.below_s) == (8 * HOUR_S, 20 * HOUR_S)
    assert place.shared.below_kh == pytest.approx(16.0)
    assert place.shared.longest_below == Spell(MIDNIGHT_S + 20 * HOUR_S, 4 * HOUR_S)
    assert place.own.longest_below == Spell(MIDNIGHT_S + 20 * HOUR_S, 20 * HOUR_S)


def test_a_place_that_was_not_read_a_fifth_of_the_time_is_not_said_to_need_no_heat() -> None:
    """It may have been cold then."""
    silent = [25.0] * 24 + [None] * 12 + [25.0] * 24
    (place,) = compared({"silent": hourly(silent)}, 60 * HOUR_S, BAND, AMSTERDAM).places
    assert place.unread_share == pytest.approx(0.2)
    assert place.longest_gap_s == 12 * HOUR_S
    assert place.own.below_s == 0.0
    assert not needs_no_heat(place)


def test_a_place_that_was_cold_at_another_time_is_not_said_to_need_no_heat() -> None:
    """Over the shared days it was warm; its own record is longer, and cold."""
    places = {"long": hourly([20.0] * 24 + [25.0] * 48), "short": hourly([25.0] * 48, from_h=24)}
    found = compared(places, 72 * HOUR_S, BAND, AMSTERDAM)
    assert only(found.places, "long").shared.below_s == 0.0
    assert not needs_no_heat(only(found.places, "long"))
    assert needs_no_heat(only(found.places, "short"))


def test_the_place_that_shortens_the_comparison_is_named() -> None:
    """Without the one that came on the third day the others share 72 hours, with it 24."""
    places = {
        "a": hourly([25.0] * 72),
        "b": hourly([24.0] * 72),
        "late": hourly([26.0] * 24, from_h=48),
    }
    found = compared(places, 72 * HOUR_S, BAND, AMSTERDAM)
    assert found.shared_s == 24 * HOUR_S
    assert found.limiting == ("late", 72 * HOUR_S)
    assert compared({id: places[id] for id in ("a", "b")}, 72 * HOUR_S, BAND, AMSTERDAM).limiting is None


def test_places_with_too_few_readings_are_refused_and_others_go_on() -> None:
    """Never read, read for 23 hours, and read at another time than the rest."""
    places = {
        "a": hourly([25.0] * 72),
        "never": hourly([]),
        "few": hourly([25.0] * 23),
        "b": hourly([24.0] * 72),
        "apart": hourly([26.0] * 30, from_h=80),
    }
    found = compared(places, 110 * HOUR_S, BAND, AMSTERDAM)
    assert {each.id for each in found.places} == {"a", "b"}
    assert [(each.id, each.why) for each in found.refused] == [
        ("never", Refusal.UNREAD),
        ("few", Refusal.TOO_FEW),
        ("apart", Refusal.APART),
    ]
    assert compared({"never": hourly([])}, 72 * HOUR_S, BAND, AMSTERDAM).places == ()


def test_the_best_place_is_first() -> None:
    """By degree-hours out of the band, cold or hot; of two that keep it, the one that stays further from its edges."""
    places = {
        "hot": hourly([29.0] * 24),
        "cold": hourly([19.0] * 24),
        "edge": hourly([22.5] * 24),
        "middle": hourly([24.0] * 24),
    }
    found = compared(places, 24 * HOUR_S, BAND, AMSTERDAM)
    assert [each.id for each in found.places] == ["middle", "edge", "hot", "cold"]


def polls(hours: list[float | None]) -> PlaceRead:
    values = as_polls(hours, BAND).polls
    points = [Point(POLL_S * k, MIDNIGHT_S + POLL_S * k, v) for k, v in enumerate(values) if v is not None]
    return PlaceRead(points, STALE_S)


def by_pandas(places: dict[str, PlaceRead], end_s: float) -> pd.DataFrame:
    """Minute by minute, each value held for as long as its probe's readings hold; only minutes that all have."""
    minutes = pd.RangeIndex(0, int(end_s), 60)
    columns = {}
    for id, place in places.items():
        series = pd.Series([p.value for p in place.points], index=[round(p.elapsed_s) for p in place.points])
        # 15 minutes: the value of a minute is that of a reading less than 900 s before it.
        columns[id] = series.reindex(minutes).ffill(limit=int(STALE_S // 60) - 1)
    return pd.DataFrame(columns)


def test_a_recorded_building_and_weather_reckoned_again_by_pandas() -> None:
    """Shares, dose, extremes, mean and longest spell of three weeks; Newark from day 293 on was silent for 14 hours.

    A building in winter, the same 4 K warmer, and a thermometer outdoors; source of the series: tests/data.
    """
    building = [value_c + 2.0 for value_c in building_c()][:504]
    newark = new_york_c("EWR")[293 * 24 : 293 * 24 + 504]
    assert newark.count(None) == 14
    places = {
        "floor": polls(list(building)),
        "top": polls([c + 4.0 for c in building]),
        "window": polls(newark),
    }
    end_s = 504 * HOUR_S
    found = compared(places, end_s, BAND, AMSTERDAM)
    every = by_pandas(places, end_s)
    shared = every.dropna()
    assert found.shared_s == pytest.approx(60.0 * len(shared))
    for place in found.places:
        for measured, frame in ((place.shared, shared[place.id]), (place.own, every[place.id].dropna())):
            below, above = frame[frame < BAND.low_c], frame[frame > BAND.high_c]
            assert measured.known_s == pytest.approx(60.0 * len(frame))
            assert measured.below_s == pytest.approx(60.0 * len(below))
            assert measured.above_s == pytest.approx(60.0 * len(above))
            assert measured.below_kh == pytest.approx((BAND.low_c - below).sum() / 60.0)
            assert measured.above_kh == pytest.approx((above - BAND.high_c).sum() / 60.0)
            assert measured.mean_c == pytest.approx(frame.mean())
            assert (measured.lowest.value, measured.highest.value) == (frame.min(), frame.max())
            out = (every[place.id] < BAND.low_c) & every[place.id].notna()
            if measured is place.shared:
                out &= every.notna().all(axis=1)
            runs = out.groupby((out != out.shift()).cumsum()).sum()
            longest_s = 0.0 if measured.longest_below is None else measured.longest_below.lasts_s
            assert longest_s == pytest.approx(60.0 * runs.max())
    assert [each.id for each in found.places][0] == "top"


def test_night_drops_of_a_recorded_building_reckoned_again_by_pandas() -> None:
    """Of each night the highest from 08:00 to 20:00 before it less its lowest; nothing is missing here."""
    place = polls([value_c + 6.0 for value_c in building_c()])
    (found,) = compared({"top": place}, 792 * HOUR_S, BAND, AMSTERDAM).places
    frame = pd.DataFrame(place.points)
    # Eight hours back: a half day begins at 08:00 or 20:00, and belongs to the date on which its day began.
    local = pd.to_datetime(frame.wall_s, unit="s", utc=True).dt.tz_convert("Europe/Amsterdam") - pd.Timedelta(hours=8)
    half = frame.value.groupby([local.dt.date, np.where(local.dt.hour < 12, "day", "night")])
    low, high, n = half.min().unstack(), half.max().unstack(), half.size().unstack()
    whole = (n["day"] >= 0.75 * 144) & (n["night"] >= 0.75 * 144)
    drops = (high["day"] - low["night"])[whole]
    assert found.own.drops is not None
    assert found.own.drops.n == whole.sum() == 32
    assert found.own.drops.mean_k == pytest.approx(drops.mean())
    assert found.own.drops.largest_k == pytest.approx(drops.max())


def test_spans_of_readings() -> None:
    """A reading holds for an hour; what is further apart is a gap; nothing reaches beyond the end."""
    points = [Point(h * HOUR_S, 0.0, 25.0) for h in (1.0, 1.5, 2.5, 5.0, 9.5)]
    spans = read_spans(points, 10 * HOUR_S, HOUR_S)
    assert [(a / HOUR_S, b / HOUR_S) for a, b in spans] == [(1.0, 3.5), (5.0, 6.0), (9.5, 10.0)]
    assert longest_gap_s(spans) == 3.5 * HOUR_S
    assert read_spans([], HOUR_S, HOUR_S) == []
    assert shared_spans([]) == []


_SETS = st.lists(st.booleans(), min_size=30, max_size=30)


def spans_of(minutes: list[bool]) -> list[TimeSpan]:
    return read_spans([Point(60.0 * n, 0.0, 25.0) for n, there in enumerate(minutes) if there], 1800.0, 60.0)


@given(_SETS, _SETS)
def test_what_is_shared_is_what_both_have(one: list[bool], other: list[bool]) -> None:
    """Minute by minute."""
    shared = both(spans_of(one), spans_of(other))
    assert length_s(shared) == 60.0 * sum(a and b for a, b in zip(one, other, strict=True))
    assert shared == spans_of([a and b for a, b in zip(one, other, strict=True)])
