"""Finding the network that a tub's record tells of: output-error least squares. Pure.

The whole record is simulated from its room and its heat, and the network is sought whose wall and inside come closest
to what was read. So a noisy or coarse probe does not bend the answer, as it does where the next reading is predicted
from the last (any system-identification textbook: output error against equation error).

The start comes of a regression: a one-node network's time constant on a grid, with its gain and its offset by linear
least squares. It also scales the priors, so that it does not matter whether watts are known, or how large the tub is;
the priors are wide, and hold only what the record does not tell. For that the errors must not count for more than they
are: what a network misses it misses for hours, so they are weighed by how they hang together (`_off_by`).

How many nodes is decided on the last quarter of the record, which is not fitted: the smallest network that predicts it
nearly as well as the best. Its loss grows, unless that predicts worse. That one is then fitted to everything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from matwarden.analysis.grid import Grid, Mask
from matwarden.analysis.network import INSIDE, PAIRS, WALL, Array, Network, Shape, lagged, simulate

__all__ = ["Fitted", "Found", "Start", "Tried", "fitted", "found_of", "start_of"]

# What a reading is off by within itself, in K: noise and steps of a DS18B20 averaged over a step.
READ_K = 0.05
HELD_OUT = 0.25
# How often at the most, and to within what part, the weight of the errors is found from the errors.
_WEIGHED_N, _WEIGHED_WITHIN = 4, 0.25
# A search ends when a step betters the whole by less than this part, or after so many steps: before the weights stay,
# and then.
_ROUGH, _FINE = (1e-3, 15), (1e-5, 30)
# A larger network must predict better by this part to be taken.
_BETTER = 0.9
# Predictions that are so close are equally good.
_FINEST_K = 0.005
_SHAPES = (Shape(1, False), Shape(2, False), Shape(3, False))
# Of the whole: where a tub's capacity and losses usually are, and joins against the loss. Ours; wide.
_SHARES = {
    1: ((1.0,), (), (1.0,)),
    2: ((0.12, 0.88), (1.5,), (0.25, 0.75)),
    3: ((0.08, 0.07, 0.85), (1.2, 0.6, 1.2), (0.25, 0.45, 0.30)),
}
_LOG_SD, _OFFSET_SD_K, _SHARE_MEAN, _SHARE_SD = 0.7, 0.4, 0.25, 0.25
_LAG_S, _NODE_SD_K = 90.0, 2.0
# A reading further off than so many times the usual is not the tub's.
_OUTLIER_N, _OUTLIER_K = 8.0, 0.5


@dataclass(frozen=True, slots=True)
class Start:
    """Scale of a tub: capacity J/K and loss W/K for a mat of `power_w`."""

    capacity: float
    loss: float
    power_w: float


@dataclass(frozen=True, slots=True)
class Tried:
    """A shape and its error on the part of the record that it was not fitted to, K, wall and inside together."""

    shape: Shape
    held_out_k: float


@dataclass(frozen=True, slots=True)
class Found:
    """A network, and how sure it is.

    Attributes:
        values: the parameters as the search has them; `network_of` turns such into a network. covariance: of them.
    """

    network: Network
    values: Array
    covariance: Array
    start: Start

    def network_of(self, values: Array) -> Network:
        """The network of other parameter values, for intervals."""
        return _network(self.network.shape, values, self.start)


@dataclass(frozen=True, slots=True)
class Fitted(Found):
    """A network, how sure it is, and how well it does.

    Attributes:
        tried: every shape that was compared. rms_k: of wall and inside over the whole record.
        residual_k: for each grid (m, 2) read less simulated; 0.0 where nothing was read.
        nodes_c: for each grid (m, n), simulated.
    """

    tried: tuple[Tried, ...]
    rms_k: tuple[float, float]
    residual_k: tuple[Array, ...]
    nodes_c: tuple[Array, ...]


@dataclass(frozen=True, slots=True)
class _Sought:
    """What a search found, and what a reading counts as being off by, K (`_off_by`)."""

    values: Array
    off_k: float


def found_of(shape: Shape, values: Array, covariance: Array, start: Start) -> Found:
    """What was found once, from its numbers."""
    return Found(_network(shape, values, start), values, covariance, start)


def start_of(grids: Sequence[Grid], power_w: float) -> Start:
    """Regression: the one-node network that comes closest to the inside (to the wall, where there is no inside)."""
    best: tuple[float, Array, float] | None = None
    node = 1 if any(grid.read[:, 1].any() for grid in grids) else 0
    for tau_s in np.geomspace(0.3, 150.0, 14) * 3600.0:
        columns, targets = [], []
        for grid in grids:
            kept = np.exp(-grid.step_s / tau_s)
            heat = lagged(0.0, kept, (1.0 - kept) * grid.heat)[1:]
            room = lagged(float(grid.room_c[0]), kept, (1.0 - kept) * grid.room_c[:-1])[1:]
            ok = grid.read[1:, node]
            away = np.exp(-np.arange(1, len(grid.room_c)) * grid.step_s / tau_s)
            columns.append(np.column_stack([heat, np.ones_like(heat), away])[ok])
            targets.append((grid.read_c[1:, node] - room)[ok])
        table, target = np.concatenate(columns), np.concatenate(targets)
        found, *_ = np.linalg.lstsq(table, target, rcond=None)
        error = float(np.sum((table @ found - target) ** 2))
        if found[0] > 0.0 and (best is None or error < best[2]):
            best = (tau_s, found, error)
    if best is None:
        return Start(power_w / 10.0 * 4 * 3600.0, power_w / 10.0, power_w)
    loss = power_w / max(float(best[1][0]), 0.5)
    return Start(loss * best[0], loss, power_w)


def fitted(grids: Sequence[Grid], power_w: float) -> Fitted:
    """The network of a record. What cannot be fitted is to be refused before (refusals.py).

    Args:
        grids: from `laid_out`. power_w: of the mat; 1.0 where it is not known.
    """
    start = start_of(grids, power_w)
    coarse = [_coarser(grid) for grid in grids] if sum(len(g.room_c) for g in grids) > 4000 else list(grids)
    masks = [grid.read for grid in coarse]
    split_s = _split_s(coarse)
    early = [mask & _before(grid, split_s)[:, None] for grid, mask in zip(coarse, masks, strict=True)]
    late = [mask & ~_before(grid, split_s)[:, None] for grid, mask in zip(coarse, masks, strict=True)]
    tried: list[Tried] = []
    found: dict[Shape, _Sought] = {}

    def attempt(shape: Shape) -> Tried:
        found[shape] = _search(shape, coarse, early, start, found.get(Shape(shape.order, False)))
        errors = _errors(shape, found[shape].values, coarse, late, start)
        one = Tried(shape, float(np.sqrt(np.mean(errors**2))) if len(errors) else np.inf)
        tried.append(one)
        return one

    best = attempt(_SHAPES[0])
    for shape in _SHAPES[1:]:
        one = attempt(shape)
        if one.held_out_k < _BETTER * best.held_out_k:
            best = one
    if best.shape.order > 1:
        # Losses do grow in tubs; how much, a prior holds where the record is silent. To leave it out where a few hours
        # do not show it made rises wrong by up to 0.9 K, and too sure of themselves, in forty commissionings.
        one = attempt(Shape(best.shape.order, True))
        if _BETTER * one.held_out_k < best.held_out_k + _FINEST_K:
            best = one
    return _final(best.shape, grids, start, found[best.shape], tuple(tried))


def _final(shape: Shape, grids: Sequence[Grid], start: Start, guess: _Sought, tried: tuple[Tried, ...]) -> Fitted:
    masks = _without_outliers(shape, guess.values, grids, [grid.read for grid in grids], start)
    sought = _search(shape, grids, masks, start, guess)
    values = sought.values
    network = _network(shape, values, start)
    nodes = _nodes(shape, values, grids, start)
    residual = [np.where(m, g.read_c - network.readings(x), 0.0) for x, g, m in zip(nodes, grids, masks, strict=True)]
    rms = tuple(
        float(np.sqrt(sum(np.sum(r[:, k] ** 2) for r in residual) / max(1, sum(int(m[:, k].sum()) for m in masks))))
        for k in (0, 1)
    )
    covariance = _covariance(shape, values, grids, masks, start, sought.off_k)
    return Fitted(network, values, covariance, start, tried, (rms[0], rms[1]), tuple(residual), tuple(nodes))


def _parameters_n(shape: Shape) -> int:
    n = shape.order
    return 2 * n + len(PAIRS[n]) + 1 + int(shape.grows) + 2


def _network(shape: Shape, values: Array, start: Start) -> Network:
    n, joined = shape.order, len(PAIRS[shape.order])
    capacity, joins, loss = _SHARES[n]
    logs = np.exp(np.clip(values[: 2 * n + joined + 1], -12.0, 12.0))
    share = float(values[2 * n + joined + 1]) if shape.grows else 0.0
    offsets = values[_parameters_n(shape) - 2 : _parameters_n(shape)]
    return Network(
        shape,
        start.capacity * np.array(capacity) * logs[:n],
        start.loss * np.array(joins) * logs[n : n + joined],
        start.loss * np.array(loss) * logs[n + joined : 2 * n + joined],
        start.power_w,
        _LAG_S * float(logs[2 * n + joined]),
        share,
        float(offsets[0]),
        float(offsets[1]),
    )


def _starts(shape: Shape, values: Array, grids: Sequence[Grid]) -> list[Array]:
    first = _parameters_n(shape)
    return [values[first + k * shape.order : first + (k + 1) * shape.order] for k in range(len(grids))]


def _guess(shape: Shape, grids: Sequence[Grid], guess: Array | None) -> Array:
    m = _parameters_n(shape)
    values = np.zeros(m + shape.order * len(grids))
    if shape.grows:
        values[m - 3] = _SHARE_MEAN
    nodes = np.concatenate([_first_nodes(shape, grid) for grid in grids])
    values[m:] = nodes
    if guess is not None:
        # Of the same network, or of the same without a loss that grows.
        old = len(guess) - shape.order * len(grids)
        if old == m:
            values[:m] = guess[:m]
        else:
            values[: old - 2] = guess[: old - 2]
            values[m - 2 : m] = guess[old - 2 : old]
        values[m:] = guess[old:]
    return values


def _first_nodes(shape: Shape, grid: Grid) -> Array:
    first = []
    for k in (WALL, INSIDE):
        read = grid.read_c[: max(3, int(600 / grid.step_s)), k][grid.read[: max(3, int(600 / grid.step_s)), k]]
        first.append(float(read.mean()) if len(read) else None)
    room = float(grid.room_c[0])
    wall = first[0] if first[0] is not None else first[1] if first[1] is not None else room
    inside = first[1] if first[1] is not None else wall
    return np.array([wall if shape.order > 1 else inside, inside, inside][: shape.order])


def _search(shape: Shape, grids: Sequence[Grid], masks: Sequence[Mask], start: Start, guess: _Sought | None) -> _Sought:
    """Errors are weighed, the network is sought, and the errors are weighed anew, until their weight stays."""
    off_k = READ_K if guess is None else guess.off_k
    values = _guess(shape, grids, None if guess is None else guess.values)
    for _ in range(_WEIGHED_N):
        values = _searched(shape, grids, masks, start, values, off_k, _ROUGH)
        before_k, off_k = off_k, _off_by(shape, values, grids, masks, start)
        if abs(off_k - before_k) <= _WEIGHED_WITHIN * before_k:
            break
    return _Sought(_searched(shape, grids, masks, start, values, off_k, _FINE), off_k)


def _off_by(shape: Shape, values: Array, grids: Sequence[Grid], masks: Sequence[Mask], start: Start) -> float:
    """What a reading counts as being off by, in K, when all are taken for independent.

    Sums over blocks of hours have the variance that so many independent errors of this size would give them. Errors
    that hang together would otherwise outvote what is known beforehand: a recorded building's loss was put down to a
    probe that is off by 7 K (tests/analysis/greybox.md).
    """
    errors = _errors(shape, values, grids, masks, start)
    if not len(errors):
        return READ_K
    sums = np.bincount(_blocks(grids, masks, shape, values, start), weights=errors)
    return max(READ_K, float(np.sqrt(np.sum(sums**2) / len(errors))))


def _searched(
    shape: Shape,
    grids: Sequence[Grid],
    masks: Sequence[Mask],
    start: Start,
    values: Array,
    off_k: float,
    ends: tuple[float, int],
) -> Array:
    m = _parameters_n(shape)
    within, steps_n = ends
    nodes = _guess(shape, grids, None)[m:]
    low, high = np.full(len(values), -np.inf), np.full(len(values), np.inf)
    if shape.grows:
        low[m - 3], high[m - 3] = 0.0, 1.0

    def misses(values: Array) -> Array:
        return np.concatenate([_errors(shape, values, grids, masks, start) / off_k, _prior(shape, values, nodes)])

    def slopes(values: Array) -> Array:
        near = _nodes(shape, values, grids, start)
        step, columns = 1e-5, []
        zero, prior = _errors(shape, values, grids, masks, start, near), _prior(shape, values, nodes)
        for unit in np.eye(len(values)):
            moved = values + step * unit
            off = (_errors(shape, moved, grids, masks, start, near) - zero) / off_k
            columns.append(np.concatenate([off, _prior(shape, moved, nodes) - prior]) / step)
        return np.column_stack(columns)

    found = least_squares(
        misses, values, slopes, x_scale=1.0, bounds=(low, high), max_nfev=steps_n, ftol=within, xtol=0.1 * within
    )
    return np.asarray(found.x)


def _prior(shape: Shape, values: Array, nodes: Array) -> Array:
    m = _parameters_n(shape)
    logs = values[: m - 2 - int(shape.grows)] / _LOG_SD
    share = [(values[m - 3 : m - 2] - _SHARE_MEAN) / _SHARE_SD] if shape.grows else []
    return np.concatenate([logs, *share, values[m - 2 : m] / _OFFSET_SD_K, (values[m:] - nodes) / _NODE_SD_K])


def _nodes(shape: Shape, values: Array, grids: Sequence[Grid], start: Start) -> list[Array]:
    network = _network(shape, values, start)
    return [
        simulate(network, first, grid.room_c, grid.heat, grid.step_s)
        for first, grid in zip(_starts(shape, values, grids), grids, strict=True)
    ]


def _errors(
    shape: Shape,
    values: Array,
    grids: Sequence[Grid],
    masks: Sequence[Mask],
    start: Start,
    near: Sequence[Array | None] | None = None,
) -> Array:
    """In K, of all that was read. `near`: of each grid, as `simulate` has it."""
    network = _network(shape, values, start)
    errors = []
    around = near if near is not None else [None] * len(grids)
    for first, grid, mask, by in zip(_starts(shape, values, grids), grids, masks, around, strict=True):
        if not mask.any():
            continue
        nodes = simulate(network, first, grid.room_c, grid.heat, grid.step_s, by)
        errors.append((network.readings(nodes) - grid.read_c)[mask])
    return np.concatenate(errors) if errors else np.zeros(0)


def _covariance(
    shape: Shape, values: Array, grids: Sequence[Grid], masks: Sequence[Mask], start: Start, off_k: float
) -> Array:
    """Of the parameters, from the Jacobian and from how the errors hang together.

    What a network misses it misses for hours, so that errors are no independent draws: they are summed over blocks of
    hours first (a cluster-robust or "sandwich" estimate, any econometrics textbook, from memory).
    """
    jacobian = _jacobian(shape, values, grids, masks, start) / off_k
    errors = _errors(shape, values, grids, masks, start) / off_k
    nodes = values[_parameters_n(shape) :]
    hessian = jacobian.T @ jacobian
    step = 1e-4
    zero = _prior(shape, values, nodes)
    prior = np.column_stack(
        [(_prior(shape, values + step * unit, nodes) - zero) / step for unit in np.eye(len(values))]
    )
    hessian = hessian + prior.T @ prior
    blocks = _blocks(grids, masks, shape, values, start)
    scores = np.zeros((int(blocks.max()) + 1, len(values)))
    np.add.at(scores, blocks, jacobian * errors[:, None])
    n = len(scores)
    meat = scores.T @ scores * (n / max(1, n - 1)) + prior.T @ prior
    bread = np.linalg.inv(hessian)
    return np.asarray(bread @ meat @ bread)


def _blocks(grids: Sequence[Grid], masks: Sequence[Mask], shape: Shape, values: Array, start: Start) -> Array:
    """The block of each error, in the order of `_errors`."""
    longest_s = float(_network(shape, values, start).time_constants_s().max())
    total_s = sum(grid.lasts_s for grid in grids)
    block_s = float(np.clip(longest_s, 3600.0, max(3600.0, total_s / 10.0)))
    numbers, before = [], 0
    for grid, mask in zip(grids, masks, strict=True):
        if not mask.any():
            continue
        each = before + (np.arange(len(mask)) * grid.step_s // block_s).astype(np.int64)
        numbers.append(np.broadcast_to(each[:, None], mask.shape)[mask])
        before = int(each[-1]) + 1
    return np.concatenate(numbers)


def _jacobian(shape: Shape, values: Array, grids: Sequence[Grid], masks: Sequence[Mask], start: Start) -> Array:
    step = 1e-4
    columns = []
    for unit in np.eye(len(values)):
        up = _errors(shape, values + step * unit, grids, masks, start)
        down = _errors(shape, values - step * unit, grids, masks, start)
        columns.append((up - down) / (2 * step))
    return np.column_stack(columns)


def _without_outliers(
    shape: Shape, values: Array, grids: Sequence[Grid], masks: Sequence[Mask], start: Start
) -> list[Mask]:
    errors = np.abs(_errors(shape, values, grids, masks, start))
    limit = max(_OUTLIER_N * float(np.median(errors)), _OUTLIER_K)
    network = _network(shape, values, start)
    return [
        mask & (np.abs(network.readings(nodes) - grid.read_c) <= limit)
        for nodes, grid, mask in zip(_nodes(shape, values, grids, start), grids, masks, strict=True)
    ]


def _split_s(grids: Sequence[Grid]) -> float:
    """Where on the record's line the part begins that decides about shapes."""
    left_s = HELD_OUT * sum(grid.lasts_s for grid in grids)
    for grid in reversed(grids):
        if grid.lasts_s >= left_s:
            return grid.start_s + grid.lasts_s - left_s
        left_s -= grid.lasts_s
    return grids[0].start_s


def _before(grid: Grid, split_s: float) -> Mask:
    return grid.start_s + np.arange(len(grid.room_c)) * grid.step_s < split_s


def _coarser(grid: Grid) -> Grid:
    """Every third instant. A reading is the mean about it, as the heat of a step is the mean over it."""
    m = (len(grid.room_c) - 1) // 3 * 3
    n = _sums(grid.read)
    read_c = _sums(np.where(grid.read, grid.read_c, 0.0)) / np.maximum(n, 1.0)
    return Grid(
        grid.start_s,
        3 * grid.step_s,
        (_sums(grid.room_c) / _sums(np.ones_like(grid.room_c)))[: m + 1 : 3],
        grid.heat[:m].reshape(-1, 3).mean(axis=1),
        read_c[: m + 1 : 3],
        (n > 0)[: m + 1 : 3],
    )


def _sums(values: Array) -> Array:
    """Each with the one before and the one behind it."""
    total = values.astype(np.float64)
    total[1:] += values[:-1]
    total[:-1] += values[1:]
    return total
