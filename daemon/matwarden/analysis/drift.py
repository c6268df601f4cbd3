"""Is a tub still what it was when it was commissioned? The last days against its network, cause by cause. Pure.

Each cause that the physics can tell changes the commissioned network in its own way, by one to three numbers:

- mat: its power by a factor. The rise at full heat falls in wall and inside; the time constants stay.
- lid or insulation: every loss to the room by a factor. With more of it rise and longest time constant both fall.
- filling: every capacity by a factor, as by water. The time constants change, the rise stays. Water does it: not told.
- wall probe: it reads a part of the way from the wall towards the inside and towards the room, and an offset.
- inside probe: it reads a part of the way from the inside towards the wall and towards the room, and an offset.

Of each the numbers are sought that bring the simulation closest to what was read (output error, as in fit.py), with
everything else as commissioned. The best one is named if it explains nearly all that the commissioned tub does not, if
no other does nearly as well, and if it is more than its interval and than what healthy plants show. Which one is best
is judged by the likelihood of Gaussian errors: of n stretches that are independent of each other, a sum of squares S
and k numbers it has the logarithm -(n ln S + k ln n) / 2 (Schwarz 1978, from memory). Where two are alike, or none
explains it, it is unexplained. A change in the midst of the week is explained by no cause: where the week has none, the
last two days are asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from scipy.optimize import least_squares

from matwarden.analysis.consequences import STRUCTURE, Estimate, draws
from matwarden.analysis.fit import READ_K, Found
from matwarden.analysis.grid import Grid
from matwarden.analysis.network import WALL, Array, Network, simulate, steady

__all__ = ["DAYS", "Cause", "Drift", "Explained", "drift", "explained"]

# So many days are asked, and of these the last ones where all of them have no cause.
DAYS, _LAST_DAYS = 7.0, 2.0
# With less there is nothing to be told: hours of record, and share of them with heat.
_LEAST_S, _LEAST_HEAT = 36 * 3600.0, 0.03
_STRETCH_S = 6 * 3600.0
# Of the square of what the commissioned tub leaves, above what it left then, a cause must explain this part; and what
# it leaves itself must be half of what would be told as unexplained, at the most: two changes at once are no cause.
_EXPLAINS = 0.9
# So much more likely than the next one: a hundred to one.
_LIKELIER = float(np.log(100.0))
# Beyond three standard deviations, and beyond what is no matter: of a factor 4 % (mat) or 8 % (losses); of a probe the
# accuracy of a DS18B20, 0.5 K (datasheet). Healthy plants: under 1 %, see tests/analysis/test_drift.py.
_Z_TOLD, _Z = 3.0, 1.645
_PROBE_K = 0.5
# What nothing explains is told from here on: K, and part of the rise at full heat.
_LEFT_K, _LEFT_PART = 0.5, 0.04
_OUTLIER_N, _OUTLIER_K = 8.0, 0.5
_DAY_S = 86_400.0


class Cause(StrEnum):
    """What may have changed."""

    NOTHING = "nothing"
    MAT = "mat"
    LID = "lid or insulation"
    FILLING = "filling"
    WALL_PROBE = "wall probe"
    INSIDE_PROBE = "inside probe"
    UNEXPLAINED = "unexplained"


@dataclass(frozen=True, slots=True)
class Explained:
    """The last days as one cause has them.

    Attributes:
        values: of the cause, each 0 where nothing changed: logarithms of factors, parts of the way, kelvin.
        covariance: of them, from how the errors hang together over hours. network: as the cause has it.
        left_k: root mean square of wall and inside. likely: logarithm of its likelihood, but for a constant.
        shift: how much the cause's probe reads otherwise, root mean square, mean and its standard deviation, K.
        errors_k: for each grid (m, 2) simulated less read; 0.0 where nothing was read.
    """

    cause: Cause
    values: Array
    covariance: Array
    network: Network
    left_k: float
    likely: float
    shift: tuple[float, float, float]
    errors_k: tuple[Array, ...]


@dataclass(frozen=True, slots=True)
class Drift:
    """What became of a tub.

    Attributes:
        told: whether it is worth a keeper's attention. days: of record that this is from.
        rise, time_constant: at full heat over the room inside, in the end, K; the longest one, h; then and now.
        shift: what a probe reads more than it would where it was, K, mean; None: no probe's fault.
        left_k: root mean square of what the commissioned tub leaves of the readings; `left_then_k`: what it left then.
    """

    cause: Cause
    told: bool
    days: float
    rise_then: Estimate
    rise: Estimate
    time_constant_then: Estimate
    time_constant: Estimate
    shift: Estimate | None
    left_then_k: float
    left_k: float


# Of each value: its prior's standard deviation, and the bounds it may not leave.
_LOG, _PART, _K = (0.5, -1.5, 1.5), (0.5, -0.3, 1.0), (1.0, -8.0, 8.0)
_KINDS: dict[Cause, tuple[tuple[float, float, float], ...]] = {
    Cause.NOTHING: (),
    Cause.MAT: (_LOG,),
    Cause.LID: (_LOG,),
    Cause.FILLING: (_LOG,),
    Cause.WALL_PROBE: (_PART, _PART, _K),
    Cause.INSIDE_PROBE: (_PART, _PART, _K),
}
_LEAST_LOG = {Cause.MAT: 0.04, Cause.LID: 0.08}
_NODE_SD_K = 2.0


def drift(found: Found, rms_k: tuple[float, float], grids: Sequence[Grid]) -> Drift | None:
    """What became of a commissioned tub; None where the days cannot tell: too short, not read, or without heat.

    Args:
        rms_k: what commissioning left of wall and inside. grids: of the last `DAYS`, from `laid_out`.
    """
    answer = None
    for days in (DAYS, _LAST_DAYS):
        last = _last(grids, days)
        if last is None:
            break
        judged = _judged(found, float(np.hypot(*rms_k)) / 2**0.5, last)
        if answer is None or judged.told:
            answer = judged
        if judged.cause not in (Cause.NOTHING, Cause.UNEXPLAINED):
            break
    return answer


def _last(grids: Sequence[Grid], days: float) -> list[Grid] | None:
    """The last days of them, in stretches that are long enough."""
    if not grids:
        return None
    since_s = max(grid.start_s + grid.lasts_s for grid in grids) - days * _DAY_S
    kept = []
    for grid in grids:
        first = max(0, int(np.ceil((since_s - grid.start_s) / grid.step_s)))
        if (len(grid.room_c) - 1 - first) * grid.step_s >= _STRETCH_S and grid.read[first:].any():
            kept.append(
                replace(
                    grid,
                    start_s=grid.start_s + first * grid.step_s,
                    room_c=grid.room_c[first:],
                    heat=grid.heat[first:],
                    read_c=grid.read_c[first:],
                    read=grid.read[first:],
                )
            )
    lasts_s = sum(grid.lasts_s for grid in kept)
    heated_s = sum(float(grid.heat.sum()) * grid.step_s for grid in kept)
    return kept if lasts_s >= _LEAST_S and heated_s >= _LEAST_HEAT * lasts_s else None


def _judged(found: Found, then_k: float, grids: Sequence[Grid]) -> Drift:
    read = [any(grid.read[:, k].any() for grid in grids) for k in (0, 1)]
    unread = {cause for cause, there in zip((Cause.WALL_PROBE, Cause.INSIDE_PROBE), read, strict=True) if not there}
    causes = [cause for cause in _KINDS if cause not in unread]
    every = [explained(found, grids, cause) for cause in causes]
    best = max(every, key=lambda each: each.likely)
    cleaned = _without_outliers(best, grids)
    if any(a is not b for a, b in zip(cleaned, grids, strict=True)):
        # A lid that was opened says nothing of the tub.
        grids = cleaned
        every = [explained(found, grids, cause) for cause in causes]
    plain, ranked = every[0], sorted(every, key=lambda each: each.likely, reverse=True)
    best, second = ranked[0], ranked[1]
    over2 = plain.left_k**2 - then_k**2
    clear = best.likely - second.likely >= _LIKELIER
    rise_k = float(steady(found.network, 1.0)[found.network.shape.inside])
    matters_k = max(_LEFT_K, _LEFT_PART * rise_k)
    left2 = best.left_k**2 - then_k**2
    explains = left2 <= min((1.0 - _EXPLAINS) * max(over2, 0.0), (matters_k / 2.0) ** 2)
    cause, told = Cause.NOTHING, False
    if best.cause is not Cause.NOTHING and clear and explains:
        told = _matters(found, best)
        cause = best.cause if told or best.cause is Cause.FILLING else Cause.NOTHING
    elif over2 > matters_k**2:
        cause, told = Cause.UNEXPLAINED, True
    now = best if cause is best.cause else plain
    numbers = _numbers(found, now)
    shift = None
    if cause in (Cause.WALL_PROBE, Cause.INSIDE_PROBE):
        _, mean_k, sd_k = best.shift
        shift = Estimate(mean_k, mean_k - _Z * sd_k, mean_k + _Z * sd_k, "K")
    days = sum(grid.lasts_s for grid in grids) / _DAY_S
    return Drift(cause, told, days, *numbers, shift, then_k, plain.left_k)


def _matters(found: Found, best: Explained) -> bool:
    """Whether it is beyond its interval, and more than a trifle."""
    if best.cause in (Cause.WALL_PROBE, Cause.INSIDE_PROBE):
        square_k, _, sd_k = best.shift
        return square_k > max(_PROBE_K, _Z_TOLD * sd_k)
    if best.cause not in _LEAST_LOG:
        return False
    _, rise_sd, _, time_sd = _spread(found)
    sd = float(np.hypot(np.sqrt(best.covariance[0, 0]), rise_sd if best.cause is Cause.MAT else max(rise_sd, time_sd)))
    return abs(float(best.values[0])) > max(_LEAST_LOG[best.cause], _Z_TOLD * sd)


def _spread(found: Found) -> tuple[float, float, float, float]:
    """Rise inside at full heat, K, and longest time constant, s, each with its standard deviation as a part of it."""
    inside = found.network.shape.inside
    rise_k = float(steady(found.network, 1.0)[inside])
    time_s = float(found.network.time_constants_s().max())
    others = [(steady(each, 1.0)[inside] / rise_k, each.time_constants_s().max() / time_s) for each in draws(found)]
    sd = np.std(np.array(others, dtype=np.float64), axis=0)
    return rise_k, float(np.hypot(sd[0], STRUCTURE["K"])), time_s, float(np.hypot(sd[1], STRUCTURE["h"]))


def _numbers(found: Found, now: Explained) -> tuple[Estimate, Estimate, Estimate, Estimate]:
    """Rise and longest time constant, then and now."""
    then_k, rise_sd, then_s, time_sd = _spread(found)
    rise_k = float(steady(now.network, 1.0)[now.network.shape.inside])
    time_s = float(now.network.time_constants_s().max())
    more = float(np.sqrt(now.covariance[0, 0])) if now.cause in (Cause.MAT, Cause.LID, Cause.FILLING) else 0.0

    def of(value: float, sd: float, unit: str) -> Estimate:
        return Estimate(value, value * (1.0 - _Z * sd), value * (1.0 + _Z * sd), unit)

    return (
        of(then_k, rise_sd, "K"),
        of(rise_k, float(np.hypot(rise_sd, more)), "K"),
        of(then_s / 3600.0, time_sd, "h"),
        of(time_s / 3600.0, float(np.hypot(time_sd, more)), "h"),
    )


def explained(found: Found, grids: Sequence[Grid], cause: Cause) -> Explained:
    """The last days with this cause, and everything else as commissioned."""
    order, kinds = found.network.shape.order, np.array(_KINDS[cause]).reshape(-1, 3)
    k = len(kinds)
    nodes = np.concatenate([_first_nodes(found.network, grid) for grid in grids])

    def errors(values: Array) -> list[Array]:
        starts = values[k:].reshape(len(grids), order)
        return [
            np.where(grid.read, _read(found.network, cause, values[:k], start, grid) - grid.read_c, 0.0)
            for start, grid in zip(starts, grids, strict=True)
        ]

    def misses(values: Array) -> Array:
        prior = np.concatenate([values[:k] / kinds[:, 0], (values[k:] - nodes) / _NODE_SD_K])
        return np.concatenate([*(each.ravel() / READ_K for each in errors(values)), prior])

    free = np.full(len(nodes), np.inf)
    bounds = (np.concatenate([kinds[:, 1], -free]), np.concatenate([kinds[:, 2], free]))
    guess = np.concatenate([np.zeros(k), nodes])
    best = least_squares(misses, guess, x_scale="jac", bounds=bounds, max_nfev=30, ftol=1e-5, xtol=1e-6)
    left = errors(best.x)
    covariance = _covariance(np.asarray(best.jac), best.fun, grids, _block_s(found.network))[:k, :k]
    total = sum(float(np.sum(each**2)) for each in left)
    read_n = sum(int(grid.read.sum()) for grid in grids)
    n = sum(grid.lasts_s for grid in grids) / _block_s(found.network)
    # What no cause gets below: a reading is off by so much within itself.
    square = total / read_n + (READ_K / 2.0) ** 2
    likely = -0.5 * (n * float(np.log(square)) + k * float(np.log(n)))
    shift = _shift(found.network, cause, best.x, covariance, grids)
    network = _with(found.network, cause, best.x[:k])
    return Explained(cause, best.x[:k], covariance, network, float(np.sqrt(total / read_n)), likely, shift, tuple(left))


def _shift(
    network: Network, cause: Cause, values: Array, covariance: Array, grids: Sequence[Grid]
) -> tuple[float, float, float]:
    """What the cause's probe reads more than at its old place: root mean square, mean, and the mean's sd, K."""
    if cause not in (Cause.WALL_PROBE, Cause.INSIDE_PROBE):
        return 0.0, 0.0, 0.0
    starts = values[3:].reshape(len(grids), network.shape.order)
    nodes = [simulate(network, s, g.room_c, g.heat, g.step_s) for s, g in zip(starts, grids, strict=True)]
    ways = np.concatenate([_ways(network, cause, x, grid.room_c) for x, grid in zip(nodes, grids, strict=True)])
    shift, mean = ways @ values[:3], ways.mean(axis=0)
    return float(np.sqrt(np.mean(shift**2))), float(shift.mean()), float(np.sqrt(mean @ covariance @ mean))


def _ways(network: Network, cause: Cause, nodes: Array, room_c: Array) -> Array:
    """(m, 3) what a probe reads more for each of its values: all the way to the other node, to the room; an offset."""
    wall, inside = nodes[:, WALL], nodes[:, network.shape.inside]
    own, other = (wall, inside) if cause is Cause.WALL_PROBE else (inside, wall)
    return np.column_stack([other - own, room_c - own, np.ones_like(own)])


def _with(network: Network, cause: Cause, values: Array) -> Network:
    """The network itself as the cause changes it; probes change no network."""
    if cause is Cause.MAT:
        return replace(network, power_w=network.power_w * float(np.exp(values[0])))
    if cause is Cause.LID:
        return replace(network, losses=network.losses * np.exp(values[0]))
    if cause is Cause.FILLING:
        return replace(network, capacities=network.capacities * np.exp(values[0]))
    return network


def _read(network: Network, cause: Cause, values: Array, start_c: Array, grid: Grid) -> Array:
    """(m, 2) what the probes read."""
    network = _with(network, cause, values)
    nodes = simulate(network, start_c, grid.room_c, grid.heat, grid.step_s)
    read = network.readings(nodes)
    if cause in (Cause.WALL_PROBE, Cause.INSIDE_PROBE):
        read[:, 0 if cause is Cause.WALL_PROBE else 1] += _ways(network, cause, nodes, grid.room_c) @ values
    return read


def _first_nodes(network: Network, grid: Grid) -> Array:
    """Where a stretch begins: as read, and what is not read like the inside."""
    offsets = (network.wall_offset_k, network.inside_offset_k)
    first = []
    for k in (0, 1):
        read = grid.read_c[:10, k][grid.read[:10, k]]
        first.append(float(read.mean()) - offsets[k] if len(read) else None)
    inside = next((each for each in (first[1], first[0]) if each is not None), float(grid.room_c[0]))
    nodes = np.full(network.shape.order, inside)
    if network.shape.order > 1 and first[0] is not None:
        nodes[WALL] = first[0]
    return nodes


def _block_s(network: Network) -> float:
    return float(np.clip(network.time_constants_s().max(), 3600.0, 12 * 3600.0))


def _covariance(jacobian: Array, misses: Array, grids: Sequence[Grid], block_s: float) -> Array:
    """As in fit.py: what is missed is missed for hours, so it is summed over blocks of hours first."""
    numbers, before = [], 0
    for grid in grids:
        each = before + (np.arange(len(grid.read)) * grid.step_s // block_s).astype(np.int64)
        numbers.append(np.repeat(each, 2))
        before = int(each[-1]) + 1
    blocks = np.concatenate(numbers)
    rows = len(blocks)
    scores = np.zeros((before, jacobian.shape[1]))
    np.add.at(scores, blocks, jacobian[:rows] * misses[:rows, None])
    prior = jacobian[rows:]
    bread = np.linalg.inv(jacobian.T @ jacobian)
    return np.asarray(bread @ (scores.T @ scores * (before / max(1, before - 1)) + prior.T @ prior) @ bread)


def _without_outliers(best: Explained, grids: Sequence[Grid]) -> list[Grid]:
    """The same stretches without readings that are far off even so; a stretch that has none is the same object."""
    sizes = [np.abs(each) for each in best.errors_k]
    median = float(np.median(np.concatenate([s[g.read] for s, g in zip(sizes, grids, strict=True)])))
    limit = max(_OUTLIER_N * median, _OUTLIER_K)
    return [
        replace(grid, read=grid.read & (size <= limit)) if (size > limit).any() else grid
        for size, grid in zip(sizes, grids, strict=True)
    ]
