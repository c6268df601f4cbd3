"""What a tub's record shows at a glance, before anything is fitted: how much of it there is, how heat and room moved,
and how each probe answers the heat within the hour. Numbers only; telling.py judges them. Pure.

The answer to heat is looked for in what is quick. From readings and heat alike the mean of the two hours around is
taken away; what is left of the readings is laid by least squares on what is left of the heat behind three lags. Offsets
and whatever is slow (the room, the substrate, the nights) are then gone, and what the mat does within the hour stays:
much at the wall, less inside, nothing in the room. Each instant is fitted with the same three lags for all probes, so
that their answers can be held against each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from matwarden.analysis.grid import Grid, Mask
from matwarden.analysis.network import WALL, Array, lagged

__all__ = ["Answer", "Change", "Signs", "signs_of"]

_AROUND_S = 7200.0
_LAGS_S = (120.0, 480.0, 1800.0)
# The share of heat is smoothed twice over this time, so that the thermostat's own rounds are gone from it.
_SHARE_OVER_S = 4 * 3600.0
# A stretch shorter than this tells little: its first hours go to where the tub stood at its start.
STRETCH_S = 6 * 3600.0
_HOUR_S = 3600.0
# So much of the whole answer must lie on each side of an instant for the two sides to be compared. With less, a
# healthy experiment's first part, which is unlike its others, looks changed.
_SIDE = 0.3
# Of a record's first hours nobody knows from where its lags started.
_SETTLED_S = 7200.0
# Two readings in a row that are closer than this are the same reading: half of a DS18B20's finest step.
_SAME_K = 0.03125


@dataclass(frozen=True, slots=True)
class Change:
    """Where a probe's answer to heat changed most: seconds from the record's start; answer after over answer before."""

    after_s: float
    factor: float


@dataclass(frozen=True, slots=True)
class Answer:
    """How one probe follows the heat within the hour.

    Attributes:
        size_k: standard deviation of the part of the readings that follows the heat. likeness: correlation of that
            part with the readings, 0 to 1. sense: +1 where heat warms, -1 where it cools.
        change: None where too little heat was switched to tell.
        over_room_k: mean over the room. frozen_s: longest time without any change although heat was switched.
    """

    size_k: float
    likeness: float
    sense: int
    change: Change | None
    over_room_k: float
    frozen_s: float


@dataclass(frozen=True, slots=True)
class Signs:
    """A record at a glance. Times in seconds.

    Attributes:
        lasts_s: from its first to its last instant. told_s: how much of it can be used: instants of wall and inside
            both read, in stretches of six hours or more. longest_s: of those stretches.
        on_s, off_s: heat allowed, and not. share: lowest and highest share of heat, smoothed over hours.
        room_c: lowest and highest of the room.
        wall, inside, room: None where nothing was read.
    """

    lasts_s: float
    told_s: float
    longest_s: float
    on_s: float
    off_s: float
    share: tuple[float, float]
    room_c: tuple[float, float]
    wall: Answer | None
    inside: Answer | None
    room: Answer | None


def signs_of(grids: Sequence[Grid]) -> Signs | None:
    """None: there is no stretch at all."""
    if not grids:
        return None
    long = [grid for grid in grids if grid.lasts_s >= STRETCH_S]
    start_s = grids[0].start_s
    on_s = float(sum(grid.heat.sum() * grid.step_s for grid in grids))
    shares = np.concatenate([_smooth_share(grid) for grid in grids])
    rooms = np.concatenate([_hourly(grid.room_c, grid.step_s) for grid in grids])
    low, high = np.percentile(shares, [5.0, 95.0])
    return Signs(
        grids[-1].start_s + grids[-1].lasts_s - start_s,
        float(sum((grid.read[1:, WALL] & grid.read[1:, 1]).sum() * grid.step_s for grid in long)),
        max((grid.lasts_s for grid in long), default=0.0),
        on_s,
        sum(grid.lasts_s for grid in grids) - on_s,
        (float(low), float(high)),
        (float(rooms.min()), float(rooms.max())),
        _answer(grids, [grid.read_c[:, WALL] for grid in grids], [grid.read[:, WALL] for grid in grids]),
        _answer(grids, [grid.read_c[:, 1] for grid in grids], [grid.read[:, 1] for grid in grids]),
        _answer(grids, [grid.room_c for grid in grids], [np.ones(len(grid.room_c), dtype=np.bool_) for grid in grids]),
    )


def _answer(grids: Sequence[Grid], read_c: Sequence[Array], masks: Sequence[Mask]) -> Answer | None:
    if not any(mask.any() for mask in masks):
        return None
    tables, targets, times = [], [], []
    for grid, values, mask in zip(grids, read_c, masks, strict=True):
        n = int(_AROUND_S / grid.step_s) | 1
        lagged = [_quick(_lagged(grid.heat, lag_s / grid.step_s), mask, n) for lag_s in _LAGS_S]
        tables.append(np.column_stack(lagged)[mask])
        targets.append(_quick(values, mask, n)[mask])
        times.append((grid.start_s - grids[0].start_s + np.arange(len(mask)) * grid.step_s)[mask])
    table, target, t_s = np.concatenate(tables), np.concatenate(targets), np.concatenate(times)
    weights, *_ = np.linalg.lstsq(table, target, rcond=None)
    answer = table @ weights
    over = np.concatenate([(c - grid.room_c)[m] for c, grid, m in zip(read_c, grids, masks, strict=True)])
    both = float(np.sqrt(np.sum(answer**2) * np.sum(target**2)))
    return Answer(
        float(answer.std()),
        float(np.sum(answer * target)) / both if both > 0.0 else 0.0,
        1 if weights.sum() > 0.0 else -1,
        _change(answer, target, t_s),
        float(over.mean()),
        max(_frozen_s(grid, c, m) for grid, c, m in zip(grids, read_c, masks, strict=True)),
    )


def _change(answer: Array, target: Array, t_s: Array) -> Change | None:
    """The instant before and after which the readings follow the whole record's answer least alike."""
    settled = t_s >= _SETTLED_S
    answer, target, t_s = answer[settled], target[settled], t_s[settled]
    together, alone = np.cumsum(answer * target), np.cumsum(answer**2)
    if not len(alone) or alone[-1] <= 0.0:
        return None
    among = np.flatnonzero((alone >= _SIDE * alone[-1]) & (alone <= (1.0 - _SIDE) * alone[-1]))
    if not len(among):
        return None
    before = together[among] / alone[among]
    after = (together[-1] - together[among]) / (alone[-1] - alone[among])
    # An answer of the wrong sign is none.
    factors = np.clip(after, 0.01, None) / np.clip(before, 0.01, None)
    worst = int(np.argmax(np.abs(np.log(factors))))
    return Change(float(t_s[among[worst]]), float(factors[worst]))


def _frozen_s(grid: Grid, values: Array, mask: Mask) -> float:
    """The longest time without any change of a reading, in which heat was both on and off for half an hour."""
    at = np.flatnonzero(mask)
    if len(at) < 2:
        return 0.0
    longest_s = 0.0
    on_s = np.concatenate([[0.0], np.cumsum(grid.heat) * grid.step_s])
    for part in np.split(at, np.flatnonzero(np.abs(np.diff(values[at])) >= _SAME_K) + 1):
        first, last = int(part[0]), int(part[-1])
        lasts_s, heated_s = (last - first) * grid.step_s, float(on_s[last] - on_s[first])
        if min(heated_s, lasts_s - heated_s) >= _HOUR_S / 2:
            longest_s = max(longest_s, lasts_s)
    return longest_s


def _quick(values: Array, mask: Mask, n: int) -> Array:
    """What is left when the mean of the n instants around is taken away, of those that were read."""
    weight = mask.astype(np.float64)
    total = uniform_filter1d(weight * values, n, mode="constant")
    count = uniform_filter1d(weight, n, mode="constant")
    return np.asarray(values - total / np.maximum(count, 0.5 / n))


def _lagged(heat: Array, lag_steps: float) -> Array:
    """Heat behind a first-order lag, at each instant."""
    kept = np.exp(-1.0 / lag_steps)
    return lagged(float(heat[0]), kept, (1.0 - kept) * heat)


def _smooth_share(grid: Grid) -> Array:
    n = max(1, int(_SHARE_OVER_S / grid.step_s))
    everywhere = np.ones(len(grid.heat), dtype=np.bool_)
    once = grid.heat - _quick(grid.heat, everywhere, n)
    return once - _quick(once, everywhere, n)


def _hourly(values: Array, step_s: float) -> Array:
    """Means of whole hours; of everything where there is less than one."""
    n = max(1, int(_HOUR_S / step_s))
    whole = len(values) // n * n
    return np.asarray(values[:whole].reshape(-1, n).mean(axis=1)) if whole else np.array([values.mean()])
