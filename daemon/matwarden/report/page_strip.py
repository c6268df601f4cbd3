"""The strip of one tub as numbers for an inline SVG: what to draw where, and nothing of how it looks. Pure.

Across, one unit is one step of the night, and the page stretches them all to whatever room there is; down, one unit is
one pixel. Text is placed in percent across, so that it is never stretched with the lines.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from typing import NamedTuple
from zoneinfo import ZoneInfo

from matwarden.core.strips import Line, NightStrips, Span, Step, Strip
from matwarden.report.clock_ticks import changes, ticks
from matwarden.report.units import temperature_value
from matwarden.terms import Quantity, Role, Unit

__all__ = ["Bar", "Curve", "Level", "Plot", "Tick", "humidity_plot", "place_words", "temperature_plot"]

_TEMPERATURE_HIGH = 132
_HUMIDITY_HIGH = 48
# A label of five digits needs about 33 pixels, and a small phone has some 290 of them.
_TICKS_AT_MOST = 8
_TICKS_APART_PCT = 11.5
_LEVELS_AT_MOST = 5
# Pixels: as wide as the line itself.
_THIN = 1.5
_SPREAD = {Quantity.TEMPERATURE: 2.0, Quantity.HUMIDITY: 10.0}


class Tick(NamedTuple):
    """A time on the axis. `at_pct`: across."""

    at_pct: float
    text: str


class Level(NamedTuple):
    """A value on the other axis. `y`: pixels from the top."""

    y: float
    text: str


class Bar(NamedTuple):
    """A stretch of time, in units across."""

    x: float
    wide: float
    words: str


class Curve(NamedTuple):
    """One line. `kind`: its role. `area`: SVG path around lowest and highest; `mid`: the path between them."""

    kind: str
    words: str
    area: str
    mid: str


class Plot(NamedTuple):
    """Everything one SVG shows.

    Attributes:
        wide: units across. high: pixels of the part with the curves.
        band: top and height of the band; None: none.
        edges: the band's limits. levels: other values worth a number.
        turns: units across at which the clocks changed. unread: where nothing was read. heat: None without a mat.
        spoken: one sentence for whoever does not see it.
    """

    wide: float
    high: int
    unit: str
    band: tuple[float, float] | None
    edges: tuple[Level, ...]
    levels: tuple[Level, ...]
    ticks: tuple[Tick, ...]
    turns: tuple[float, ...]
    curves: tuple[Curve, ...]
    unread: tuple[Bar, ...]
    heat: tuple[Bar, ...] | None
    alarms: tuple[Bar, ...]
    spoken: str


class _Scale(NamedTuple):
    low: float
    high: float
    pixels: int

    def y(self, value: float) -> float:
        return round((self.high - value) / (self.high - self.low) * self.pixels, 1)


def temperature_plot(strip: Strip, strips: NightStrips, unit: Unit, zone: ZoneInfo) -> Plot | None:
    """Band, every place of the tub, the room, heat and alarms; None when the night has no length."""
    if not strips.walls:
        return None
    lines = [line for line in (*strip.lines, *strips.room) if line.quantity is Quantity.TEMPERATURE]
    edges = [temperature_value(edge_c, unit) for edge_c in (strip.band.high_c, strip.band.low_c)]
    shown = [[_shown(step, unit) for step in line.steps] for line in lines]
    scale = _scale(chain(edges, *([*step] for steps in shown for step in steps if step)), Quantity.TEMPERATURE)
    own = [line.steps for line in lines if line.role is not Role.ROOM]
    heat = None if strip.heat is None else tuple(_bar(span, strips, "heat allowed") for span in strip.heat)
    return Plot(
        wide=_across(strips, strips.lasts_s),
        high=scale.pixels,
        unit=f"°{unit.value}",
        band=(scale.y(edges[0]), round(scale.y(edges[1]) - scale.y(edges[0]), 1)),
        edges=tuple(Level(scale.y(edge), f"{edge:.1f}") for edge in edges),
        levels=_levels(scale),
        ticks=_axis(strips, zone),
        turns=_turns(strips, zone),
        curves=tuple(_curve(line, steps, scale) for line, steps in zip(lines, shown, strict=True)),
        unread=tuple(_unread(own, strips)),
        heat=heat,
        alarms=tuple(_bar(Span(each.from_s, each.to_s), strips, each.condition) for each in strip.alarms),
        spoken=f"Temperature of {_listed(lines)} against the band of {edges[1]:.1f} to {edges[0]:.1f} °{unit.value}",
    )


def humidity_plot(strip: Strip, strips: NightStrips, zone: ZoneInfo) -> Plot | None:
    """Humidity of each place of the tub; None where none is measured."""
    lines = [line for line in strip.lines if line.quantity is Quantity.HUMIDITY]
    read = [step for line in lines for step in line.steps if step is not None]
    if not strips.walls or not read:
        return None
    scale = _scale(chain(*read), Quantity.HUMIDITY)
    return Plot(
        wide=_across(strips, strips.lasts_s),
        high=scale.pixels,
        unit="%",
        band=None,
        edges=(),
        levels=_levels(scale, 3),
        ticks=_axis(strips, zone),
        turns=_turns(strips, zone),
        curves=tuple(_curve(line, line.steps, scale) for line in lines),
        unread=tuple(_unread([line.steps for line in lines], strips)),
        heat=None,
        alarms=(),
        spoken=f"Relative humidity of {_listed(lines)}",
    )


def place_words(line: Line) -> str:
    """A place in words: "air moist", "room"."""
    return line.role.value + ("" if line.side is None else f" {line.side.value}")


def _axis(strips: NightStrips, zone: ZoneInfo) -> tuple[Tick, ...]:
    """Times of day, none so near to the one before it that they would run into each other."""
    found: list[Tick] = []
    for tick in ticks(strips, zone, _TICKS_AT_MOST):
        at_pct = round(tick.at_s / strips.lasts_s * 100.0, 1)
        if not found or at_pct - found[-1].at_pct >= _TICKS_APART_PCT:
            found.append(Tick(at_pct, tick.text))
    return tuple(found)


def _turns(strips: NightStrips, zone: ZoneInfo) -> tuple[float, ...]:
    return tuple(_across(strips, change.at_s) for change in changes(strips, zone))


def _listed(lines: Sequence[Line]) -> str:
    return ", ".join(place_words(line) for line in lines)


def _shown(step: Step | None, unit: Unit) -> Step | None:
    return None if step is None else Step(*(temperature_value(value, unit) for value in step))


def _scale(values: Iterable[float], quantity: Quantity) -> _Scale:
    every = list(values)
    low, high = min(every), max(every)
    # Noise of a tenth of a degree must not look like a storm.
    spread = max(high - low, _SPREAD[quantity])
    middle = (low + high) / 2.0
    pixels = _TEMPERATURE_HIGH if quantity is Quantity.TEMPERATURE else _HUMIDITY_HIGH
    return _Scale(middle - 0.56 * spread, middle + 0.56 * spread, pixels)


def _levels(scale: _Scale, at_most: int = _LEVELS_AT_MOST) -> tuple[Level, ...]:
    span = scale.high - scale.low
    every = next(
        each for power in range(9) for each in (10**power, 2 * 10**power, 5 * 10**power) if span / each <= at_most
    )
    values = range(math.ceil(scale.low / every), math.floor(scale.high / every) + 1)
    # A number at the very edge would be cut off.
    found = (Level(scale.y(value * every), str(value * every)) for value in values)
    return tuple(level for level in found if 6.0 <= level.y <= scale.pixels - 4.0)


def _bar(span: Span, strips: NightStrips, words: str) -> Bar:
    # What lasted for moments only must still be seen.
    lasts_s = max(span.to_s - span.from_s, strips.lasts_s / 500.0)
    return Bar(_across(strips, min(span.from_s, strips.lasts_s - lasts_s)), _across(strips, lasts_s), words)


def _across(strips: NightStrips, at_s: float) -> float:
    return round(at_s / strips.step_s, 2)


def _unread(every: Sequence[Sequence[Step | None]], strips: NightStrips) -> Iterator[Bar]:
    """Where no place of the tub has anything."""
    dark = [all(step is None for step in here) for here in zip(*every, strict=True)] if every else []
    from_n: int | None = None
    for number, is_dark in enumerate([*dark, False]):
        if is_dark and from_n is None:
            from_n = number
        elif not is_dark and from_n is not None:
            span = Span(from_n * strips.step_s, min(number * strips.step_s, strips.lasts_s))
            yield _bar(span, strips, "nothing read")
            from_n = None


def _curve(line: Line, steps: Sequence[Step | None], scale: _Scale) -> Curve:
    area, mid = [], []
    for run in _runs(steps):
        first = run[0][0]
        # A single step, or the ends of a longer run, are drawn over their whole width.
        xs = [first, *(first + n + 0.5 for n in range(len(run))), first + len(run)]
        here = [run[0][1], *(step for _, step in run), run[-1][1]]
        tops = [(x, scale.y(step.highest)) for x, step in zip(xs, here, strict=True)]
        feet = [(x, scale.y(step.lowest)) for x, step in zip(xs, here, strict=True)]
        middle = [(x, scale.y((step.lowest + step.highest) / 2.0)) for x, step in zip(xs, here, strict=True)]
        # Where lowest and highest are the same to the eye, the line between them says it all.
        if any(foot - top > _THIN for (_, top), (_, foot) in zip(tops, feet, strict=True)):
            area.append(_path([*tops, *reversed(feet)]) + "z")
        mid.append(_path(middle))
    side = "" if line.side is None else f" {line.side.value}"
    return Curve(line.role.value + side, place_words(line), "".join(area), "".join(mid))


def _runs(steps: Sequence[Step | None]) -> Iterator[list[tuple[int, Step]]]:
    run: list[tuple[int, Step]] = []
    for number, step in enumerate(steps):
        if step is not None:
            run.append((number, step))
        elif run:
            yield run
            run = []
    if run:
        yield run


def _path(points: Sequence[tuple[float, float]]) -> str:
    """Absolute to the first, relative from there in whole tenths: half as long, and rounding does not add up."""
    tenths = [(round(x * 10), round(y * 10)) for x, y in points]
    (x, y), *rest = tenths
    parts = [f"M{x / 10:g} {y / 10:g}l"]
    for to_x, to_y in rest:
        parts.append(f"{(to_x - x) / 10:g} {(to_y - y) / 10:g} ")
        x, y = to_x, to_y
    return "".join(parts).rstrip()
