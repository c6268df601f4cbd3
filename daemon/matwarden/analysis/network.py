"""A tub as a small thermal network: nodes that hold heat, joined to each other and to the room. Pure.

For node i of n, with T in degrees Celsius, C in J/K, G in W/K, P in W:

    C_i dT_i/dt = sum_j G_ij (T_j - T_i) - R_i f(|T_i - T_room|) (T_i - T_room) + [i = wall] P h(t)

`h` is the heat allowed, 0 to 1, behind the mat's own first-order lag `lag_s`. `f` is 1 in a linear network. Where the
loss grows with its difference, as in natural convection (heat transfer over a plate goes with the fourth root of the
difference: Nu ~ Ra^(1/4), any heat-transfer textbook, from memory),

    f(d) = 1 - share + share (d / 5 K)^(1/4)

Nodes: 0 the wall with the mat, 1 the inside, 2 what else holds heat and is not measured. In a network of one node
wall and inside are the same. What the probes read is their node plus an offset against the room's probe.

How it is solved. The linear part is exact for heat constant and room linear within a step: with L symmetric, C^-1/2 L
C^-1/2 has real rates and orthogonal modes, each mode is a first-order lag and so a recursion over the record. The
growing part of the loss is put in as heat taken from each node, computed from the solution before, three times over.
The linear part has the loss as it usually is in the record, so that what is put in is small and converges fast.

Without the mat's watts P is 1 and every C, G and R is per watt of it: temperatures and times are the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.blas import dtbsv

__all__ = ["INSIDE", "LOSS_AT_K", "PAIRS", "WALL", "Array", "Network", "Shape", "grown", "lagged", "simulate", "steady"]

# Of floats; numpy's own hints do not follow its arithmetic.
Array = NDArray[Any]
WALL, INSIDE = 0, 1
# Which nodes are joined, by order.
PAIRS: dict[int, tuple[tuple[int, int], ...]] = {1: (), 2: ((0, 1),), 3: ((0, 1), (0, 2), (1, 2))}
# The difference at which a growing loss is what R says, in K.
LOSS_AT_K = 5.0
_SWEEPS = 3
# Rounds of `steady` that tell a usual loss well enough.
_ABOUT = 4


@dataclass(frozen=True, slots=True)
class Shape:
    """How many nodes, and whether the loss grows with its difference."""

    order: int
    grows: bool

    @property
    def inside(self) -> int:
        """The node of the inside."""
        return min(INSIDE, self.order - 1)


@dataclass(frozen=True, slots=True)
class Network:
    """One tub.

    Attributes:
        capacities: J/K of each node. joins: W/K of each of `PAIRS[order]`. losses: W/K of each node to the room.
        power_w: of the mat; 1.0 where it is not known.
        lag_s: of the mat itself. loss_share: the part of the loss that grows; 0.0 in a linear network.
        wall_offset_k, inside_offset_k: what these probes read above the room's probe at the same temperature.
    """

    shape: Shape
    capacities: Array
    joins: Array
    losses: Array
    power_w: float
    lag_s: float
    loss_share: float
    wall_offset_k: float
    inside_offset_k: float

    def conductances(self, losses: Array | None = None) -> Array:
        """The symmetric matrix L of the equation, in W/K; with other losses than its own where they are given."""
        matrix = np.diag(np.array(self.losses if losses is None else losses, dtype=np.float64))
        for (i, j), joined in zip(PAIRS[self.shape.order], self.joins, strict=True):
            matrix[i, i] += joined
            matrix[j, j] += joined
            matrix[i, j] -= joined
            matrix[j, i] -= joined
        return matrix

    def readings(self, nodes: Array) -> Array:
        """What the probes of wall and inside read: (..., 2) of (..., n)."""
        offsets = np.array([self.wall_offset_k, self.inside_offset_k])
        return np.asarray(nodes[..., [WALL, self.shape.inside]] + offsets)

    def time_constants_s(self) -> Array:
        """Of the linear part, longest first."""
        root = np.sqrt(self.capacities)
        rates = np.linalg.eigvalsh(self.conductances() / np.outer(root, root))
        return np.asarray(1.0 / rates)


def grown(network: Network, over_k: Array) -> Array:
    """By how much a loss over this difference to the room is greater than linear: a factor."""
    share = network.loss_share
    # Two square roots take a tenth of the time of a power.
    return np.asarray(1.0 - share + share * np.sqrt(np.sqrt(np.abs(over_k) / LOSS_AT_K)))


def simulate(
    network: Network, start_c: Array, room_c: Array, heat: Array, step_s: float, near: Array | None = None
) -> Array:
    """All nodes at each of m instants, (m, n) in degrees Celsius.

    Args:
        start_c: (n,) nodes at the first instant. room_c: (m,) at each instant, linear between.
        heat: (m - 1,) share of each step in which heat was allowed.
        near: all nodes of a network that hardly differs. The loss then grows as it does there, which saves two thirds
            of the work, and is enough for a derivative.
    """
    capacities, root = network.capacities, np.sqrt(network.capacities)
    losses = network.losses * _usual(network, float(heat.mean()))
    rates, vectors = np.linalg.eigh(network.conductances(losses) / np.outer(root, root))
    back, into = vectors / root[:, None], vectors.T / root
    # A row for each mode: what drives it, and where that takes it.
    warming = _behind_lag(heat, network.lag_s, step_s) * network.power_w
    driven = np.outer(into @ losses, room_c) + np.outer(into[:, WALL], warming)
    modes0 = into @ (capacities * start_c)
    modes = np.empty_like(driven)
    over_k = None if near is None else near.T - room_c
    for _ in range(_SWEEPS if network.loss_share and near is None else 1):
        drive = driven
        if over_k is not None and network.loss_share:
            drive = driven + into @ ((losses[:, None] - network.losses[:, None] * grown(network, over_k)) * over_k)
        for k, rate in enumerate(rates):
            modes[k] = _mode(rate * step_s, step_s, modes0[k], drive[k])
        nodes = back @ modes
        over_k = nodes - room_c
    return np.asarray(nodes.T)


def _usual(network: Network, heat: float) -> Array:
    """By about how much each node's loss is greater than linear over a record with this mean heat."""
    if not network.loss_share:
        return np.ones(network.shape.order)
    return grown(network, np.maximum(steady(network, heat, _ABOUT), LOSS_AT_K / 2.0))


def steady(network: Network, heat: float, rounds: int = 20) -> Array:
    """(n,) kelvin of each node over the room in the end, with heat allowed for this share of the time."""
    source = np.zeros(network.shape.order)
    source[WALL] = network.power_w * heat
    over_k = np.linalg.solve(network.conductances(), source)
    # Each round leaves a quarter of the error before, or less.
    for _ in range(rounds if network.loss_share else 0):
        over_k = np.linalg.solve(network.conductances(network.losses * grown(network, over_k)), source)
    return np.asarray(over_k)


def _mode(decay: float, step_s: float, start: float, drive: Array) -> Array:
    """One first-order lag over the whole record, driven linearly between the instants."""
    kept = np.exp(-decay)
    first = -np.expm1(-decay) / decay if decay > 1e-9 else 1.0
    second = (1.0 - first) / decay if decay > 1e-5 else 0.5 - decay / 6.0
    pushed = step_s * ((first - second) * drive[:-1] + second * drive[1:])
    return lagged(start, kept, pushed)


def _behind_lag(heat: Array, lag_s: float, step_s: float) -> Array:
    """The heat that reaches the wall at each instant: (m,) of (m - 1,) shares."""
    kept = np.exp(-step_s / lag_s)
    return lagged(float(heat[0]), kept, (1.0 - kept) * heat)


def lagged(start: float, kept: float, pushed: Array) -> Array:
    """(m,) from (m - 1,): `start`, and of each value what is kept of it and what is pushed to it.

    That is a matrix with ones, and `-kept` below them, to be solved for: BLAS does. scipy.signal has a filter that is
    a third quicker, but is itself loaded in 1.7 s and 34 MB more.
    """
    band = np.empty((2, len(pushed) + 1), order="F")
    band[0], band[1] = 1.0, -kept
    values = np.concatenate([[start], pushed])
    return np.asarray(dtbsv(1, band, values, lower=1, diag=1, overwrite_x=1))
