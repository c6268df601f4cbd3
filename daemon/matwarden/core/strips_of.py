"""A recorded window cut into equal steps of time, for the picture and the page of a night. Pure.

The law: a gap stays a gap. A value reaches into a step without one of its own only as long as it holds, as in
`core.exposure`; a step in which nothing was read and nothing held is None.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from matwarden.core.record import AlarmLine, HeatChange, Point, Window
from matwarden.core.strips import AlarmSpan, Line, NightStrips, Span, Step, Strip
from matwarden.terms import AlarmState, Enclosure, ProbeTerms, Quantity, Role, Side

__all__ = ["ON", "STEPS", "strips_of"]

STEPS = 240
"""Six minutes each in a night of a whole day: as fine as a phone can show."""

_SHORTEST_STEP_S = 1.0
# A trip that waits for a person's reset keeps heat cut: it is still on.
ON = frozenset(
    {
        AlarmState.UNACKNOWLEDGED,
        AlarmState.ACKNOWLEDGED,
        AlarmState.LATCHED_UNACKNOWLEDGED,
        AlarmState.LATCHED_ACKNOWLEDGED,
    }
)


class _Grid(NamedTuple):
    starts_s: tuple[float, ...]
    step_s: float


def strips_of(
    window: Window,
    enclosures: Sequence[Enclosure],
    room_probes: Sequence[ProbeTerms],
    standing: Sequence[AlarmLine] = (),
    steps: int = STEPS,
) -> NightStrips:
    """Cut a window into steps.

    Args:
        standing: as for `night_digest`: an alarm that did not change in the window is known from there only.
        steps: how many; fewer where they would be shorter than a second.

    Raises:
        ValueError: `steps` is not above zero.
    """
    if steps < 1:
        raise ValueError(f"a night cannot be cut into {steps} steps")
    start_s, lasts_s = window.start_elapsed_s, window.end_elapsed_s - window.start_elapsed_s
    step_s = max(lasts_s / steps, _SHORTEST_STEP_S)
    # The tolerance: a quotient that rounding put a hair above a whole number makes no further step.
    count = max(0, min(steps, int(lasts_s / step_s + 1.0 - 1e-9)))
    grid = _Grid(tuple(start_s + number * step_s for number in range(count)), step_s)
    spans = _alarm_spans(window, standing)
    known = {enclosure.id for enclosure in enclosures}
    return NightStrips(
        lasts_s=lasts_s,
        step_s=step_s,
        walls=_walls(window, grid.starts_s),
        room=_lines(window, room_probes, grid),
        alarms=tuple(span for enclosure, span in spans if enclosure not in known),
        tubs=tuple(
            Strip(
                id=enclosure.id,
                name=enclosure.name,
                band=enclosure.band,
                lines=_lines(window, enclosure.probes, grid),
                heat=None if enclosure.mat is None else _heat(window, enclosure.id),
                alarms=tuple(span for of, span in spans if of == enclosure.id),
            )
            for enclosure in enclosures
        ),
    )


def _lines(window: Window, probes: Sequence[ProbeTerms], grid: _Grid) -> tuple[Line, ...]:
    places: dict[tuple[Role, Side | None, Quantity], list[tuple[Step | None, ...]]] = {}
    for quantity in Quantity:
        for probe in probes:
            points = window.series.get((probe.id, quantity), ())
            # A probe without a humidity channel is no humidity place; a temperature place may be empty.
            if points or quantity is Quantity.TEMPERATURE:
                steps = _steps(points, probe.stale_s, grid)
                places.setdefault((probe.role, probe.side, quantity), []).append(steps)
    return tuple(Line(*place, _together(every)) for place, every in places.items())


def _steps(points: Sequence[Point], hold_s: float, grid: _Grid) -> tuple[Step | None, ...]:
    """One series in steps. A step without a reading shows the one before, if that holds over half of it."""
    # Two plain lists and slices of them: a full shelf has millions of points a night.
    times, values = [], []
    for elapsed_s, _, value in points:
        times.append(elapsed_s)
        values.append(value)
    found: list[Step | None] = []
    first = 0
    for number, start_s in enumerate(grid.starts_s, 1):
        last_one = number == len(grid.starts_s)
        after = len(times) if last_one else bisect_left(times, grid.starts_s[number], first)
        if after > first:
            inside = values[first:after]
            found.append(Step(min(inside), max(inside)))
        elif after and times[after - 1] + hold_s >= start_s + grid.step_s / 2.0:
            found.append(Step(values[after - 1], values[after - 1]))
        else:
            found.append(None)
        first = after
    return tuple(found)


def _together(every: Sequence[tuple[Step | None, ...]]) -> tuple[Step | None, ...]:
    if len(every) == 1:
        return every[0]
    merged: list[Step | None] = []
    for here in zip(*every, strict=True):
        there = [step for step in here if step is not None]
        lowest = min((step.lowest for step in there), default=None)
        highest = max((step.highest for step in there), default=None)
        merged.append(None if lowest is None or highest is None else Step(lowest, highest))
    return tuple(merged)


def _heat(window: Window, enclosure: str) -> tuple[Span, ...]:
    spans: list[Span] = []
    since_s: float | None = None
    for change in window.heat:
        if change.enclosure != enclosure:
            continue
        at_s = change.elapsed_s - window.start_elapsed_s
        if change.allowed and since_s is None:
            since_s = at_s
        elif not change.allowed and since_s is not None:
            spans.append(Span(since_s, at_s))
            since_s = None
    if since_s is not None:
        spans.append(Span(since_s, window.end_elapsed_s - window.start_elapsed_s))
    return tuple(spans)


def _alarm_spans(window: Window, standing: Sequence[AlarmLine]) -> list[tuple[str | None, AlarmSpan]]:
    """Each time an alarm was on, with its enclosure, in the order in which they began."""
    end_s = window.end_elapsed_s - window.start_elapsed_s
    began: dict[str, tuple[float, str | None]] = {}
    seen: set[str] = set()
    spans: list[tuple[str | None, AlarmSpan]] = []

    def over(alarm: str, to_s: float, still_on: bool) -> None:
        from_s, enclosure = began.pop(alarm)
        spans.append((enclosure, AlarmSpan(alarm.partition("/")[0], alarm, from_s, to_s, still_on)))

    for line in window.alarms:
        at_s = line.elapsed_s - window.start_elapsed_s
        if line.alarm not in seen and line.previous in ON:
            began[line.alarm] = (0.0, line.enclosure)
        seen.add(line.alarm)
        if line.state in ON:
            began.setdefault(line.alarm, (at_s, line.enclosure))
        elif line.alarm in began:
            over(line.alarm, at_s, still_on=False)
    for line in standing:
        if line.alarm not in seen and line.state in ON:
            began[line.alarm] = (max(0.0, line.elapsed_s - window.start_elapsed_s), line.enclosure)
    for alarm in list(began):
        over(alarm, end_s, still_on=True)
    return sorted(spans, key=lambda pair: pair[1].from_s)


def _walls(window: Window, starts_s: Sequence[float]) -> tuple[float, ...]:
    """What the clocks showed at the start of each step: as told beside the newest thing recorded by then."""
    start_s, offset_s = window.start_elapsed_s, window.start_wall_s - window.start_elapsed_s
    lasts_s = window.end_elapsed_s - start_s
    straight = abs(window.end_wall_s - window.start_wall_s - lasts_s) < _SHORTEST_STEP_S
    if straight and not window.clock_steps:
        return tuple(offset_s + at_s for at_s in starts_s)
    kinds: tuple[Sequence[HeatChange | AlarmLine | Point], ...] = (window.heat, window.alarms, *window.series.values())
    newest = [(start_s, offset_s)] * len(starts_s)
    for told in kinds:
        times = [each.elapsed_s for each in told]
        for number, at_s in enumerate(starts_s):
            before = bisect_right(times, at_s)
            if before and times[before - 1] >= newest[number][0]:
                newest[number] = (times[before - 1], told[before - 1].wall_s - times[before - 1])
    return tuple(at_s + offset for at_s, (_, offset) in zip(starts_s, newest, strict=True))
