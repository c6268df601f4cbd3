"""A range of one tub's past in as many columns as a terminal has: from readings, or from the sums of hours. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from matwarden.core.record import SeriesKey
from matwarden.core.strips import Line, NightStrips, Span, Step
from matwarden.core.sums import SeriesSum, TubSum
from matwarden.terms import Enclosure, ProbeTerms, Quantity, Role

__all__ = ["Column", "columns_of_hours", "columns_of_strips"]


class Column(NamedTuple):
    """One column.

    Attributes:
        wall_s: UTC seconds at its beginning, as believed then. lasts_s: its own length.
        inside, wall, room: lowest and highest temperature in Celsius; None: not read.
        heat_share: of the column in which heat was allowed; None: no mat, or not known.
        alarm: whether an alarm of this tub was on; None: not known.
    """

    wall_s: float
    lasts_s: float
    inside: Step | None
    wall: Step | None
    room: Step | None
    heat_share: float | None
    alarm: bool | None


def columns_of_strips(strips: NightStrips, enclosure: str) -> list[Column]:
    """One column for each step of the strips.

    Raises:
        KeyError: there is no such tub in them.
    """
    strip = next((each for each in strips.tubs if each.id == enclosure), None)
    if strip is None:
        raise KeyError(enclosure)
    inside_role = _inside_role({line.role for line in strip.lines})
    inside = _joined([line for line in strip.lines if line.role is inside_role], len(strips.walls))
    wall = _joined([line for line in strip.lines if line.role is Role.WALL], len(strips.walls))
    room = _joined(strips.room, len(strips.walls))
    made = []
    for k, wall_s in enumerate(strips.walls):
        from_s = k * strips.step_s
        to_s = min(from_s + strips.step_s, strips.lasts_s)
        lasts_s = max(to_s - from_s, 1e-9)
        heat = None if strip.heat is None else _overlap_s(strip.heat, from_s, to_s) / lasts_s
        alarm = any(each.from_s < to_s and each.to_s > from_s for each in strip.alarms)
        made.append(Column(wall_s, to_s - from_s, inside[k], wall[k], room[k], heat, alarm))
    return made


def columns_of_hours(
    series: Mapping[SeriesKey, Sequence[SeriesSum]],
    tub: Sequence[TubSum],
    enclosure: Enclosure,
    room_probes: Sequence[ProbeTerms],
    since_wall_s: float,
    until_wall_s: float,
    count: int,
) -> list[Column]:
    """Columns of equal length over a range, each from the hours that begin in it."""
    width_s = (until_wall_s - since_wall_s) / count
    inside_role = _inside_role({probe.role for probe in enclosure.probes})
    inside = [probe.id for probe in enclosure.probes if probe.role is inside_role]
    wall = [probe.id for probe in enclosure.probes if probe.role is Role.WALL]
    room = [probe.id for probe in room_probes]

    def spread(probes: Sequence[str]) -> list[Step | None]:
        found: list[Step | None] = [None] * count
        for probe in probes:
            for each in series.get((probe, Quantity.TEMPERATURE), ()):
                k = int((each.begins_wall_s - since_wall_s) // width_s)
                if 0 <= k < count and each.lowest is not None and each.highest is not None:
                    found[k] = _wider(found[k], Step(each.lowest.value, each.highest.value))
        return found

    heat_s: list[float | None] = [None] * count
    spans_s = [0.0] * count
    for each in tub:
        k = int((each.begins_wall_s - since_wall_s) // width_s)
        if 0 <= k < count and each.allowed_s is not None:
            heat_s[k] = (heat_s[k] or 0.0) + each.allowed_s
            spans_s[k] += each.lasts_s
    shares = [None if s is None or not n else min(s / n, 1.0) for s, n in zip(heat_s, spans_s, strict=True)]
    rows = zip(spread(inside), spread(wall), spread(room), shares, strict=True)
    return [Column(since_wall_s + k * width_s, width_s, *row, None) for k, row in enumerate(rows)]


def _inside_role(roles: set[Role]) -> Role:
    return next((role for role in (Role.AIR, Role.SUBSTRATE, Role.WALL) if role in roles), Role.AIR)


def _joined(lines: Sequence[Line], count: int) -> list[Step | None]:
    found: list[Step | None] = [None] * count
    for line in lines:
        if line.quantity is Quantity.TEMPERATURE:
            for k, step in enumerate(line.steps):
                if step is not None:
                    found[k] = _wider(found[k], step)
    return found


def _wider(one: Step | None, other: Step) -> Step:
    return other if one is None else Step(min(one.lowest, other.lowest), max(one.highest, other.highest))


def _overlap_s(spans: Sequence[Span], from_s: float, to_s: float) -> float:
    return sum(max(0.0, min(to_s, each.to_s) - max(from_s, each.from_s)) for each in spans)
