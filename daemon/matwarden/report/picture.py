"""A night as one picture for a phone: a strip for each tub, the same hours above each other.

Readable at 360 pixels wide, in daylight and for eyes that see colours otherwise: what differs in colour differs in
lightness or in its strokes as well, and every alarm is a word.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from matplotlib.figure import Figure

from matwarden.core.digest import EnclosureNight
from matwarden.core.strips import AlarmSpan, Line, Span, Strip
from matwarden.report.clock_ticks import changes, ticks
from matwarden.report.night import Night
from matwarden.report.picture_looks import (
    Look,
    alarm_word,
    broken,
    change_text,
    day_text,
    look_of,
    range_text,
    runs,
    share_text,
    shown,
    unread,
    unread_spans,
    warm,
)
from matwarden.report.picture_pen import FAINT, INK, PAPER, WIDTH, Pen, png
from matwarden.report.units import local_day_and_clock, temperature_value
from matwarden.terms import Band

__all__ = ["BAND", "HEAT", "draw", "picture"]

BAND = "#dcedf7"
HEAT = "#d55e00"  # as the wall that it warms
_HEAT_ROAD = "#e8e8e8"
_UNREAD_EDGE = "#8a8a8a"
_RULE = "#c4c4c4"
_HATCH = "////"
_GAP = "gap"

_LEFT, _RIGHT = 34.0, WIDTH - 6.0
_MARGIN = 6.0
_PLOT_HIGH, _ROOM_HIGH = 68.0, 44.0
_SMALL, _PLAIN, _LARGE = 10.0, 11.0, 15.0
_LANE = 14.0
_LANES_AT_MOST = 4
_DUE_AT_MOST = 8


class _Scale(NamedTuple):
    """From seconds and degrees Celsius to the sheet."""

    lasts_s: float
    top: float
    high: float
    low_c: float
    high_c: float
    read: bool = False

    def x(self, at_s: float) -> float:
        share = at_s / self.lasts_s if self.lasts_s > 0.0 else 0.0
        return _LEFT + min(max(share, 0.0), 1.0) * (_RIGHT - _LEFT)

    def y(self, value_c: float) -> float:
        return self.top + (self.high_c - value_c) / (self.high_c - self.low_c) * self.high


def picture(night: Night) -> bytes:
    """The night as a PNG file, 1080 pixels wide. The same night gives the same bytes."""
    return png(draw(night))


def draw(night: Night) -> Figure:
    """The night drawn, to be looked at or saved."""
    return _Drawing(night).sheet()


class _Drawing:
    """One picture as it is drawn, from the top down."""

    def __init__(self, night: Night) -> None:
        self._night = night
        self._strips = night.strips
        self._pen = Pen()
        self._y = _MARGIN
        self._ticks = ticks(night.strips, night.zone)
        self._changes = changes(night.strips, night.zone)

    def sheet(self) -> Figure:
        """Draw everything."""
        tubs = shown(self._night)
        left_out = len(self._strips.tubs) - len(tubs)
        self._title(left_out)
        self._legend([strip for strip, _ in tubs])
        for strip, night in tubs:
            self._tub(strip, night)
        if self._strips.room or self._strips.alarms:
            self._room()
        self._due()
        return self._pen.sheet(self._y)

    def _title(self, left_out: int) -> None:
        night, pen, width = self._night, self._pen, WIDTH - 2 * _MARGIN
        self._y += _LARGE
        day = day_text(night.digest.date)
        pen.text(WIDTH - _MARGIN, self._y, day, 12.0, align="right")
        room = width - pen.width(day, 12.0) - 8.0
        pen.text(_MARGIN, self._y, pen.cut(night.house, room, _LARGE, bold=True), _LARGE, bold=True)
        self._y += 8.0
        well = night.first_line.startswith("All well")
        lines = pen.wrapped(night.first_line, width - 2 * _MARGIN, 12.0, bold=True)
        # What is not well is white on black: seen before it is read.
        pen.box(_MARGIN, self._y, width, 16.0 * len(lines) + 4.0, PAPER if well else INK, edge=INK)
        for line in lines:
            self._y += 16.0
            pen.text(2 * _MARGIN, self._y - 1.5, line, 12.0, bold=True, colour=INK if well else PAPER)
        self._y += 4.0
        since, until = (
            local_day_and_clock(wall_s, night.zone) for wall_s in (night.digest.from_wall_s, night.digest.to_wall_s)
        )
        told = [f"{since} to {until} ({night.digest.zone})"]
        if left_out:
            told.append(f"Not shown: {left_out} more tubs. Those with trouble come first.")
        for line in told:
            self._y += 14.0
            pen.text(_MARGIN, self._y, pen.cut(line, width, _SMALL), _SMALL, colour=FAINT)
        self._y += 6.0

    def _legend(self, strips: Sequence[Strip]) -> None:
        """Each kind of mark that is on this sheet, once."""
        looks = list(dict.fromkeys(look_of(line) for strip in strips for line in warm(strip.lines)))
        places = [*(strip.lines for strip in strips), self._strips.room]
        samples: list[tuple[str, Look | str]] = [(look.word, look) for look in looks]
        samples += [("in band", BAND)] if strips else []
        samples += [("heat allowed", HEAT)] if any(strip.heat is not None for strip in strips) else []
        samples += [("not read", _HATCH)] if any(True in unread(lines) for lines in places) else []
        samples += [("gap: not read", _GAP)] if any(broken(lines) for lines in places) else []
        x, pen = _MARGIN, self._pen
        self._y += 12.0
        for word, sample in samples:
            wide = 24.0 + pen.width(word, _SMALL) + 10.0
            if x + wide - 10.0 > WIDTH - _MARGIN:
                x, self._y = _MARGIN, self._y + 15.0
            if isinstance(sample, Look):
                pen.line((x, x + 20.0), (self._y - 3.5,) * 2, sample.colour, sample.width, sample.dash)
            elif sample is _HATCH:
                pen.box(x, self._y - 8.0, 20.0, 9.0, PAPER, edge=_UNREAD_EDGE, hatch=_HATCH)
            elif sample is _GAP:
                pen.line((x, x + 6.0, float("nan"), x + 14.0, x + 20.0), (self._y - 3.5,) * 5, INK, 1.8)
            else:
                pen.box(x, self._y - 8.0, 20.0, 9.0, sample)
            pen.text(x + 24.0, self._y, word, _SMALL)
            x += wide
        self._y += 6.0

    def _tub(self, strip: Strip, night: EnclosureNight | None) -> None:
        inside = night.inside if night is not None else None
        told = "no good reading"
        if inside is not None and inside.lowest is not None and inside.highest is not None:
            told = range_text(inside.lowest.value, inside.highest.value, self._night.unit)
        if night is not None and night.heat is not None and night.heat.allowed_share is not None:
            told += f", heat {share_text(night.heat.allowed_share)}"
        self._heading(strip.name, told)
        self._plot(strip.lines, _PLOT_HIGH, strip.band)
        if strip.heat is not None:
            self._heat(strip.heat)
        self._alarms(strip.alarms)
        self._clock()

    def _room(self) -> None:
        temperatures = [step for line in warm(self._strips.room) for step in line.steps if step is not None]
        told = "no good reading" if self._strips.room else ""
        if temperatures:
            low_c, high_c = min(step.lowest for step in temperatures), max(step.highest for step in temperatures)
            told = range_text(low_c, high_c, self._night.unit)
        self._heading("Room" if self._strips.room else "House", told)
        if self._strips.room:
            self._plot(self._strips.room, _ROOM_HIGH, None)
        self._alarms(self._strips.alarms)
        self._clock()

    def _due(self) -> None:
        """What is due, at the end: it is not of this night."""
        due, pen = self._night.due, self._pen
        if not due:
            return
        self._heading("Due", "")
        lines = [line for each in due[:_DUE_AT_MOST] for line in pen.wrapped(each, WIDTH - 2 * _MARGIN, _PLAIN)]
        if len(due) > _DUE_AT_MOST:
            lines.append(f"and {len(due) - _DUE_AT_MOST} more")
        for line in lines:
            self._y += 14.0
            pen.text(_MARGIN, self._y, line, _PLAIN)
        self._y += 8.0

    def _heading(self, name: str, told: str) -> None:
        pen = self._pen
        self._y += 15.0
        if told:
            pen.text(_RIGHT, self._y, told, _PLAIN, align="right")
        room = WIDTH - 3 * _MARGIN - pen.width(told, _PLAIN)
        pen.text(_MARGIN, self._y, pen.cut(name, room, 12.0, bold=True), 12.0, bold=True)
        self._y += 5.0

    def _plot(self, lines: Sequence[Line], high: float, band: Band | None) -> None:
        pen, scale = self._pen, self._scale(lines, high, band)
        bottom = scale.top + high
        if band is not None:
            pen.box(_LEFT, scale.y(band.high_c), _RIGHT - _LEFT, scale.y(band.low_c) - scale.y(band.high_c), BAND)
        for tick in self._ticks:
            pen.line((scale.x(tick.at_s),) * 2, (scale.top, bottom), _RULE, 0.6)
        for from_s, to_s in unread_spans(lines, self._strips):
            self._unread(scale, from_s, to_s)
        for line in warm(lines):
            self._line(line, scale)
        for change in self._changes:
            pen.line((scale.x(change.at_s),) * 2, (scale.top, bottom), INK, 0.9, (1.0, 2.0))
        pen.box(_LEFT, scale.top, _RIGHT - _LEFT, high, "none", edge=FAINT)
        self._degrees(scale, band)
        self._y = bottom

    def _scale(self, lines: Sequence[Line], high: float, band: Band | None) -> _Scale:
        values = [value for line in warm(lines) for step in line.steps if step is not None for value in step]
        lows = ([band.low_c - 1.0] if band is not None else []) + [value - 0.4 for value in values]
        highs = ([band.high_c + 1.0] if band is not None else []) + [value + 0.4 for value in values]
        low_c, high_c = min(lows, default=0.0), max(highs, default=1.0)
        if high_c - low_c < 2.0:
            # A room that hardly changes is a calm line, not a magnified flicker.
            low_c, high_c = (low_c + high_c) / 2.0 - 1.0, (low_c + high_c) / 2.0 + 1.0
        return _Scale(self._strips.lasts_s, self._y, high, low_c, high_c, bool(values))

    def _line(self, line: Line, scale: _Scale) -> None:
        look, step_s = look_of(line), self._strips.step_s
        xs: list[float] = []
        ys: list[float] = []
        for first, run in runs(line.steps):
            middles_s = [(first + number + 0.5) * step_s for number in range(len(run))]
            at = [scale.x(each) for each in (first * step_s, *middles_s, (first + len(run)) * step_s)]
            lows, highs = ([scale.y(step[side]) for step in (run[0], *run, run[-1])] for side in (0, 1))
            self._pen.area(at, lows, highs, look.colour)
            xs += [*at, float("nan")]
            ys += [*((low + high) / 2.0 for low, high in zip(lows, highs, strict=True)), float("nan")]
        if xs:
            self._pen.line(xs, ys, look.colour, look.width, look.dash)

    def _unread(self, scale: _Scale, from_s: float, to_s: float) -> None:
        pen, left, right = self._pen, scale.x(from_s), scale.x(to_s)
        pen.box(left, scale.top, right - left, scale.high, PAPER, edge=_UNREAD_EDGE, hatch=_HATCH)
        wide = pen.width("not read", _SMALL) + 6.0
        if right - left >= wide + 4.0:
            middle, height = (left + right) / 2.0, scale.top + scale.high / 2.0
            pen.box(middle - wide / 2.0, height - 8.0, wide, 15.0, PAPER)
            pen.text(middle, height + 3.5, "not read", _SMALL, align="center")

    def _degrees(self, scale: _Scale, band: Band | None) -> None:
        """What the height means: the band's edges, or of the room the whole degrees next to the frame."""
        if band is None and not scale.read:
            return
        unit = self._night.unit
        edges = (band.high_c, band.low_c) if band is not None else (scale.high_c - 0.4, scale.low_c + 0.4)
        at = [scale.y(edge) + 3.5 for edge in edges]
        at[1] = max(at[1], at[0] + 12.0)
        for edge, y in zip(edges, at, strict=True):
            self._pen.text(
                _LEFT - 3.0, y, f"{temperature_value(edge, unit):.1f}".removesuffix(".0"), _SMALL, align="right"
            )

    def _heat(self, spans: Sequence[Span]) -> None:
        pen, scale = self._pen, _Scale(self._strips.lasts_s, self._y, 0.0, 0.0, 1.0)
        self._y += 3.0
        pen.box(_LEFT, self._y, _RIGHT - _LEFT, 8.0, _HEAT_ROAD)
        if spans:
            pen.boxes([(scale.x(from_s), scale.x(to_s)) for from_s, to_s in spans], self._y, 8.0, HEAT)
        pen.box(_LEFT, self._y, _RIGHT - _LEFT, 8.0, "none", edge=FAINT)
        pen.text(_LEFT - 3.0, self._y + 7.5, "heat", _SMALL, align="right")
        self._y += 8.0

    def _alarms(self, spans: Sequence[AlarmSpan]) -> None:
        """One lane for each alarm: black while it was on, with its word in it or beside it."""
        pen, scale = self._pen, _Scale(self._strips.lasts_s, self._y, 0.0, 0.0, 1.0)
        lanes: dict[str, list[AlarmSpan]] = {}
        for span in spans:
            lanes.setdefault(span.alarm, []).append(span)
        # What is still on is told first, where there are too many.
        order = sorted(lanes.values(), key=lambda lane: not lane[-1].standing)
        for lane in order[:_LANES_AT_MOST]:
            self._y += 2.0
            ends = [(scale.x(span.from_s), max(scale.x(span.to_s), scale.x(span.from_s) + 2.0)) for span in lane]
            pen.boxes(ends, self._y, _LANE, INK)
            word = alarm_word(lane[0]) + (", still on" if lane[-1].standing else "")
            self._word(word, ends)
            self._y += _LANE
        if len(order) > _LANES_AT_MOST:
            self._y += 12.0
            pen.text(_LEFT, self._y, f"and {len(order) - _LANES_AT_MOST} more alarms", _SMALL, bold=True)
            self._y += 2.0

    def _word(self, word: str, ends: Sequence[tuple[float, float]]) -> None:
        pen, wide, base = self._pen, self._pen.width(word, _SMALL, bold=True), self._y + 10.5
        left, right = max(ends, key=lambda end: end[1] - end[0])
        if right - left >= wide + 6.0:
            pen.text((left + right) / 2.0, base, word, _SMALL, bold=True, colour=PAPER, align="center")
        elif ends[-1][1] + 3.0 + wide <= WIDTH - 2.0:
            pen.text(ends[-1][1] + 3.0, base, word, _SMALL, bold=True)
        else:
            pen.text(ends[0][0] - 3.0, base, word, _SMALL, bold=True, align="right")

    def _clock(self) -> None:
        pen, scale = self._pen, _Scale(self._strips.lasts_s, self._y, 0.0, 0.0, 1.0)
        self._y += 12.0
        changed = [(scale.x(change.at_s), change_text(change)) for change in self._changes[:1]]
        free_until = _MARGIN
        for tick in self._ticks:
            half = pen.width(tick.text, _SMALL) / 2.0
            x = min(max(scale.x(tick.at_s), _MARGIN + half), WIDTH - 2.0 - half)
            if x - half >= free_until:
                pen.text(x, self._y, tick.text, _SMALL, colour=FAINT, align="center")
                free_until = x + half + 4.0
        for x, word in changed:
            self._y += 12.0
            half = pen.width(word, _SMALL) / 2.0
            pen.text(min(max(x, _MARGIN + half), WIDTH - 2.0 - half), self._y, word, _SMALL, align="center")
        self._y += 6.0
