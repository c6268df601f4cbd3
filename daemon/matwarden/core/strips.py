"""What a picture of a night is drawn from: every line in equal steps of time, and what happened beside it. Pure values.

The step's time is the window's own, which does not jump; `walls` says what the clocks showed at each step.
"""

from __future__ import annotations

from typing import NamedTuple

from matwarden.terms import Band, Quantity, Role, Side

__all__ = ["AlarmSpan", "Line", "NightStrips", "Span", "Step", "Strip"]


class Step(NamedTuple):
    """Lowest and highest value read in one step: degrees Celsius, or percent relative humidity."""

    lowest: float
    highest: float


class Line(NamedTuple):
    """One place over the night. `steps`: one for each step of the night; None where nothing was read."""

    role: Role
    side: Side | None
    quantity: Quantity
    steps: tuple[Step | None, ...]


class Span(NamedTuple):
    """From when until when, in seconds from the window's start."""

    from_s: float
    to_s: float


class AlarmSpan(NamedTuple):
    """An alarm that was on. `condition`: the first part of its id. `standing`: still on at the window's end."""

    condition: str
    alarm: str
    from_s: float
    to_s: float
    standing: bool


class Strip(NamedTuple):
    """One tub.

    Attributes:
        lines: several probes of one place and quantity are one line.
        heat: when heat was allowed, in order; None without a mat.
        alarms: in the order in which they began.
    """

    id: str
    name: str
    band: Band
    lines: tuple[Line, ...]
    heat: tuple[Span, ...] | None
    alarms: tuple[AlarmSpan, ...]


class NightStrips(NamedTuple):
    """One night of the whole house.

    Attributes:
        lasts_s: the window's true length. step_s: of each step; the last one may reach past the end.
        walls: UTC seconds at the start of each step, as believed then.
        room: the lines of the room probes. alarms: those of no tub.
    """

    lasts_s: float
    step_s: float
    walls: tuple[float, ...]
    room: tuple[Line, ...]
    alarms: tuple[AlarmSpan, ...]
    tubs: tuple[Strip, ...]
