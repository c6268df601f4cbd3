"""What a picture of a night shows, before anything is drawn: which tubs, in which looks and words. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import NamedTuple

from matwarden.core.alarm_table import ALARMS
from matwarden.core.digest import EnclosureNight
from matwarden.core.strips import AlarmSpan, Line, NightStrips, Step, Strip
from matwarden.report.clock_ticks import Change
from matwarden.report.night import Night
from matwarden.report.picture_pen import Dash
from matwarden.report.units import date_text, temperature_value
from matwarden.terms import Quantity, Role, Side, Unit

__all__ = [
    "LOOKS",
    "SHOWN_AT_MOST",
    "Look",
    "alarm_word",
    "broken",
    "change_text",
    "day_text",
    "look_of",
    "range_text",
    "runs",
    "share_text",
    "shown",
    "unread",
    "unread_spans",
    "warm",
]

SHOWN_AT_MOST = 12
"""Strips in one picture: more of them nobody scrolls through with a first coffee."""


class Look(NamedTuple):
    """How one kind of line is drawn: its word in the legend, its colour, width and strokes."""

    word: str
    colour: str
    width: float
    dash: Dash


# Colours of the palette of Okabe and Ito ("Color Universal Design", 2008), made for all kinds of colour vision: black,
# vermillion, blue. The dry side's grey is between them in lightness.
LOOKS = {
    (Role.AIR, Side.DRY): Look("air, dry side", "#707070", 1.8, None),
    (Role.AIR, None): Look("air", "#000000", 2.0, None),
    (Role.WALL, None): Look("wall", "#d55e00", 1.8, (3.2, 1.2)),
    (Role.SUBSTRATE, None): Look("substrate", "#0072b2", 1.8, (1.0, 0.8)),
    (Role.ROOM, None): Look("room", "#000000", 2.0, None),
}
_WORDS = {spec.condition: spec.title for spec in ALARMS}


def alarm_word(span: AlarmSpan) -> str:
    """What the alarm is called wherever a keeper meets it."""
    return _WORDS.get(span.condition, span.condition)


def shown(night: Night) -> list[tuple[Strip, EnclosureNight | None]]:
    """The tubs to be drawn. Of too many those with trouble come first; else each has its place, night after night."""
    nights = {each.id: each for each in night.digest.enclosures}
    tubs = [(strip, nights.get(strip.id)) for strip in night.strips.tubs]
    if len(tubs) > SHOWN_AT_MOST:
        tubs.sort(key=lambda pair: _trouble(*pair), reverse=True)
    return tubs[:SHOWN_AT_MOST]


def _trouble(strip: Strip, night: EnclosureNight | None) -> tuple[int, int, float]:
    """The greater the worse: alarms still on, alarms, time outside of the band or not read."""
    outside_s = 0.0 if night is None else night.inside.below_s + night.inside.above_s + night.inside.missing_s
    return sum(span.standing for span in strip.alarms), len(strip.alarms), outside_s


def look_of(line: Line) -> Look:
    """How the line of this place is drawn."""
    return LOOKS.get((line.role, line.side)) or LOOKS[line.role, None]


def warm(lines: Iterable[Line]) -> list[Line]:
    """The lines of temperatures."""
    return [line for line in lines if line.quantity is Quantity.TEMPERATURE]


def _inside(lines: Sequence[Line]) -> list[Line]:
    """The lines of the inside temperature, as the digest takes it."""
    found: list[Line] = []
    for role in (Role.AIR, Role.SUBSTRATE, Role.WALL, Role.ROOM):
        found = found or [line for line in warm(lines) if line.role is role]
    return found


def unread(lines: Sequence[Line]) -> list[bool]:
    """For each step whether nothing of the inside was read. Where the air is silent, a wall tells nothing of it."""
    return [all(step is None for step in steps) for steps in zip(*(line.steps for line in _inside(lines)), strict=True)]


def broken(lines: Sequence[Line]) -> bool:
    """Whether a line has a gap while the inside was read."""
    inside = unread(lines)
    return any(
        step is None and not nothing for line in warm(lines) for step, nothing in zip(line.steps, inside, strict=True)
    )


def unread_spans(lines: Sequence[Line], strips: NightStrips) -> Iterator[tuple[float, float]]:
    """Where nothing of the inside was read, in seconds."""
    since: int | None = None
    for number, nothing in enumerate((*unread(lines), False)):
        if nothing and since is None:
            since = number
        elif not nothing and since is not None:
            yield since * strips.step_s, number * strips.step_s
            since = None


def runs(steps: Sequence[Step | None]) -> Iterator[tuple[int, list[Step]]]:
    """The unbroken runs of steps, each with the number of its first one."""
    run: list[Step] = []
    for number, step in enumerate((*steps, None)):
        if step is not None:
            run.append(step)
        elif run:
            yield number - len(run), run
            run = []


def range_text(low_c: float, high_c: float, unit: Unit) -> str:
    """From the lowest to the highest, in the keeper's unit."""
    low, high = (f"{temperature_value(value, unit):.1f}" for value in (low_c, high_c))
    return f"{low} °{unit.value}" if low == high else f"{low} to {high} °{unit.value}"


def share_text(share: float) -> str:
    """A share in whole percent that says 0 % and 100 % only when it is so."""
    if 0.0 < share < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < share < 1.0 else f"{share * 100.0:.0f} %"


def day_text(day: str) -> str:
    """The digest's date as "15 Jan 2026"; what is no date as it is."""
    try:
        return date_text(date.fromisoformat(day))
    except ValueError:
        return day


def change_text(change: Change) -> str:
    """What the clocks did: "clocks back 1 h", "clock set forward 10 min"."""
    hours = f"{abs(change.by_s) / 3600.0:.1f}".removesuffix(".0")
    far = f"{hours} h" if abs(change.by_s) >= 1800.0 else f"{abs(change.by_s) / 60.0:.0f} min"
    return f"clock{' set' if change.set else 's'} {'forward' if change.by_s > 0.0 else 'back'} {far}"
