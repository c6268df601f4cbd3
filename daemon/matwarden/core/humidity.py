"""How moist a tub's air was over a recorded window, and its moist side against its dry one. Pure.

A probe's temperature and humidity of one reading carry the same time: only such pairs have a dew point and a deficit.
As everywhere a value holds no longer than the probe's stale time, and what was not read is in no mean.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from heapq import merge
from math import inf
from typing import NamedTuple

from matwarden.core.exposure import Extreme, exposure, extremes
from matwarden.core.moist_air import dew_point_at_c, vapour_pressure_kpa
from matwarden.core.record import Point, SeriesKey, Window
from matwarden.terms import ProbeTerms, Quantity, Role, Side

__all__ = ["HumidityNight", "SidesNight", "air_that_counts", "humidity_nights", "sides_night"]


@dataclass(frozen=True, slots=True)
class HumidityNight:
    """The air at one place: over all its probes that measure humidity, each as long as its readings held.

    Attributes:
        lowest_pct, highest_pct, mean_pct: relative humidity; the mean weighted by time.
        dew_lowest_c, dew_highest_c: dew point in degrees Celsius; None where the air held no vapour.
        deficit_lowest_kpa, deficit_highest_kpa, deficit_mean_kpa: vapour-pressure deficit. It and the dew point are
            None where no humidity came together with a temperature.
    """

    role: Role
    side: Side | None
    lowest_pct: Extreme
    highest_pct: Extreme
    mean_pct: float | None
    dew_lowest_c: Extreme | None
    dew_highest_c: Extreme | None
    deficit_lowest_kpa: Extreme | None
    deficit_highest_kpa: Extreme | None
    deficit_mean_kpa: float | None


@dataclass(frozen=True, slots=True)
class SidesNight:
    """The moist side against the dry one, over the time in which both were read.

    Attributes:
        difference_pct: mean of moist less dry, in percentage points; negative: the dry side is the moister one.
        dry_moister_share: of that time, 0 to 1, in which the dry side was the moister one. known_s: its length.
    """

    role: Role
    difference_pct: float
    dry_moister_share: float
    known_s: float


class _Vapour(NamedTuple):
    pressure_kpa: list[Point]
    deficit_kpa: list[Point]
    hottest_c: float


def humidity_nights(window: Window, probes: Sequence[ProbeTerms]) -> tuple[HumidityNight, ...]:
    """Every place of `probes` where humidity was read in the window."""
    places: dict[tuple[Role, Side | None], list[ProbeTerms]] = {}
    for probe in probes:
        if window.series.get((probe.id, Quantity.HUMIDITY)):
            places.setdefault((probe.role, probe.side), []).append(probe)
    return tuple(_place(role, side, some, window) for (role, side), some in places.items())


def sides_night(window: Window, probes: Sequence[ProbeTerms]) -> SidesNight | None:
    """Moist against dry; None where no role has a probe of humidity on both sides that were read at one time.

    Several probes of a side count as their mean.
    """
    for role in (Role.AIR, Role.SUBSTRATE):
        sides = {
            side: [probe for probe in probes if probe.role is role and probe.side is side]
            for side in (Side.MOIST, Side.DRY)
        }
        found = _difference(role, window, sides)
        if found is not None:
            return found
    return None


def air_that_counts(nights: Iterable[HumidityNight]) -> HumidityNight | None:
    """The place by which a tub is called dry: air of the moist side, else of a side nobody told."""
    by_side = {each.side: each for each in nights if each.role is Role.AIR}
    return by_side.get(Side.MOIST) or by_side.get(None)


def _place(role: Role, side: Side | None, probes: Sequence[ProbeTerms], window: Window) -> HumidityNight:
    humid = [(window.series[probe.id, Quantity.HUMIDITY], probe.stale_s) for probe in probes]
    vapours = [(_vapour(probe.id, window.series), probe.stale_s) for probe in probes]
    lowest, highest = _outermost(points for points, _ in humid)
    assert lowest is not None  # only a place that was read comes here
    assert highest is not None
    driest, dampest = _outermost(vapour.pressure_kpa for vapour, _ in vapours)
    hottest_c = max(vapour.hottest_c for vapour, _ in vapours)
    deficits = [(vapour.deficit_kpa, hold_s) for vapour, hold_s in vapours]
    deficit_lowest, deficit_highest = _outermost(points for points, _ in deficits)
    return HumidityNight(
        role=role,
        side=side,
        lowest_pct=lowest,
        highest_pct=highest,
        mean_pct=_mean(humid, window),
        # The dew point rises with the vapour and with nothing else: its extremes are the vapour's.
        dew_lowest_c=_dew(driest, hottest_c),
        dew_highest_c=_dew(dampest, hottest_c),
        deficit_lowest_kpa=deficit_lowest,
        deficit_highest_kpa=deficit_highest,
        deficit_mean_kpa=_mean(deficits, window),
    )


def _vapour(probe: str, series: Mapping[SeriesKey, Sequence[Point]]) -> _Vapour:
    pressures, deficits, hottest_c = [], [], -inf
    temperatures = iter(series.get((probe, Quantity.TEMPERATURE), ()))
    temperature = next(temperatures, None)
    # A probe has few steps of temperature, a night has thousands of readings.
    saturated: dict[float, float] = {}
    for point in series[probe, Quantity.HUMIDITY]:
        elapsed_s, wall_s, humidity_pct = point
        while temperature is not None and temperature.elapsed_s < elapsed_s:
            temperature = next(temperatures, None)
        if temperature is None:
            break
        if temperature.elapsed_s > elapsed_s:
            continue
        value_c = temperature.value
        full_kpa = saturated.get(value_c)
        if full_kpa is None:
            full_kpa = saturated[value_c] = vapour_pressure_kpa(value_c, 100.0)
            hottest_c = max(hottest_c, value_c)
        held_kpa = full_kpa * min(max(humidity_pct, 0.0), 100.0) / 100.0
        pressures.append(Point(elapsed_s, wall_s, held_kpa))
        deficits.append(Point(elapsed_s, wall_s, full_kpa - held_kpa))
    return _Vapour(pressures, deficits, hottest_c)


def _outermost(every: Iterable[Sequence[Point]]) -> tuple[Extreme | None, Extreme | None]:
    pairs = [extremes(points) for points in every]
    return (
        min((low for low, _ in pairs if low is not None), default=None),
        max((high for _, high in pairs if high is not None), default=None, key=lambda each: (each.value, -each.wall_s)),
    )


def _mean(every: Sequence[tuple[Sequence[Point], float]], window: Window) -> float | None:
    known_s = weighted = 0.0
    start_s, end_s = window.start_elapsed_s, window.end_elapsed_s
    for points, hold_s in every:
        found = exposure(points, start_s, end_s, hold_s, -inf, inf)
        if found.mean is not None:
            known_s += found.in_band_s
            weighted += found.mean * found.in_band_s
    return weighted / known_s if known_s else None


def _dew(pressure_kpa: Extreme | None, hottest_c: float) -> Extreme | None:
    if pressure_kpa is None:
        return None
    dew_c = dew_point_at_c(pressure_kpa.value, hottest_c)
    return None if dew_c is None else Extreme(dew_c, pressure_kpa.wall_s)


def _difference(role: Role, window: Window, sides: Mapping[Side, Sequence[ProbeTerms]]) -> SidesNight | None:
    start_s, end_s = window.start_elapsed_s, window.end_elapsed_s
    tagged = [
        [(point.elapsed_s, point.value, side, probe) for point in window.series.get((probe.id, Quantity.HUMIDITY), ())]
        for side, probes in sides.items()
        for probe in probes
    ]
    # Per side and probe: the value, and until when it holds.
    holding: dict[Side, dict[str, tuple[float, float]]] = {Side.MOIST: {}, Side.DRY: {}}
    moist, dry = holding[Side.MOIST], holding[Side.DRY]
    known_s = weighted = reversed_s = 0.0
    at_s = start_s
    for elapsed_s, value, side, probe in [*merge(*tagged, key=lambda each: each[0]), (end_s, 0.0, None, None)]:
        until_s = min(elapsed_s, end_s)
        while at_s < until_s:
            moist_now = [pct for pct, holds_s in moist.values() if holds_s > at_s]
            dry_now = [pct for pct, holds_s in dry.values() if holds_s > at_s]
            if not moist_now or not dry_now:
                break
            ends = [holds_s for some in holding.values() for _, holds_s in some.values() if holds_s > at_s]
            next_s = min(until_s, *ends)
            difference = sum(moist_now) / len(moist_now) - sum(dry_now) / len(dry_now)
            known_s += next_s - at_s
            weighted += difference * (next_s - at_s)
            if difference < 0.0:
                reversed_s += next_s - at_s
            at_s = next_s
        at_s = max(at_s, until_s)
        if side is not None and probe is not None:
            holding[side][probe.id] = (value, elapsed_s + probe.stale_s)
    if not known_s:
        return None
    return SidesNight(role, weighted / known_s, reversed_s / known_s, known_s)
