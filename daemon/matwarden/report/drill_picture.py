"""A drill as one picture for a phone: how the tub truly was around the fault, what the guard did, when it rang."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from matplotlib.figure import Figure

from matwarden.core.drill_outcome import Look, Outlook
from matwarden.core.units import duration_text, temperature_text, temperature_value
from matwarden.drill import Drilled
from matwarden.report.picture_looks import LOOKS
from matwarden.report.picture_pen import FAINT, INK, PAPER, WIDTH, Dash, Pen, png
from matwarden.terms import Enclosure, Role, Unit

__all__ = ["draw_drill", "drill_png"]

BAND, HEAT = "#dcedf7", "#d55e00"  # as in the picture of a night
_ROAD, _RULE = "#e8e8e8", "#c4c4c4"
_LEFT, _RIGHT, _MARGIN = 40.0, WIDTH - 6.0, 6.0
_HIGH, _LANE = 190.0, 9.0
_SMALL, _PLAIN, _LARGE = 10.0, 11.0, 15.0
# So much is shown of the time before the fault.
_BEFORE_S = 2 * 3600.0
_POINTS_N = 700
_EVERY_H = (1, 2, 3, 4, 6, 12, 24, 48)
_WALL, _AIR, _ROOM = LOOKS[Role.WALL, None], LOOKS[Role.AIR, None], LOOKS[Role.ROOM, None]
_ROOM_DASH: Dash = (1.0, 1.6)


def drill_png(drilled: Drilled, enclosure: Enclosure, unit: Unit) -> bytes:
    """The picture as a PNG file, 1080 pixels wide."""
    return png(draw_drill(drilled, enclosure, unit))


def draw_drill(drilled: Drilled, enclosure: Enclosure, unit: Unit) -> Figure:
    """The picture, to be looked at or saved."""
    return _Drawing(drilled, enclosure, unit).sheet()


class _Drawing:
    """One picture as it is drawn, from the top down. Times are seconds after the fault."""

    def __init__(self, drilled: Drilled, enclosure: Enclosure, unit: Unit) -> None:
        self._drilled, self._tub, self._unit = drilled, enclosure, unit
        self._pen = Pen()
        self._y = _MARGIN
        self._from_s, self._to_s = -min(_BEFORE_S, drilled.struck_s), drilled.ends_s - drilled.struck_s
        self._looks = [
            look._replace(t_s=look.t_s - drilled.struck_s)
            for look in drilled.looks
            if look.t_s >= drilled.struck_s + self._from_s
        ]
        values = [value for look in self._looks for value in (look.wall_c, look.inside_c, look.room_c)]
        edges = [enclosure.band.low_c, enclosure.band.high_c]
        if enclosure.mat is not None:
            edges.append(enclosure.mat.cut_out_c)
        self._low_c, self._high_c = min(*values, *edges) - 0.6, max(*values, *edges) + 0.9

    def sheet(self) -> Figure:
        """Draw everything."""
        self._title()
        self._legend()
        self._plot()
        if self._tub.mat is not None:
            self._lane("mat", list(_powered(self._looks)), HEAT)
        rings = [push.t_s - self._drilled.struck_s for push in self._drilled.pushes]
        # As wide as two pixels: a moment has no width.
        wide_s = 2.0 / (_RIGHT - _LEFT) * (self._to_s - self._from_s)
        self._lane("phone", [(at_s, min(at_s + wide_s, self._to_s)) for at_s in rings if at_s >= self._from_s], INK)
        self._hours()
        self._words()
        return self._pen.sheet(self._y)

    def _x(self, at_s: float) -> float:
        return _LEFT + (at_s - self._from_s) / (self._to_s - self._from_s) * (_RIGHT - _LEFT)

    def _title(self) -> None:
        pen, wide = self._pen, WIDTH - 2 * _MARGIN
        self._y += _LARGE
        name = pen.cut(f"{self._tub.name}: {self._drilled.case.name}", wide, _LARGE, bold=True)
        pen.text(_MARGIN, self._y, name, _LARGE, bold=True)
        self._y += 8.0
        outlook = self._drilled.outcome.outlook
        told = self._drilled.told
        rings = "nobody is told" if told is None else f"told after {duration_text(told.t_s - self._drilled.struck_s)}"
        bad = outlook is Outlook.HOT or told is None and outlook is not Outlook.WELL
        pen.box(_MARGIN, self._y, wide, 20.0, INK if bad else PAPER, edge=INK)
        self._y += 14.5
        pen.text(2 * _MARGIN, self._y, f"{outlook.value}; {rings}", 12.0, bold=True, colour=PAPER if bad else INK)
        self._y += 19.5
        text = f"Simulated: nothing was read or switched. In °{self._unit.value}, hours after the fault."
        pen.text(_MARGIN, self._y, text, _SMALL, colour=FAINT)
        self._y += 4.0

    def _legend(self) -> None:
        pen, x = self._pen, _MARGIN
        self._y += 13.0
        for word, colour, width, dash in (
            ("wall, true", _WALL.colour, _WALL.width, _WALL.dash),
            ("inside, true", _AIR.colour, _AIR.width, _AIR.dash),
            ("room", FAINT, 1.4, _ROOM_DASH),
        ):
            pen.line((x, x + 20.0), (self._y - 3.5,) * 2, colour, width, dash)
            pen.text(x + 24.0, self._y, word, _SMALL)
            x += 24.0 + pen.width(word, _SMALL) + 10.0
        pen.box(x, self._y - 8.0, 20.0, 9.0, BAND)
        pen.text(x + 24.0, self._y, "in band", _SMALL)
        self._y += 8.0

    def _plot(self) -> None:
        pen, top = self._pen, self._y
        bottom = top + _HIGH

        def y(value_c: float) -> float:
            return top + (self._high_c - value_c) / (self._high_c - self._low_c) * _HIGH

        band, mat = self._tub.band, self._tub.mat
        pen.box(_LEFT, y(band.high_c), _RIGHT - _LEFT, y(band.low_c) - y(band.high_c), BAND)
        for hours in self._ticks():
            pen.line((self._x(hours * 3600.0),) * 2, (top, bottom), _RULE, 0.6)
        labels = [(band.low_c, ""), (band.high_c, "")]
        if mat is not None:
            labels += [(mat.limiter_c, "limiter"), (mat.cut_out_c, "cut-out")]
            for value_c, word in labels[2:]:
                pen.line((_LEFT, _RIGHT), (y(value_c),) * 2, FAINT, 0.7, (4.0, 3.0))
                pen.text(_RIGHT - 3.0, y(value_c) - 2.0, word, _SMALL, colour=FAINT, align="right")
        step = max(1, len(self._looks) // _POINTS_N)
        shown = self._looks[::step]
        xs = [self._x(look.t_s) for look in shown]
        pen.line(xs, [y(look.room_c) for look in shown], FAINT, 1.4, _ROOM_DASH)
        pen.line(xs, [y(look.wall_c) for look in shown], _WALL.colour, _WALL.width, _WALL.dash)
        pen.line(xs, [y(look.inside_c) for look in shown], _AIR.colour, _AIR.width, _AIR.dash)
        pen.line((self._x(0.0),) * 2, (top, bottom), INK, 1.2)
        pen.box(_LEFT, top, _RIGHT - _LEFT, _HIGH, "none", edge=FAINT)
        shown_c = (self._drilled.outcome.wall.value_c, self._drilled.outcome.lowest.value_c, self._looks[-1].room_c)
        self._degrees([(y(value_c) + 3.5, value_c) for value_c in (*(each for each, _ in labels), *shown_c)])
        self._y = bottom

    def _degrees(self, labels: Sequence[tuple[float, float]]) -> None:
        """What heights mean, in the keeper's unit; one too near to the one above it is left out."""
        free_y = -1e9
        for at_y, value_c in sorted(labels):
            if at_y - free_y >= 11.0:
                text = f"{temperature_value(value_c, self._unit):.1f}"
                self._pen.text(_LEFT - 3.0, at_y, text, _SMALL, align="right")
                free_y = at_y

    def _lane(self, word: str, spans: Sequence[tuple[float, float]], colour: str) -> None:
        pen = self._pen
        self._y += 3.0
        pen.box(_LEFT, self._y, _RIGHT - _LEFT, _LANE, _ROAD)
        ends = [(self._x(a_s), self._x(b_s)) for a_s, b_s in spans]
        if ends:
            pen.boxes(ends, self._y, _LANE, colour)
        pen.box(_LEFT, self._y, _RIGHT - _LEFT, _LANE, "none", edge=FAINT)
        pen.text(_LEFT - 3.0, self._y + 8.0, word, _SMALL, align="right")
        self._y += _LANE

    def _ticks(self) -> list[int]:
        whole_h = self._to_s / 3600.0
        every_h = next((each for each in _EVERY_H if whole_h / each <= 6), _EVERY_H[-1])
        return list(range(0, int(whole_h) + 1, every_h))

    def _hours(self) -> None:
        self._y += 12.0
        for hours in self._ticks():
            x, text = self._x(hours * 3600.0), f"+{hours} h" if hours else "fault"
            half = self._pen.width(text, _SMALL) / 2.0
            self._pen.text(min(x, WIDTH - 2.0 - half), self._y, text, _SMALL, bold=not hours, align="center")
        self._y += 6.0

    def _words(self) -> None:
        """The first words on the phone, and the extremes."""
        drilled, unit, pen = self._drilled, self._unit, self._pen
        told, outcome = drilled.told, drilled.outcome
        words = [] if told is None else [f"Phone: {told.title}"]
        extremes = (("Hottest wall", outcome.wall), ("hottest inside", outcome.inside), ("coldest", outcome.lowest))
        words.append(", ".join(f"{name} {temperature_text(peak.value_c, unit)}" for name, peak in extremes) + ".")
        for text in words:
            for line in pen.wrapped(text, WIDTH - 2 * _MARGIN, _PLAIN):
                self._y += 14.0
                pen.text(_MARGIN, self._y, line, _PLAIN)
        self._y += 8.0


def _powered(looks: Sequence[Look]) -> Iterator[tuple[float, float]]:
    since_s: float | None = None
    for look, following in pairwise(looks):
        if look.powered and since_s is None:
            since_s = look.t_s
        if since_s is not None and not following.powered:
            yield since_s, following.t_s
            since_s = None
    if since_s is not None:
        yield since_s, looks[-1].t_s
