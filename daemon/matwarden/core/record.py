"""What was recorded over a stretch of time, as the digest and the statistics read it. Pure values.

Two times on every entry. `elapsed_s` counts from the window's start and never jumps: durations are computed with it.
`wall_s` is UTC seconds since 1970 as the machine believed it then: a person is shown that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from matwarden.terms import AlarmState, Quantity

__all__ = ["AlarmLine", "HeatChange", "Point", "RefusalCount", "SeriesKey", "Window"]

# (probe id, what it measures)
SeriesKey = tuple[str, Quantity]


class Point(NamedTuple):
    """One recorded reading; `value` in degrees Celsius or in percent relative humidity."""

    elapsed_s: float
    wall_s: float
    value: float


class HeatChange(NamedTuple):
    """From here on heat was allowed, or cut, for this reason.

    Attributes:
        reason: a `Reason` as text; "not-running" while the program was down, "unknown" before the first verdict.
        operations: switchings in the life of this mat's relay, up to and including this change.
    """

    elapsed_s: float
    wall_s: float
    enclosure: str
    allowed: bool
    reason: str
    operations: int


class AlarmLine(NamedTuple):
    """One recorded transition of an alarm. `active_s`: how long its condition had been true by then."""

    elapsed_s: float
    wall_s: float
    alarm: str
    enclosure: str | None
    previous: AlarmState
    state: AlarmState
    text: str
    active_s: float


class RefusalCount(NamedTuple):
    """Captures of one probe that gave no good reading, and the last reason why."""

    probe: str
    missing_n: int
    doubtful_n: int
    last_why: str


class Window(NamedTuple):
    """Everything recorded between two marks.

    Attributes:
        start_elapsed_s: 0.0 always; end_elapsed_s: the window's true length, whatever the wall clock did.
        start_wall_s, end_wall_s: wall time at both ends, as believed then.
        series: per probe and quantity its points in the order they were recorded.
        heat: per enclosure first the state in force at the window's start (at elapsed 0), then each change.
        alarms: every transition, in order.
        refusals: one per probe that had any.
        restarts: runs of the program that began inside the window.
        clock_steps: each step of the wall clock in seconds, positive forward, in order.
    """

    start_elapsed_s: float
    end_elapsed_s: float
    start_wall_s: float
    end_wall_s: float
    series: Mapping[SeriesKey, Sequence[Point]]
    heat: Sequence[HeatChange]
    alarms: Sequence[AlarmLine]
    refusals: Sequence[RefusalCount]
    restarts: int
    clock_steps: Sequence[float]
