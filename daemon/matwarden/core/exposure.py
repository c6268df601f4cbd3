"""What the animals were exposed to: statistics of one recorded series, in a single pass. Pure.

The law: a value holds until the next point, but never longer than `hold_s`; what lies beyond is missing time. Missing
time is counted as missing: it has no value, is neither in the band nor outside, and ends a spell. Durations are of the
window's own time, which does not jump; wall times are only shown.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from heapq import merge
from itertools import chain
from typing import NamedTuple

from matwarden.core.record import Point

__all__ = ["Exposure", "Extreme", "Spell", "exposure", "extremes", "outermost"]

_HOUR_S = 3600.0


class Extreme(NamedTuple):
    """A lowest or highest value, and when it was first read."""

    value: float
    wall_s: float


class Spell(NamedTuple):
    """An unbroken time outside the band."""

    start_wall_s: float
    lasts_s: float


class Exposure(NamedTuple):
    """One series against one band.

    Attributes:
        mean: weighted by time; None when everything is missing.
        below_s, in_band_s, above_s, missing_s: they add up to the window. The band's edges belong to the band.
        longest_below, longest_above: the first of the longest ones; None when there was none.
        below_kh, above_kh: kelvin-hours under the band's lower edge and over its upper one.
    """

    lowest: Extreme | None
    highest: Extreme | None
    mean: float | None
    below_s: float
    in_band_s: float
    above_s: float
    missing_s: float
    longest_below: Spell | None
    longest_above: Spell | None
    below_kh: float
    above_kh: float


def exposure(points: Sequence[Point], start_s: float, end_s: float, hold_s: float, low: float, high: float) -> Exposure:
    """Measure `points` (in order of elapsed time) between `start_s` and `end_s` of elapsed time.

    A point before `start_s` counts from there as long as it holds.

    Raises:
        ValueError: the window ends before it starts, or `hold_s` is not above zero.
    """
    if end_s < start_s or not hold_s > 0.0:
        raise ValueError(f"no window from {start_s} s to {end_s} s with values that hold {hold_s} s")
    inner = _clip(points, start_s, end_s, hold_s)
    below_s = above_s = known_s = weighted = below_ks = above_ks = run_s = run_wall_s = 0.0
    longest: dict[int, Spell] = {}
    side = 0  # -1 in a run below the band, 1 in a run above it
    before_s, before_wall_s, value = start_s, 0.0, None
    for point_s, wall_s, following in chain(inner, ((end_s, 0.0, 0.0),)):
        if value is not None:
            dt_s = point_s - before_s
            gap = dt_s > hold_s
            if gap:
                dt_s = hold_s
            if before_s < start_s:
                dt_s -= start_s - before_s
            known_s += dt_s
            weighted += value * dt_s
            now = -1 if value < low else 1 if value > high else 0
            if now != side:
                _note(longest, side, run_wall_s, run_s)
                side, run_s, run_wall_s = now, 0.0, before_wall_s + max(start_s - before_s, 0.0)
            if now:
                run_s += dt_s
                if now < 0:
                    below_s += dt_s
                    below_ks += (low - value) * dt_s
                else:
                    above_s += dt_s
                    above_ks += (value - high) * dt_s
            if gap:
                _note(longest, side, run_wall_s, run_s)
                side = 0
        before_s, before_wall_s, value = point_s, wall_s, following
    _note(longest, side, run_wall_s, run_s)
    lowest, highest = extremes(inner)
    return Exposure(
        lowest=lowest,
        highest=highest,
        mean=weighted / known_s if known_s else None,
        below_s=below_s,
        in_band_s=max(known_s - below_s - above_s, 0.0),
        above_s=above_s,
        missing_s=max(end_s - start_s - known_s, 0.0),
        longest_below=longest.get(-1),
        longest_above=longest.get(1),
        below_kh=below_ks / _HOUR_S,
        above_kh=above_ks / _HOUR_S,
    )


def extremes(points: Sequence[Point]) -> tuple[Extreme | None, Extreme | None]:
    """Lowest and highest value of a series with the time each was first read; None, None for an empty one."""
    if not points:
        return None, None
    values = [value for _, _, value in points]
    lowest, highest = min(values), max(values)
    return (
        Extreme(lowest, points[values.index(lowest)].wall_s),
        Extreme(highest, points[values.index(highest)].wall_s),
    )


def outermost(series: Sequence[tuple[Sequence[Point], float]], coldest: bool) -> Sequence[Point]:
    """One series out of several: at each point the coldest (or hottest) value that holds.

    Args:
        series: (points, seconds for which a point of this probe holds) of each probe.
    """
    if len(series) == 1:
        return series[0][0]
    pick = min if coldest else max
    holding: dict[int, tuple[float, float]] = {}
    result: list[Point] = []
    tagged = [[(point, index) for point in points] for index, (points, _) in enumerate(series)]
    for point, index in merge(*tagged, key=lambda pair: pair[0].elapsed_s):
        holding[index] = (point.value, point.elapsed_s + series[index][1])
        value = pick(value for value, until_s in holding.values() if until_s >= point.elapsed_s)
        result.append(Point(point.elapsed_s, point.wall_s, value))
    return result


def _clip(points: Sequence[Point], start_s: float, end_s: float, hold_s: float) -> Sequence[Point]:
    """The points inside the window, and the one before it if that holds into it."""
    if not points or (points[0].elapsed_s >= start_s and points[-1].elapsed_s < end_s):
        return points
    first = bisect_left(points, start_s, key=lambda point: point.elapsed_s)
    last = bisect_left(points, end_s, key=lambda point: point.elapsed_s)
    inner = list(points[first:last])
    if first and (not inner or inner[0].elapsed_s > start_s):
        early = points[first - 1]
        if early.elapsed_s + hold_s > start_s:
            inner.insert(0, early)
    return inner


def _note(longest: dict[int, Spell], side: int, start_wall_s: float, lasts_s: float) -> None:
    if side and (side not in longest or lasts_s > longest[side].lasts_s):
        longest[side] = Spell(start_wall_s, lasts_s)
