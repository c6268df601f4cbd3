"""Two recorded months of moist and dry air: dew points as the weather service told them, a digest, and the alarm.

Source and licence of the recording: tests/data/weather/README.md. Outdoor air stands for a tub's: it is what there is,
with its gaps, its dry afternoons and its saturated nights.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from helpers_station import START_WALL_S
from matwarden.clocks import SimulatedClock
from matwarden.core.humidity import humidity_nights
from matwarden.core.moist_air import dew_point_c, vapour_pressure_deficit_kpa
from matwarden.core.record import Point, Window
from matwarden.events import AlarmChanged, Event
from matwarden.pollers import InlinePoller
from matwarden.station import Station
from matwarden.terms import AlarmState, AlarmTimes, Band, Enclosure, ProbeTerms, Quantity, Role, Unit
from matwarden_hardware.ports import ProbeError, Sample

Hours = npt.NDArray[np.float64]

DATA = Path(__file__).resolve().parent.parent / "data" / "weather" / "nyc_humid.csv"
HOUR_S = 3600.0
ZERO_C_K = 273.15
# An hourly thermometer: one missed hour is bridged, two are not.
AIR = ProbeTerms("oak-air", Role.AIR, "oak", None, HOUR_S, 5.0, 3 * HOUR_S, 3.0, 0.0)


@cache
def recorded() -> tuple[Hours, Hours, Hours]:
    """Temperature and dew point in degrees Celsius, humidity in percent; NaN for an hour that was not recorded."""
    with DATA.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))[1:]
    columns = {
        name: np.array([float(cell) if cell else np.nan for row in rows if row[0] == name for cell in row[2:]])
        for name in ("temp", "dewp", "humid")
    }
    return (columns["temp"] - 32.0) / 1.8, (columns["dewp"] - 32.0) / 1.8, columns["humid"]


@cache
def deficits_kpa() -> Hours:
    """By CoolProp (IAPWS-95), one an hour."""
    warm_c, _, humidity_pct = recorded()
    full_kpa = [np.nan if np.isnan(t) else PropsSI("P", "T", t + ZERO_C_K, "Q", 0, "Water") / 1000.0 for t in warm_c]
    return np.array(full_kpa) * (1.0 - humidity_pct / 100.0)


def test_dew_points_are_those_that_the_weather_service_told() -> None:
    """Within 0.05 K in 1376 of 1480 hours; CoolProp too disagrees with the other 104, and there agrees with us."""
    told_n = 0
    for warm_c, told_c, humidity_pct in zip(*recorded(), strict=True):
        if np.isnan(warm_c):
            continue
        ours_c = dew_point_c(warm_c, humidity_pct)
        assert ours_c is not None
        if abs(ours_c - told_c) <= 0.05:
            told_n += 1
            continue
        other_c = HAPropsSI("D", "T", warm_c + ZERO_C_K, "R", humidity_pct / 100.0, "P", 101325.0) - ZERO_C_K
        assert ours_c == pytest.approx(other_c, abs=0.05)
    assert told_n == 1376


def test_deficits_are_those_of_iapws_95() -> None:
    """Within 0.013 kPa in every hour, from saturated nights to 4.4 kPa on a July afternoon."""
    warm_c, _, humidity_pct = recorded()
    ours = [
        vapour_pressure_deficit_kpa(t, rh) if t == t else np.nan for t, rh in zip(warm_c, humidity_pct, strict=True)
    ]
    np.testing.assert_allclose(ours, deficits_kpa(), atol=0.013)
    assert np.nanmax(ours) > 4.0


def test_two_months_as_one_night() -> None:
    """Extremes and time-weighted means as numpy has them; of a gap three hours are bridged, the rest is missing."""
    warm_c, _, humidity_pct = recorded()
    n = len(warm_c)
    known = np.flatnonzero(~np.isnan(warm_c))
    end_s = n * HOUR_S
    series = {
        ("oak-air", quantity): [Point(h * HOUR_S, START_WALL_S + h * HOUR_S, float(values[h])) for h in known]
        for quantity, values in ((Quantity.TEMPERATURE, warm_c), (Quantity.HUMIDITY, humidity_pct))
    }
    window = Window(0.0, end_s, START_WALL_S, START_WALL_S + end_s, series, (), (), (), 0, ())
    (found,) = humidity_nights(window, (AIR,))
    holds_s = np.minimum(np.diff(np.append(known, n)) * HOUR_S, AIR.stale_s)
    assert found.mean_pct == pytest.approx(np.average(humidity_pct[known], weights=holds_s))
    assert found.deficit_mean_kpa == pytest.approx(np.average(deficits_kpa()[known], weights=holds_s), abs=0.013)
    driest = int(np.nanargmax(deficits_kpa()))
    assert found.deficit_highest_kpa is not None
    assert found.deficit_highest_kpa.wall_s == START_WALL_S + driest * HOUR_S
    assert found.lowest_pct == (np.nanmin(humidity_pct), START_WALL_S + int(np.nanargmin(humidity_pct)) * HOUR_S)


class _Hourly:
    """A probe that delivers one recorded hour after the other."""

    def __init__(self) -> None:
        self._left = zip(*recorded(), strict=True)

    def read(self) -> Sample:
        warm_c, _, humidity_pct = next(self._left)
        if np.isnan(warm_c):
            raise ProbeError("the record has no value here")
        return Sample(float(warm_c), float(humidity_pct))

    def close(self) -> None:
        """Nothing to release."""


def station_over(limit_kpa: float) -> list[Event]:
    """The running station, hour by hour."""
    times = AlarmTimes(1e9, 1e9, 600.0, 300.0, 0.5, too_dry_kpa=limit_kpa)
    oak = Enclosure("oak", "Oak", Band(-30.0, 60.0), (AIR,), None, times)
    clock, told = SimulatedClock(START_WALL_S, 1000.0), list[Event]()
    poller = InlinePoller({"oak-air": _Hourly()}, {"oak-air": AIR}, 1000.0)
    station = Station((oak,), (), Unit.C, poller, {}, clock, told.extend, {}, judge_every_s=300.0)
    while clock.monotonic_s() < 1000.0 + len(recorded()[0]) * HOUR_S:
        clock.wait(station.cycle(), station.wake)
    return told


def reckoned(limit_kpa: float, first_h: int, last_h: int) -> list[int]:
    """The hours at which six dry ones in a row are over, of hours without a gap: from the definition, by hand."""
    found, dry_h, standing = [], 0, False
    for hour in range(first_h, last_h):
        deficit_kpa = deficits_kpa()[hour]
        clear = deficit_kpa <= limit_kpa - 0.2
        dry_h = 0 if clear else dry_h + 1 if dry_h or deficit_kpa >= limit_kpa else 0
        standing = standing and not clear
        if dry_h > 6 and deficit_kpa >= limit_kpa and not standing:
            found.append(hour)
            standing = True
    return found


@pytest.mark.parametrize("limit_kpa", [1.0, 1.6, 2.2])
def test_it_rings_when_a_reckoning_by_hand_says_so(limit_kpa: float) -> None:
    """Over the 25 recorded days between two gaps: as many alarms, each within minutes of the hour reckoned."""
    # 2013-07-04T00Z to 2013-07-29T00Z.
    first_h, last_h = 3 * 24, 28 * 24
    events = station_over(limit_kpa)
    rang = [
        (event.at.mono_s - 1000.0) / HOUR_S
        for event in events
        if isinstance(event, AlarmChanged) and event.state is AlarmState.UNACKNOWLEDGED and "too-dry" in event.alarm
    ]
    expected = reckoned(limit_kpa, first_h, last_h)
    assert len(expected) > 2
    assert [hour for hour in rang if first_h <= hour < last_h] == pytest.approx(expected, abs=0.2)
