"""How cold the coming night will be, as an interval; whether such intervals held, and may be told. Pure.

A night lasts from 20:00 to 08:00 by the keeper's clocks (core/halves.py). What is expected of one is the level now plus
what the nights before did, each from its own level at this time of day: the lowest they came to less that level. (A
level is the lowest of the last whole hour.) Of the last 30 such changes the interval leaves out the lowest and the
highest 5 %, so that it should hold nine nights in ten (split conformal prediction; Vovk, Gammerman and Shafer,
"Algorithmic learning in a random world", from memory). A night that it does not hold makes the next ones wider, each
that it holds a little narrower, so that it holds nine in ten in the long run whatever the weather does (adaptive
conformal inference: Gibbs and Candès 2021, from memory).

It is judged by the nights that came. Beside it stands what a keeper has without it: the same share of the lowest
temperatures of the same nights before. It is told only while it held in four nights of five at the least, and was a
fifth narrower than that and a fifth better by the interval score, which adds to the width what a miss costs (Gneiting
and Raftery 2007, equation 43, from memory).

A tub with a mat is as warm each night as its thermostat keeps it, until the room gets colder than the mat can hold. How
cold that is its commissioning has found; without one nothing is expected of it.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from datetime import date, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from matwarden.core.dates import instant, local_date
from matwarden.core.halves import NIGHT_FROM, NIGHT_UNTIL

__all__ = [
    "NIGHTS_N",
    "ROOM",
    "Holds",
    "Interval",
    "Place",
    "Record",
    "Scored",
    "Tonight",
    "came",
    "expected",
    "expected_with_heat",
    "night_of",
    "record_of",
]

# The room's id among those of the tubs, none of which has such marks.
ROOM = "(room)"

# How many nights before are looked at; with fewer than the least there is nothing to say.
NIGHTS_N = 30
_LEAST_NIGHTS = 10
_MISSED_SHARE = 0.1
# How far a miss moves the share that is left out, and how far it may go.
_STEP = 0.05
_SHARES = (0.01, 0.3)
# Ours: two weeks are judged before anything is said, and no more than four, so that a new season counts.
_SCORED_LEAST, _SCORED_MOST = 14, 28
_HELD_LEAST = 0.8
# Better by chance is not better: by this part at the most of what is usual.
_BETTER = 0.8
# Beyond the outermost night seen the interval goes on by this much for each night that is missing there, in K.
_BEYOND_K = 0.1
_HOUR_S = 3600.0
# Of a night so much must have been read; a level is no older than this.
_KNOWN_SHARE = 0.8
_LEVEL_AGE_S = 2 * _HOUR_S
# A record may end some seconds before the hour that its digest is made at.
_SLACK_S = 120.0
_DAY = timedelta(days=1)


class Interval(NamedTuple):
    """The lowest temperature of a night, in degrees Celsius, rounded outwards to a tenth.

    Attributes:
        usual_low_c, usual_high_c: the same share of the nights before, without any knowledge of this one.
    """

    low_c: float
    high_c: float
    usual_low_c: float
    usual_high_c: float


class Holds(NamedTuple):
    """What a commissioned mat can hold: `inside_c` down to a room of `low_c` to `high_c`, in degrees Celsius."""

    inside_c: float
    low_c: float
    high_c: float


class Scored(NamedTuple):
    """An interval and what came. `night`: the local date in whose evening it began, `YYYY-MM-DD`."""

    night: str
    interval: Interval
    came_c: float

    @property
    def held(self) -> bool:
        """Whether what came lay within."""
        return self.interval.low_c <= self.came_c <= self.interval.high_c


class Record(NamedTuple):
    """How intervals of one place did. `held` of the last `nights`; `earned`: it may be told."""

    held: int
    nights: int
    earned: bool
    missed_share: float


class Place(NamedTuple):
    """What is expected of one place. `band_low_c`: a tub's band's low edge; None for the room."""

    id: str
    name: str
    band_low_c: float | None
    interval: Interval
    record: Record


class Tonight(NamedTuple):
    """The coming night. `scored`: the nights that were scored today, each with its place's id."""

    night: str
    from_wall_s: float
    until_wall_s: float
    places: tuple[Place, ...]
    scored: tuple[tuple[str, Scored], ...]


def night_of(day: date, zone: ZoneInfo) -> tuple[float, float]:
    """From when until when the night lasts that begins in the evening of `day`, in UTC seconds."""
    return instant(day, NIGHT_FROM, zone), instant(day + _DAY, NIGHT_UNTIL, zone)


def came(hours: Mapping[float, float], from_s: float, until_s: float) -> float | None:
    """The lowest of a night in degrees Celsius; None when too little of it was read.

    Args:
        hours: the lowest of each hour that was read, by its beginning in UTC seconds.
    """
    begins = sorted(hours)
    read = [hours[each] for each in begins[bisect_left(begins, from_s - 1.0) : bisect_left(begins, until_s - 1.0)]]
    if len(read) * _HOUR_S < _KNOWN_SHARE * (until_s - from_s):
        return None
    return min(read)


def expected(
    hours: Mapping[float, float], made_wall_s: float, zone: ZoneInfo, missed_share: float = _MISSED_SHARE
) -> Interval | None:
    """What is to be expected of the night of this date; None where too little is known.

    Args:
        hours: as in `came`, of the last `NIGHTS_N` days and today. made_wall_s: now, in UTC seconds.
        missed_share: the share of nights to be left out, from `record_of`.
    """
    level_c = _level(hours, made_wall_s)
    if level_c is None:
        return None
    changes, lowest = _nights(hours, made_wall_s, zone)
    if len(changes) < _LEAST_NIGHTS:
        return None
    low_k, high_k = _middle(changes, missed_share)
    usual_low_c, usual_high_c = _middle(lowest, _MISSED_SHARE)
    return Interval(_down(level_c + low_k), _up(level_c + high_k), _down(usual_low_c), _up(usual_high_c))


def expected_with_heat(
    hours: Mapping[float, float],
    made_wall_s: float,
    zone: ZoneInfo,
    room: Interval,
    holds: Holds,
    missed_share: float = _MISSED_SHARE,
) -> Interval | None:
    """The same of a commissioned tub with a mat: as the nights before, or colder, where the room takes it out of hand.

    In a room by x K colder than the coldest one that the mat holds, the inside comes to x K under the band in the end.
    A night is seldom long enough for all of it, so that this is the cold side of the truth.
    """
    _, lowest = _nights(hours, made_wall_s, zone)
    if len(lowest) < _LEAST_NIGHTS:
        return None
    # A night that the room took out of hand says nothing of one in which it does not.
    held = [each for each in lowest if each >= holds.inside_c]
    low_c, high_c = _middle(held if len(held) >= _LEAST_NIGHTS else lowest, missed_share)
    usual_low_c, usual_high_c = _middle(lowest, _MISSED_SHARE)
    low_c = min(low_c, holds.inside_c + room.low_c - holds.high_c)
    high_c = min(high_c, holds.inside_c + room.high_c - holds.low_c)
    return Interval(_down(low_c), _up(high_c), _down(usual_low_c), _up(usual_high_c))


def _nights(hours: Mapping[float, float], made_wall_s: float, zone: ZoneInfo) -> tuple[list[float], list[float]]:
    """Of the nights before: their lowest less the level at this time of day, and their lowest."""
    today, at = local_date(made_wall_s, zone), _time_of(made_wall_s, zone)
    changes, lowest = [], []
    for back in range(1, NIGHTS_N + 1):
        day = today - back * _DAY
        from_s, until_s = night_of(day, zone)
        before_c = _level(hours, instant(day, at, zone))
        lowest_c = came(hours, from_s, until_s) if until_s <= made_wall_s + _HOUR_S / 2 else None
        if before_c is not None and lowest_c is not None:
            changes.append(lowest_c - before_c)
            lowest.append(lowest_c)
    return changes, lowest


def record_of(scored: Sequence[Scored], with_heat: bool = False) -> Record:
    """How the intervals of one place did, oldest first, and how much the next one is to leave out.

    Args:
        with_heat: a thermostat keeps each night like the others: no better than what is usual is good enough.
    """
    share = _MISSED_SHARE
    for each in scored:
        share += _STEP * (_MISSED_SHARE - (0.0 if each.held else 1.0))
        share = min(max(share, _SHARES[0]), _SHARES[1])
    last = scored[-_SCORED_MOST:]
    held = sum(each.held for each in last)
    earned = len(last) >= _SCORED_LEAST and held >= _HELD_LEAST * len(last)
    if earned and not with_heat:
        own = [(each.interval.low_c, each.interval.high_c, each.came_c) for each in last]
        usual = [(each.interval.usual_low_c, each.interval.usual_high_c, each.came_c) for each in last]
        narrower = sum(high - low for low, high, _ in own) < _BETTER * sum(high - low for low, high, _ in usual)
        earned = narrower and sum(map(_costs, own)) < _BETTER * sum(map(_costs, usual))
    return Record(held, len(last), earned, share)


def _costs(each: tuple[float, float, float]) -> float:
    """The interval score: width, and for a miss 2 / share of how far it was off."""
    low, high, value = each
    return high - low + 2.0 / _MISSED_SHARE * (max(low - value, 0.0) + max(value - high, 0.0))


def _middle(values: Sequence[float], missed_share: float) -> tuple[float, float]:
    """Between which values all but this share lie, half of it left out at each end."""
    ordered = sorted(values)
    rank = (len(ordered) + 1) * missed_share / 2.0
    return _at_rank(ordered, rank), -_at_rank([-value for value in reversed(ordered)], rank)


def _at_rank(ordered: Sequence[float], rank: float) -> float:
    """The value of a rank, 1 the lowest, between two of them by a straight line."""
    if rank < 1.0:
        return ordered[0] - (1.0 - rank) * (ordered[1] - ordered[0] + _BEYOND_K)
    whole = min(int(rank), len(ordered) - 1)
    return ordered[whole - 1] + (rank - whole) * (ordered[whole] - ordered[whole - 1])


def _level(hours: Mapping[float, float], at_s: float) -> float | None:
    """The lowest of the last hour that was over by then."""
    begins = sorted(hours)
    last = bisect_right(begins, at_s - _HOUR_S + _SLACK_S) - 1
    return hours[begins[last]] if last >= 0 and begins[last] > at_s - _LEVEL_AGE_S else None


def _time_of(wall_s: float, zone: ZoneInfo) -> time:
    """The time of day by the keeper's clocks, to the minute."""
    midnight_s = instant(local_date(wall_s, zone), time(0, 0), zone)
    minutes = min(int((wall_s - midnight_s) // 60.0), 24 * 60 - 1)
    return time(minutes // 60, minutes % 60)


def _down(value: float) -> float:
    return math.floor(value * 10.0 + 1e-6) / 10.0


def _up(value: float) -> float:
    return math.ceil(value * 10.0 - 1e-6) / 10.0
