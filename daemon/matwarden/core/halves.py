"""A window's nights against its days, by the keeper's clocks. Pure.

A reading belongs, for as long as it holds, to the half in which it was taken. Halves follow the clocks: in the night in
which they change, the night is an hour shorter or longer (half an hour on Lord Howe Island).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import time, timedelta
from itertools import chain
from typing import NamedTuple
from zoneinfo import ZoneInfo

from matwarden.core.dates import instant, local_date
from matwarden.core.exposure import Extreme
from matwarden.core.record import Point

__all__ = ["NIGHT_FROM", "NIGHT_UNTIL", "Half", "half_at", "halves"]

# Common practice, no source: a house cools from the evening on and is coldest before it is heated in the morning.
NIGHT_FROM = time(20, 0)
NIGHT_UNTIL = time(8, 0)
_DAY = timedelta(days=1)


class Half(NamedTuple):
    """All nights of a window, or all its days.

    Attributes:
        lowest: in degrees Celsius; None when nothing was read.
        mean: weighted by the time for which readings held; None when nothing was read.
        known_s: that time.
    """

    lowest: Extreme | None
    mean: float | None
    known_s: float


class _Sum:
    __slots__ = ("known_s", "lowest", "lowest_wall_s", "weighted")

    def __init__(self) -> None:
        self.lowest: float | None = None
        self.lowest_wall_s = self.known_s = self.weighted = 0.0

    def half(self) -> Half:
        lowest = None if self.lowest is None else Extreme(self.lowest, self.lowest_wall_s)
        return Half(lowest, self.weighted / self.known_s if self.known_s else None, self.known_s)


def halves(points: Sequence[Point], end_s: float, hold_s: float, zone: ZoneInfo) -> tuple[Half, Half]:
    """Night and day of a series.

    Args:
        points: in order of elapsed time. end_s: elapsed time of the window's end.
        hold_s: how long a value holds at the most.
    """
    night, day = _Sum(), _Sum()
    until = zip(points, chain((point.elapsed_s for point in points[1:]), (end_s,)), strict=False)
    from_wall_s = to_wall_s = 0.0
    into = night
    for (elapsed_s, wall_s, value), next_s in until:
        if not from_wall_s <= wall_s < to_wall_s:
            is_night, from_wall_s, to_wall_s = half_at(wall_s, zone)
            into = night if is_night else day
        lasts_s = min(next_s - elapsed_s, hold_s)
        if lasts_s <= 0.0:
            # At the window's very end: it would be all that is known of a half that only begins there.
            continue
        if into.lowest is None or value < into.lowest:
            into.lowest, into.lowest_wall_s = value, wall_s
        into.known_s += lasts_s
        into.weighted += value * lasts_s
    return night.half(), day.half()


def half_at(wall_s: float, zone: ZoneInfo) -> tuple[bool, float, float]:
    """Whether it is night then, and from when until when that half lasts, in UTC seconds."""
    today = local_date(wall_s, zone)
    morning_s, evening_s = instant(today, NIGHT_UNTIL, zone), instant(today, NIGHT_FROM, zone)
    if wall_s < morning_s:
        return True, instant(today - _DAY, NIGHT_FROM, zone), morning_s
    if wall_s < evening_s:
        return False, morning_s, evening_s
    return True, evening_s, instant(today + _DAY, NIGHT_UNTIL, zone)
