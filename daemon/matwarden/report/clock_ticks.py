"""Where a picture of a night says what the clock showed: ticks at round local times, and where the clocks changed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from matwarden.core.strips import NightStrips
from matwarden.report.units import local_clock, local_day_and_clock

__all__ = ["Change", "Tick", "changes", "ticks"]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_HOUR_S = 3600.0
_DAY_S = 86400.0
# Round spans of time, from one tick to the next.
_EVERY_S = (
    *(60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0),
    *(hours * _HOUR_S for hours in (1, 2, 3, 4, 6, 12)),
    *(days * _DAY_S for days in (1, 2, 7, 14, 28, 91, 364)),
)
# A smaller jump of the wall clock moves no tick that anyone could see.
_SET_BY_S = 60.0


class Tick(NamedTuple):
    """`at_s`: seconds from the window's start. `text`: the local clock, or the local day where ticks are days apart."""

    at_s: float
    text: str


class Change(NamedTuple):
    """The clocks changed here: by daylight saving (`set` False), or because the machine's clock was set."""

    at_s: float
    by_s: float
    set: bool


def ticks(strips: NightStrips, zone: ZoneInfo, at_most: int = 8) -> tuple[Tick, ...]:
    """Ticks at round local times, at most so many, in order.

    A time of day that the clocks showed twice has two ticks, one that they skipped has none.
    """
    for every_s in _EVERY_S:
        if strips.lasts_s / every_s <= at_most:
            found = _ticks(strips, zone, every_s)
            if len(found) <= at_most:
                return found
    return ()


def changes(strips: NightStrips, zone: ZoneInfo) -> tuple[Change, ...]:
    """Where the local clock jumped, in order."""
    found = []
    for number, (wall_s, next_s) in enumerate(zip(strips.walls, strips.walls[1:], strict=False)):
        set_by_s = next_s - wall_s - strips.step_s
        if abs(set_by_s) >= _SET_BY_S:
            found.append(Change((number + 1) * strips.step_s, set_by_s, set=True))
            continue
        before_s, after_s = _offset_s(wall_s, zone), _offset_s(next_s, zone)
        if before_s != after_s:
            at_s = number * strips.step_s + _changed_after_s(wall_s, next_s, zone)
            found.append(Change(at_s, after_s - before_s, set=False))
    return tuple(found)


def _ticks(strips: NightStrips, zone: ZoneInfo, every_s: float) -> tuple[Tick, ...]:
    found: list[Tick] = []
    for number, wall_s in enumerate(strips.walls):
        start_s = number * strips.step_s
        # A clock that was set moves between two steps, so each step is looked at by itself.
        span_s = min(strips.step_s, strips.lasts_s - start_s)
        for tick_wall_s in _round_times(wall_s, wall_s + span_s, zone, every_s):
            local = local_day_and_clock(tick_wall_s, zone)
            text = local.rpartition(" ")[0] if every_s >= _DAY_S else local_clock(tick_wall_s, zone)
            found.append(Tick(start_s + tick_wall_s - wall_s, text))
    return tuple(found)


def _round_times(from_s: float, to_s: float, zone: ZoneInfo, every_s: float) -> list[float]:
    """The instants from `from_s` until before `to_s` at which the local clock shows a multiple of `every_s`."""
    found = set()
    # With the offset of either end: between them the clocks may change.
    for offset_s in {_offset_s(from_s, zone), _offset_s(to_s, zone)}:
        local_s = -(-(from_s + offset_s) // every_s) * every_s
        while local_s - offset_s < to_s:
            if _offset_s(local_s - offset_s, zone) == offset_s:
                found.add(local_s - offset_s)
            local_s += every_s
    return sorted(found)


def _changed_after_s(from_s: float, to_s: float, zone: ZoneInfo) -> float:
    """Seconds after `from_s` at which the zone's offset changes, to the second."""
    before_s, after_s, old = from_s, to_s, _offset_s(from_s, zone)
    while after_s - before_s > 0.5:
        middle_s = (before_s + after_s) / 2.0
        if _offset_s(middle_s, zone) == old:
            before_s = middle_s
        else:
            after_s = middle_s
    return float(round(after_s - from_s))


def _offset_s(wall_s: float, zone: ZoneInfo) -> float:
    offset = (_EPOCH + timedelta(seconds=wall_s)).astimezone(zone).utcoffset()
    return 0.0 if offset is None else offset.total_seconds()
