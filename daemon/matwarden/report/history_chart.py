"""A tub's past as a chart of letters: for a terminal of 40 columns or more, with or without Unicode and colour.

Inside stands as blocks from its lowest to its highest of each column, the wall at the mat as light ones behind it, the
room as dots; the band's edges are lines. Under it the heat, the alarms, and what was not read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor
from zoneinfo import ZoneInfo

from matwarden.core.history import Column
from matwarden.core.strips import Step
from matwarden.core.units import temperature_value
from matwarden.report.units import duration_text, local_clock, local_day_and_clock
from matwarden.terms import Band, Unit

__all__ = ["Marks", "chart", "columns_for"]

_GUTTER = 8
_ROWS = 14
_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Marks:
    """What is drawn with. `colours`: of inside, inside out of band, wall, alarm; and the end of a colour."""

    inside: str
    wall: str
    room: str
    edge: str
    heat: str
    alarm: str
    unread: str
    colours: tuple[str, str, str, str, str] = ("", "", "", "", "")

    @classmethod
    def of(cls, unicode: bool, colour: bool) -> Marks:
        """For a terminal that can show block letters, or only ASCII; with colour, or without."""
        # Bold, bold red, yellow, reverse: ECMA-48 (SGR).
        colours = ("\x1b[1m", "\x1b[1;31m", "\x1b[33m", "\x1b[7m", "\x1b[0m") if colour else ("", "", "", "", "")
        if unicode:
            return cls("█", "░", "·", "─", " ░▒▓█", "!", "?", colours)
        return cls("#", ":", ".", "-", " .:+#", "!", "?", colours)


def columns_for(width: int) -> int:
    """How many columns of time fit beside the scale."""
    return max(10, min(width, 200) - _GUTTER - 1)


def chart(
    name: str, band: Band, columns: Sequence[Column], unit: Unit, zone: ZoneInfo, marks: Marks, has_mat: bool
) -> str:
    """All lines, each no wider than its columns and the scale."""
    end_s = columns[-1].wall_s + columns[-1].lasts_s
    title = f"{name}  {local_day_and_clock(columns[0].wall_s, zone)} to {local_day_and_clock(end_s, zone)}"
    each = duration_text(max(columns[len(columns) // 2].lasts_s, 1.0))
    legend = [f"inside {marks.inside}", f"wall {marks.wall}", f"room {marks.room}", f"band {marks.edge}"]
    lines = [title, *_wrapped([*legend, f"({each} a column)"], _GUTTER + len(columns))]
    lines += _field(band, columns, unit, marks)
    if has_mat:
        lines.append(_row("heat", [_heat(column.heat_share, marks) for column in columns]))
    if any(column.alarm for column in columns):
        alarms = [_in(marks.alarm, marks, 3) if column.alarm else " " for column in columns]
        lines.append(_row("alarm", alarms))
    if any(column.inside is None for column in columns):
        unread = [marks.unread if column.inside is None else " " for column in columns]
        lines.append(_row("unread", unread))
    lines.append(_row("", _clocks(columns, zone)))
    return "\n".join(line.rstrip() for line in lines)


def _wrapped(parts: Sequence[str], width: int) -> list[str]:
    lines = [parts[0]]
    for part in parts[1:]:
        if len(lines[-1]) + 2 + len(part) <= width:
            lines[-1] += f"  {part}"
        else:
            lines.append(part)
    return lines


def _field(band: Band, columns: Sequence[Column], unit: Unit, marks: Marks) -> list[str]:
    read = [step for column in columns for step in (column.inside, column.wall, column.room) if step is not None]
    low_c = min([band.low_c, *(step.lowest for step in read)])
    high_c = max([band.high_c, *(step.highest for step in read)])
    # The highest stands in the top row, not on its upper edge.
    low, high = floor(temperature_value(low_c, unit)), floor(temperature_value(high_c, unit)) + 1
    step = max(1, ceil((high - low) / _ROWS)) if high - low > _ROWS else (high - low) / _ROWS
    rows = ceil((high - low) / step)
    lines = []
    for row in range(rows):
        top = high - row * step
        bottom = top - step
        edge = any(bottom <= temperature_value(value, unit) < top for value in (band.low_c, band.high_c))
        label = _label(band, unit, bottom, top, row in (0, rows - 1))
        cells = [_cell(column, bottom, top, unit, band, edge, marks) for column in columns]
        lines.append(_row(label, cells))
    return lines


def _label(band: Band, unit: Unit, bottom: float, top: float, outer: bool) -> str:
    for value_c in (band.low_c, band.high_c):
        value = temperature_value(value_c, unit)
        if bottom <= value < top:
            return f"{value:.1f}"
    return f"{(bottom + top) / 2:.1f}" if outer else ""


def _cell(column: Column, bottom: float, top: float, unit: Unit, band: Band, edge: bool, marks: Marks) -> str:
    def here(step: Step | None) -> bool:
        if step is None:
            return False
        return temperature_value(step.lowest, unit) < top and temperature_value(step.highest, unit) >= bottom

    if here(column.inside):
        assert column.inside is not None
        out = column.inside.lowest < band.low_c or column.inside.highest > band.high_c
        return _in(marks.inside, marks, 1 if out else 0)
    if here(column.wall):
        return _in(marks.wall, marks, 2)
    if here(column.room):
        return marks.room
    return marks.edge if edge else " "


def _heat(share: float | None, marks: Marks) -> str:
    if share is None:
        return marks.unread
    full = len(marks.heat) - 1
    # Some heat is never shown as none.
    return marks.heat[0 if share <= 0.0 else max(1, min(full, round(share * full)))]


def _clocks(columns: Sequence[Column], zone: ZoneInfo) -> list[str]:
    """Local times under every so many columns."""
    long = sum(column.lasts_s for column in columns) > 2 * _DAY_S
    row = [" "] * len(columns)
    wide = 8 if long else 6
    every = max(wide + 2, ceil(len(columns) / 8))
    for k in range(0, len(columns) - wide + 2, every):
        text = local_day_and_clock(columns[k].wall_s, zone).rpartition(" ")[0] if long else ""
        for at, letter in enumerate((text or local_clock(columns[k].wall_s, zone))[: len(columns) - k]):
            row[k + at] = letter
    return row


def _in(letter: str, marks: Marks, which: int) -> str:
    colour = marks.colours[which]
    return f"{colour}{letter}{marks.colours[4]}" if colour else letter


def _row(label: str, cells: Sequence[str]) -> str:
    return f"{label:>{_GUTTER - 2}}  {''.join(cells)}"
