"""Readings as they came, laid on equal steps of time: what a fit takes. Pure.

A step's value is the mean of the readings nearest to its instant. Nothing is filled in but short gaps of the room,
between two readings of it; a longer gap ends a stretch, and the next one starts afresh. Missing is a mask, never a
number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matwarden.analysis.network import Array

__all__ = ["Grid", "Heat", "Lived", "Mask", "Series", "laid_out", "step_for"]

Mask = NDArray[np.bool_]
# A room changes slowly: between two readings so far apart a line is not far off.
ROOM_GAP_S = 1800.0
SHORTEST_S = 2 * 3600.0
# Up to so many days such a step: a mat's own lag is a minute or two, and a month must be fitted in seconds.
_STEPS_S = ((3.0, 30.0), (10.0, 60.0), (float("inf"), 180.0))


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one probe: seconds on the record's own line, in order, and degrees Celsius."""

    t_s: Array
    value_c: Array


@dataclass(frozen=True, slots=True)
class Heat:
    """From `t_s[k]` on heat was allowed, or not. In order; before the first it is not known."""

    t_s: Array
    allowed: Mask


@dataclass(frozen=True, slots=True)
class Lived:
    """What is recorded of one tub: the probes at its mat's wall, those of its inside, of the room; and its heat."""

    wall: Sequence[Series]
    inside: Sequence[Series]
    room: Sequence[Series]
    heat: Heat


@dataclass(frozen=True, slots=True)
class Grid:
    """One stretch without a long gap, at m instants.

    Attributes:
        start_s: of the first instant, on the record's line.
        room_c: (m,). heat: (m - 1,) share of each step in which heat was allowed.
        read_c: (m, 2) wall and inside. read: (m, 2) whether that was read; elsewhere `read_c` is 0.0.
    """

    start_s: float
    step_s: float
    room_c: Array
    heat: Array
    read_c: Array
    read: Mask

    @property
    def lasts_s(self) -> float:
        return (len(self.room_c) - 1) * self.step_s


def step_for(lived: Lived) -> float:
    """Seconds between the instants on which this record is best laid out: not less than its probes' own."""
    each = [s.t_s for s in (*lived.wall, *lived.inside, *lived.room) if len(s.t_s) > 1]
    if not each:
        return _STEPS_S[0][1]
    lasts_days = max(float(t_s[-1] - t_s[0]) for t_s in each) / 86_400.0
    slowest_s = max(float(np.median(np.diff(t_s))) for t_s in each)
    return max(next(step_s for days, step_s in _STEPS_S if lasts_days <= days), slowest_s)


def laid_out(lived: Lived, step_s: float) -> list[Grid]:
    """The stretches that are long enough to tell anything, in order. The coldest inside probe counts."""
    if not len(lived.heat.t_s) or not lived.room:
        return []
    start_s = float(max(lived.heat.t_s[0], min((s.t_s[0] for s in lived.room if len(s.t_s)), default=np.inf)))
    end_s = max((float(s.t_s[-1]) for s in lived.room if len(s.t_s)), default=start_s)
    m = int((end_s - start_s) // step_s) + 1
    if m < 2:
        return []
    t_s = start_s + np.arange(m) * step_s
    room_c, room_read = _together(lived.room, start_s, step_s, m, np.nanmean)
    wall_c, wall_read = _together(lived.wall, start_s, step_s, m, np.nanmean)
    inside_c, inside_read = _together(lived.inside, start_s, step_s, m, np.nanmin)
    heat = _shares(lived.heat, t_s)
    known = np.flatnonzero(room_read)
    grids = []
    # A stretch ends where the room was not read for too long.
    for part in np.split(known, np.flatnonzero(np.diff(known) * step_s > ROOM_GAP_S) + 1):
        if len(part) < 2 or (part[-1] - part[0]) * step_s < SHORTEST_S:
            continue
        here = slice(int(part[0]), int(part[-1]) + 1)
        room = np.interp(t_s[here], t_s[part], room_c[part])
        read = np.column_stack([wall_read[here], inside_read[here]])
        read_c = np.column_stack([wall_c[here], inside_c[here]])
        grids.append(Grid(float(t_s[part[0]]), step_s, room, heat[part[0] : part[-1]], read_c, read))
    return grids


def _together(series: Sequence[Series], start_s: float, step_s: float, m: int, join: object) -> tuple[Array, Mask]:
    """Several probes as one: value of each instant, and whether there is one."""
    if not series:
        return np.zeros(m), np.zeros(m, dtype=bool)
    each = np.full((len(series), m), np.nan)
    for row, one in zip(each, series, strict=True):
        at = np.rint((one.t_s - start_s) / step_s).astype(np.int64)
        within = (at >= 0) & (at < m)
        n = np.bincount(at[within], minlength=m)
        total = np.bincount(at[within], weights=one.value_c[within], minlength=m)
        row[n > 0] = total[n > 0] / n[n > 0]
    read = ~np.isnan(each).all(axis=0)
    value = np.zeros(m)
    if read.any():
        value[read] = join(each[:, read], axis=0)  # type: ignore[operator]
    return value, read


def _shares(heat: Heat, t_s: Array) -> Array:
    """Share of each step in which heat was allowed."""
    lasted = np.diff(heat.t_s)
    on_s = np.concatenate([[0.0], np.cumsum(lasted * heat.allowed[:-1])])
    at = np.clip(np.searchsorted(heat.t_s, t_s, side="right") - 1, 0, None)
    so_far = on_s[at] + (t_s - heat.t_s[at]) * heat.allowed[at]
    return np.asarray(np.clip(np.diff(so_far) / np.diff(t_s), 0.0, 1.0))
