"""A commissioned tub as one picture: what was measured against what the model makes of the same room and heat.

Wall and inside each as a broad light line (measured) under a thin dark one (model); the room with the heat that was
allowed; below, what the model leaves. Drawn with the pen of the nightly picture, as wide as a phone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from matwarden.analysis.fit import Fitted
from matwarden.analysis.grid import Grid
from matwarden.analysis.network import Array
from matwarden.core.strips import NightStrips
from matwarden.core.units import difference_value, duration_text, temperature_value
from matwarden.report.clock_ticks import ticks
from matwarden.report.commission_text import Commission, shape_text
from matwarden.report.picture_pen import FAINT, INK, WIDTH, Pen, png
from matwarden.report.units import local_day_and_clock
from matwarden.terms import Unit

__all__ = ["commission_picture"]

# Of the palette of Okabe and Ito, as in the nightly picture: sky blue, vermillion.
_MEASURED, _HEAT = "#56b4e9", "#d55e00"
_HEAT_ROAD, _RULE = "#e8e8e8", "#c4c4c4"
_LEFT, _RIGHT, _MARGIN = 34.0, WIDTH - 6.0, 6.0
_SMALL, _PLAIN, _LARGE = 10.0, 11.0, 15.0
_HIGH, _ROOM_HIGH, _LEFT_HIGH = 110.0, 56.0, 70.0
_WALL, _INSIDE = 0, 1


class _Panel(NamedTuple):
    """From seconds and values in the keeper's unit to the sheet."""

    since_s: float
    lasts_s: float
    top: float
    high: float
    low: float
    highest: float

    def x(self, at_s: Array) -> Array:
        return np.asarray(_LEFT + (at_s - self.since_s) / self.lasts_s * (_RIGHT - _LEFT))

    def y(self, value: Array) -> Array:
        return np.asarray(self.top + (self.highest - value) / (self.highest - self.low) * self.high)


def commission_picture(shown: Commission, fit: Fitted, grids: Sequence[Grid]) -> bytes:
    """The picture as a PNG file, 1080 pixels wide.

    Args:
        grids: those that were fitted, in the order of `fit.residual_k`.
    """
    drawing = _Drawing(shown, fit, grids)
    return png(drawing.pen.sheet(drawing.height()))


class _Drawing:
    """Drawn from the top down."""

    def __init__(self, shown: Commission, fit: Fitted, grids: Sequence[Grid]) -> None:
        self._shown, self._fit, self._grids = shown, fit, grids
        self._unit = shown.unit
        self.pen = Pen()
        self._y = _MARGIN
        self._since_s = grids[0].start_s
        self._lasts_s = grids[-1].start_s + grids[-1].lasts_s - self._since_s
        window = NightStrips(self._lasts_s, self._lasts_s, (self._since_s,), (), (), ())
        self._ticks = ticks(window, shown.zone)

    def height(self) -> float:
        """Draw everything; how high it came out."""
        self._title()
        self._legend()
        for node, name in ((_INSIDE, "Inside"), (_WALL, "Wall at the mat")):
            self._node(node, name)
        self._room()
        self._residual()
        return self._y + _MARGIN

    def _title(self) -> None:
        shown, pen = self._shown, self.pen
        self._y += _LARGE
        day = local_day_and_clock(shown.tub.made_wall_s, shown.zone)
        pen.text(_RIGHT, self._y, day, 12.0, align="right")
        name = pen.cut(f"{shown.name}: what it can do", _RIGHT - 2 * _MARGIN - pen.width(day, 12.0), _LARGE, bold=True)
        pen.text(_MARGIN, self._y, name, _LARGE, bold=True)
        self._y += 15.0
        told = f"Model of {shape_text(self._fit.network.shape)}, fitted to {duration_text(self._lasts_s)} of its record"
        pen.text(_MARGIN, self._y, pen.cut(told, WIDTH - 2 * _MARGIN, _SMALL), _SMALL, colour=FAINT)
        self._y += 6.0

    def _legend(self) -> None:
        pen, x = self.pen, _MARGIN
        self._y += 12.0
        for word in ("measured", "model", "heat allowed"):
            if word == "heat allowed":
                pen.box(x, self._y - 7.0, 20.0, 8.0, _HEAT)
            else:
                colour, width = (_MEASURED, 4.0) if word == "measured" else (INK, 1.1)
                pen.line((x, x + 20.0), (self._y - 3.5,) * 2, colour, width)
            pen.text(x + 24.0, self._y, word, _SMALL)
            x += 24.0 + pen.width(word, _SMALL) + 12.0
        self._y += 4.0

    def _node(self, node: int, name: str) -> None:
        read, model = [], []
        for grid, nodes_c in zip(self._grids, self._fit.nodes_c, strict=True):
            there = np.where(grid.read[:, node], grid.read_c[:, node], np.nan)
            read.append(self._degrees(there))
            model.append(self._degrees(self._fit.network.readings(nodes_c)[:, node]))
        rms = difference_value(self._fit.rms_k[node], self._unit)
        self._heading(f"{name}, °{self._unit.value}", f"model off by {rms:.2f} °{self._unit.value} (rms)")
        if all(np.isnan(each).all() for each in read):
            read = [np.full_like(each, np.nan) for each in model]
        panel = self._panel([*read, *model], _HIGH)
        self._lines(panel, read, _MEASURED, 4.0)
        self._lines(panel, model, INK, 1.1)
        self._clock()

    def _room(self) -> None:
        values = [self._degrees(grid.room_c) for grid in self._grids]
        self._heading(f"Room, °{self._unit.value}, and heat", "")
        panel = self._panel(values, _ROOM_HIGH)
        self._lines(panel, values, INK, 1.4)
        self._y += 3.0
        self.pen.box(_LEFT, self._y, _RIGHT - _LEFT, 8.0, _HEAT_ROAD)
        spans = [span for grid in self._grids for span in _heated(grid)]
        if spans:
            ends = [tuple(panel.x(np.array(span)).tolist()) for span in spans]
            self.pen.boxes([(left, right) for left, right in ends], self._y, 8.0, _HEAT)
        self.pen.text(_LEFT - 3.0, self._y + 7.5, "heat", _SMALL, align="right")
        self._y += 8.0
        self._clock()

    def _residual(self) -> None:
        self._heading(f"Measured less model, °{self._unit.value}", "")
        found = []
        for node in (_WALL, _INSIDE):
            each = []
            for grid, left_k in zip(self._grids, self._fit.residual_k, strict=True):
                each.append(np.where(grid.read[:, node], difference_value(1.0, self._unit) * left_k[:, node], np.nan))
            found.append(each)
        widest = max((float(np.nanmax(np.abs(one))) for one in sum(found, []) if not np.isnan(one).all()), default=0.1)
        panel = self._panel([np.array([-widest, widest])], _LEFT_HIGH, signed=True)
        self._lines(panel, found[0], _HEAT, 0.8)
        self._lines(panel, found[1], INK, 0.8)
        self._clock()
        self._y += 12.0
        x = _MARGIN
        for word, colour in (("inside", INK), ("wall", _HEAT)):
            self.pen.line((x, x + 20.0), (self._y - 3.5,) * 2, colour, 1.6)
            self.pen.text(x + 24.0, self._y, word, _SMALL)
            x += 24.0 + self.pen.width(word, _SMALL) + 12.0

    def _heading(self, name: str, told: str) -> None:
        self._y += 16.0
        self.pen.text(_MARGIN, self._y, name, 12.0, bold=True)
        self.pen.text(_RIGHT, self._y, told, _SMALL, align="right")
        self._y += 5.0

    def _panel(self, values: Sequence[Array], high: float, signed: bool = False) -> _Panel:
        """A frame that holds these values, with its rules and their numbers."""
        read = np.concatenate(values)
        read = read[~np.isnan(read)]
        low, highest = (float(read.min()), float(read.max())) if len(read) else (0.0, 1.0)
        spare = max(0.06 * (highest - low), 0.02 if signed else 0.1)
        panel = _Panel(self._since_s, self._lasts_s, self._y, high, low - spare, highest + spare)
        step = _rule_step(panel.highest - panel.low)
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        for tick in self._ticks:
            x = float(panel.x(np.array(self._since_s + tick.at_s)))
            self.pen.line((x, x), (panel.top, panel.top + high), _RULE, 0.5)
        for number in range(math.ceil(panel.low / step), math.floor(panel.highest / step) + 1):
            y = float(panel.y(np.array(number * step)))
            self.pen.line((_LEFT, _RIGHT), (y, y), _RULE, 0.9 if signed and number == 0 else 0.5)
            self.pen.text(_LEFT - 3.0, y + 3.5, f"{number * step:.{digits}f}", _SMALL, align="right")
        self.pen.box(_LEFT, panel.top, _RIGHT - _LEFT, high, "none", edge=FAINT)
        self._y += high
        return panel

    def _lines(self, panel: _Panel, values: Sequence[Array], colour: str, width: float) -> None:
        for grid, each in zip(self._grids, values, strict=True):
            t_s = grid.start_s + np.arange(len(each)) * grid.step_s
            self.pen.line(panel.x(t_s).tolist(), panel.y(each).tolist(), colour, width)

    def _clock(self) -> None:
        self._y += 12.0
        free_until = _MARGIN
        for tick in self._ticks:
            half = self.pen.width(tick.text, _SMALL) / 2.0
            x = _LEFT + tick.at_s / self._lasts_s * (_RIGHT - _LEFT)
            x = min(max(x, _MARGIN + half), WIDTH - 2.0 - half)
            if x - half >= free_until:
                self.pen.text(x, self._y, tick.text, _SMALL, colour=FAINT, align="center")
                free_until = x + half + 4.0

    def _degrees(self, value_c: Array) -> Array:
        return value_c if self._unit is Unit.C else np.asarray(value_c * 1.8 + temperature_value(0.0, self._unit))


def _heated(grid: Grid) -> list[tuple[float, float]]:
    """Spans in which heat was allowed for most of each step."""
    on = np.concatenate([[False], grid.heat > 0.5, [False]]).astype(np.int8)
    edges = np.flatnonzero(np.diff(on))
    return [
        (grid.start_s + a * grid.step_s, grid.start_s + b * grid.step_s)
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    ]


def _rule_step(span: float) -> float:
    """A round distance between rules, of which some three to six fit."""
    rough = span / 4.0
    power = 10.0 ** math.floor(math.log10(rough))
    return next(part * power for part in (1.0, 2.0, 5.0, 10.0) if part * power >= rough)
