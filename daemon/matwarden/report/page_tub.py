"""One tub on the page of a night: its large numbers, its lines, its alarms in words, and its strip as a table. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from itertools import groupby
from typing import NamedTuple

from matwarden.core.digest import EnclosureNight
from matwarden.core.exposure import Extreme
from matwarden.core.record import AlarmLine
from matwarden.core.strips import Line, NightStrips, Step, Strip
from matwarden.report.digest_text import share_text, tub_lines, tub_troubles
from matwarden.report.night import Night
from matwarden.report.page_strip import Plot, humidity_plot, place_words, temperature_plot
from matwarden.report.units import (
    duration_text,
    local_clock,
    local_day,
    local_day_and_clock,
    temperature_value,
    utc_offset_s,
)
from matwarden.terms import Quantity, Unit

__all__ = ["AlarmEntry", "Figure", "Mood", "Sheet", "SheetRow", "TubView", "alarm_entries", "tub_views"]

_DAY_S = 86_400.0
_HOUR_S = 3600.0
_ROWS_AT_MOST = 30
_HOURS = (1, 2, 3, 6, 12, 24)


class Mood(StrEnum):
    """How a tub did, or the whole house. The page says it in words as well as in colour."""

    WELL = "well"
    OVER = "over"  # there was something, and it is over
    ON = "on"  # an alarm is still on


class Figure(NamedTuple):
    """One large number. `when`: the small print under it, if any."""

    name: str
    value: str
    unit: str
    when: str


class AlarmEntry(NamedTuple):
    """One thing that an alarm did. `at`: local time; `standing`: and it is still on."""

    at: str
    text: str
    standing: bool


class SheetRow(NamedTuple):
    """`cells`: as many as the sheet has heads; None where nothing was read."""

    at: str
    cells: tuple[str | None, ...]


class Sheet(NamedTuple):
    """The strip as a table. `every`: what a row is, in words. `within`: how exactly its hours are cut."""

    every: str
    within: str
    heads: tuple[str, ...]
    rows: tuple[SheetRow, ...]


class TubView(NamedTuple):
    """Everything the page shows of one tub. `band`: its limits in words; `troubles`: empty when all was well."""

    id: str
    name: str
    mood: Mood
    band: str
    troubles: tuple[str, ...]
    figures: tuple[Figure, ...]
    lines: tuple[str, ...]
    alarms: tuple[AlarmEntry, ...]
    plots: tuple[Plot, ...]
    sheet: Sheet | None


def tub_views(night: Night) -> list[TubView]:
    """All tubs in the order of the settings."""
    strips = {strip.id: strip for strip in night.strips.tubs}
    return [_tub_view(tub, strips.get(tub.id), night) for tub in night.digest.enclosures]


def alarm_entries(
    started: Sequence[AlarmLine], returned: Sequence[AlarmLine], standing: Sequence[AlarmLine], night: Night
) -> tuple[AlarmEntry, ...]:
    """What the alarms of one tub, or of the house, did and which of them are still on, in order."""
    on = {line.alarm: line for line in standing}
    last = {line.alarm: line for line in sorted(started, key=lambda line: line.elapsed_s)}
    told = [*started, *returned, *(line for alarm, line in on.items() if alarm not in last)]
    return tuple(
        AlarmEntry(_at(line.wall_s, night), line.text, line.alarm in on and last.get(line.alarm, line) is line)
        for line in sorted(told, key=lambda line: line.elapsed_s)
    )


def _tub_view(tub: EnclosureNight, strip: Strip | None, night: Night) -> TubView:
    digest, unit, zone = night.digest, night.unit, night.zone
    # The first line calls the tub by name; here its name stands above.
    troubles = [words.removeprefix(tub.name).strip() for words in tub_troubles(tub, digest)]
    mood = Mood.ON if tub.standing else Mood.OVER if troubles else Mood.WELL
    plots = () if strip is None else (
        temperature_plot(strip, night.strips, unit, zone),
        humidity_plot(strip, night.strips, zone),
    )  # fmt: skip
    low, high = (temperature_value(edge_c, unit) for edge_c in (tub.band.low_c, tub.band.high_c))
    return TubView(
        id=tub.id,
        name=tub.name,
        mood=mood,
        band=f"{low:.1f} to {high:.1f} °{unit.value}",
        troubles=tuple(words[:1].upper() + words[1:] for words in troubles),
        figures=tuple(_figures(tub, night)),
        lines=tuple(line.strip() for line in tub_lines(tub, unit, zone, digest.lasts_s)[1:]),
        alarms=alarm_entries(tub.started, tub.returned, tub.standing, night),
        plots=tuple(plot for plot in plots if plot is not None),
        sheet=None if strip is None else _sheet(strip, night),
    )


def _figures(tub: EnclosureNight, night: Night) -> list[Figure]:
    inside = tub.inside
    found = [_extreme("Lowest", inside.lowest, night), _extreme("Highest", inside.highest, night)]
    missing = f"{duration_text(inside.missing_s)} not read" if inside.missing_s >= 60.0 else ""
    found.append(Figure("In band", *_share(tub.in_band_share), missing))
    if tub.heat is not None:
        found.append(Figure("Heat on", *_share(tub.heat.allowed_share), ""))
    return found


def _extreme(name: str, extreme: Extreme | None, night: Night) -> Figure:
    if extreme is None:
        return Figure(name, "none", "", "no good reading")
    value = f"{temperature_value(extreme.value, night.unit):.1f}"
    return Figure(name, value, f"°{night.unit.value}", _at(extreme.wall_s, night))


def _share(share: float | None) -> tuple[str, str]:
    text = share_text(share)
    return (text.removesuffix(" %"), "%") if text.endswith(" %") else ("unknown", "")


def _at(wall_s: float, night: Night) -> str:
    """The day too, unless the night is short enough for a time of day to say it all."""
    if night.digest.lasts_s <= 1.1 * _DAY_S and night.digest.from_wall_s - 60.0 <= wall_s:
        return local_clock(wall_s, night.zone)
    return local_day_and_clock(wall_s, night.zone)


def _sheet(strip: Strip, night: Night) -> Sheet | None:
    strips, zone = night.strips, night.zone
    if not strips.walls:
        return None
    lines = (*strip.lines, *(line for line in strips.room if line.quantity is Quantity.TEMPERATURE))
    hours = strips.lasts_s / _HOUR_S
    every_h = next((each for each in _HOURS if hours / each <= _ROWS_AT_MOST), 24)

    def hour(number: int) -> tuple[int, float]:
        wall_s = strips.walls[number]
        offset_s = utc_offset_s(wall_s, zone)
        # With the offset, so that the hour that comes twice in autumn is two rows.
        return int((wall_s + offset_s) // (every_h * _HOUR_S)), offset_s

    heads = [_head(line, night.unit) for line in lines] + ([] if strip.heat is None else ["heat, min"])
    groups = [(*key, list(steps)) for key, steps in groupby(range(len(strips.walls)), hour)]
    wall_starts = [number * every_h * _HOUR_S - offset_s for number, offset_s, _ in groups]
    begins = [
        _begins_s(strips, steps[0], starts_s) for (_, _, steps), starts_s in zip(groups, wall_starts, strict=True)
    ]
    rows, day = [], ""
    for (_, _, steps), starts_s, from_s, to_s in zip(
        groups, wall_starts, begins, [*begins[1:], strips.lasts_s], strict=True
    ):
        today = local_day(starts_s, zone)
        clock = local_clock(starts_s, zone)
        cells = [_cell(line, steps, night.unit) for line in lines]
        if strip.heat is not None:
            heat_s = sum(max(0.0, min(span.to_s, to_s) - max(span.from_s, from_s)) for span in strip.heat)
            cells.append(f"{heat_s / 60.0:.0f}")
        rows.append(SheetRow(clock if today == day else f"{today} {clock}", tuple(cells)))
        day = today
    every = "hour by hour" if every_h == 1 else f"every {every_h} hours"
    return Sheet(every, duration_text(strips.step_s), tuple(heads), tuple(rows))


def _begins_s(strips: NightStrips, first: int, starts_s: float) -> float:
    """When a row begins that has this step as its first: within the step before it, by the clock."""
    at_s = first * strips.step_s
    return max(0.0, at_s - strips.step_s, at_s - (strips.walls[first] - starts_s))


def _head(line: Line, unit: Unit) -> str:
    if line.quantity is Quantity.TEMPERATURE:
        return f"{place_words(line)}, °{unit.value}"
    return f"humidity{'' if line.side is None else f' {line.side.value}'}, %"


def _cell(line: Line, steps: Sequence[int], unit: Unit) -> str | None:
    read: list[Step] = [step for number in steps if (step := line.steps[number]) is not None]
    if not read:
        return None
    low, high = min(step.lowest for step in read), max(step.highest for step in read)
    if line.quantity is Quantity.TEMPERATURE:
        texts = [f"{temperature_value(value, unit):.1f}" for value in (low, high)]
    else:
        texts = [f"{value:.0f}" for value in (low, high)]
    return texts[0] if texts[0] == texts[1] else " to ".join(texts)
