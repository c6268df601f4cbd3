"""Readings and heat made into sums, hour by hour, and sums put together. Pure; whole milliseconds and thousandths.

Times here are milliseconds from the start of a *piece*: a stretch of time in which the wall clock ran straight and no
midnight fell. A value holds as in `core.exposure`: until the next one, at most as long as its probe allows; also from
before the piece into it. An extreme is of what was read inside.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Sequence
from itertools import pairwise, repeat
from operator import mul, sub
from typing import NamedTuple

from matwarden.core.exposure import exposure, outermost
from matwarden.core.inside import inside_of
from matwarden.core.record import HeatChange, Point
from matwarden.terms import Band

__all__ = ["HOUR_MS", "NOT_READ", "SeriesTally", "TubTally", "heat_tally", "hours_within", "series_tally", "tub_tally"]

HOUR_MS = 3_600_000
# As the time of an extreme: nothing was read.
NOT_READ = -1


class SeriesTally(NamedTuple):
    """A series over some time. Thousandths of a degree or percent, milliseconds; times of extremes by the wall clock.

    Attributes:
        weighted: every value times the milliseconds it held.
    """

    lowest: int
    lowest_ms: int
    highest: int
    highest_ms: int
    weighted: float
    known_ms: int

    def plus(self, other: SeriesTally) -> SeriesTally:
        """Both times together."""
        return SeriesTally(*_outer(self, other), self.weighted + other.weighted, self.known_ms + other.known_ms)


class TubTally(NamedTuple):
    """The inside of a tub and its heat over some time, as `core.sums.TubSum`; times in milliseconds.

    Attributes:
        weighted: mean times the milliseconds it is of. allowed_ms: 0 without a mat. span_ms: how long it was; a cold
            side and a hot one count at the same time, so that the parts may be more.
    """

    lowest: int
    lowest_ms: int
    highest: int
    highest_ms: int
    weighted: float
    below_ms: int
    in_band_ms: int
    above_ms: int
    missing_ms: int
    below_kh: float
    above_kh: float
    allowed_ms: int = 0
    operations: int = 0
    span_ms: int = 0

    def plus(self, other: TubTally) -> TubTally:
        """Both times together."""
        return TubTally(
            *_outer(self, other),
            self.weighted + other.weighted,
            self.below_ms + other.below_ms,
            self.in_band_ms + other.in_band_ms,
            self.above_ms + other.above_ms,
            self.missing_ms + other.missing_ms,
            self.below_kh + other.below_kh,
            self.above_kh + other.above_kh,
            self.allowed_ms + other.allowed_ms,
            self.operations + other.operations,
            self.span_ms + other.span_ms,
        )

    @property
    def known_ms(self) -> int:
        return self.span_ms - self.missing_ms


def hours_within(day_begins_ms: int, day_lasts_ms: int, begins_ms: int, ends_ms: int) -> list[tuple[int, int, int]]:
    """The hours of a day that a piece of it touches: each hour's number, and from when until when in the piece.

    Args:
        begins_ms, ends_ms: the piece by the wall clock.
    """
    last = -(-day_lasts_ms // HOUR_MS) - 1
    found = []
    at = begins_ms
    while at < ends_ms:
        hour = min((at - day_begins_ms) // HOUR_MS, last)
        until = ends_ms if hour == last else min(ends_ms, day_begins_ms + (hour + 1) * HOUR_MS)
        found.append((hour, at - begins_ms, until - begins_ms))
        at = until
    return found


def series_tally(
    times_ms: array[int], milli: array[int], hold_ms: int, from_ms: int, to_ms: int, piece_wall_ms: int
) -> SeriesTally | None:
    """One series between two moments of a piece; None when no value held then."""
    first, end = bisect_left(times_ms, from_ms), bisect_left(times_ms, to_ms)
    weighted = known_ms = 0
    if first:
        until = min(times_ms[first] if first < len(times_ms) else to_ms, to_ms, times_ms[first - 1] + hold_ms)
        if until > from_ms:
            known_ms = until - from_ms
            weighted = milli[first - 1] * known_ms
    if first == end:
        return SeriesTally(0, NOT_READ, 0, NOT_READ, weighted, known_ms) if known_ms else None
    here, values = times_ms[first:end], milli[first:end]
    following = times_ms[first + 1 : end]
    following.append(to_ms)
    held = list(map(min, map(sub, following, here), repeat(hold_ms)))
    lowest, highest = min(values), max(values)
    return SeriesTally(
        lowest,
        piece_wall_ms + here[values.index(lowest)],
        highest,
        piece_wall_ms + here[values.index(highest)],
        weighted + sum(map(mul, values, held)),
        known_ms + sum(held),
    )


def tub_tally(
    series: Sequence[tuple[Sequence[Point], float]],
    band: Band,
    hours: Sequence[tuple[int, int, int]],
) -> dict[int, TubTally]:
    """The inside of a tub in each hour of a piece.

    Args:
        series: (points on the piece's own time, seconds for which one holds) of each probe inside.
    """
    cold_points = outermost(series, True) if series else ()
    hot_points = outermost(series, False) if len(series) > 1 else cold_points
    hold_s = max((each for _, each in series), default=1.0)
    made = {}
    for hour, from_ms, to_ms in hours:
        from_s, to_s = from_ms / 1000, to_ms / 1000
        inside = exposure(cold_points, from_s, to_s, hold_s, band.low_c, band.high_c)
        if len(series) > 1:
            hot = exposure(hot_points, from_s, to_s, hold_s, band.low_c, band.high_c)
            inside = inside_of(inside, hot, to_s - from_s)
        lowest, lowest_ms = _extreme(cold_points, from_s, to_s, True)
        highest, highest_ms = _extreme(hot_points, from_s, to_s, False)
        known_s = to_s - from_s - inside.missing_s
        made[hour] = TubTally(
            lowest,
            lowest_ms,
            highest,
            highest_ms,
            0.0 if inside.mean is None else inside.mean * known_s * 1e6,
            round(inside.below_s * 1000),
            round(inside.in_band_s * 1000),
            round(inside.above_s * 1000),
            round(inside.missing_s * 1000),
            inside.below_kh,
            inside.above_kh,
            span_ms=to_ms - from_ms,
        )
    return made


def heat_tally(
    changes: Sequence[HeatChange], hours: Sequence[tuple[int, int, int]], ran_until_ms: int
) -> dict[int, tuple[int, int]]:
    """Milliseconds for which heat was allowed, and switchings on, in each hour of a piece.

    Args:
        changes: of one mat, on the piece's own time, beginning with the state in force. ran_until_ms: from here on
            the program was down, and the mat cut.
    """
    ends = [*(change.elapsed_s for change in changes[1:]), ran_until_ms / 1000]
    on = [
        (round(change.elapsed_s * 1000), round(min(end_s * 1000, ran_until_ms)))
        for change, end_s in zip(changes, ends, strict=False)
        if change.allowed
    ]
    switched = [
        (round(change.elapsed_s * 1000), change.operations - before.operations) for before, change in pairwise(changes)
    ]
    return {
        hour: (
            sum(max(0, min(end, to_ms) - max(start, from_ms)) for start, end in on),
            sum(max(0, count) for at_ms, count in switched if from_ms <= at_ms < to_ms),
        )
        for hour, from_ms, to_ms in hours
    }


def _extreme(points: Sequence[Point], from_s: float, to_s: float, coldest: bool) -> tuple[int, int]:
    first = bisect_left(points, from_s, key=_elapsed_s)
    end = bisect_left(points, to_s, key=_elapsed_s)
    if first == end:
        return 0, NOT_READ
    found = (min if coldest else max)(points[first:end], key=_value)
    return round(found.value * 1000), round(found.wall_s * 1000)


def _elapsed_s(point: Point) -> float:
    return point.elapsed_s


def _value(point: Point) -> float:
    return point.value


def _outer(one: SeriesTally | TubTally, other: SeriesTally | TubTally) -> tuple[int, int, int, int]:
    """Lowest and highest of both, with their times; of equal ones the earlier."""
    lows = [(each[0], each[1]) for each in (one, other) if each[1] != NOT_READ]
    highs = [(-each[2], each[3]) for each in (one, other) if each[3] != NOT_READ]
    if not lows or not highs:
        return 0, NOT_READ, 0, NOT_READ
    (lowest, lowest_ms), (highest, highest_ms) = min(lows), min(highs)
    return lowest, lowest_ms, -highest, highest_ms
