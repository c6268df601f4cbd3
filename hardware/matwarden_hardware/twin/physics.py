"""Heat in a tub: a small linear network of nodes against a room, stepped exactly.

Law: the answer over a step depends on the step's length and inputs, never on how the step was cut up. Heat is
constant over a step; the room is constant or linear over it. There is no step too long: nothing here can go unstable.

How: with T' = -C^-1 (L T) + inputs and L symmetric, C^-1/2 L C^-1/2 is symmetric too, so it has real eigenvalues
(rates, never negative) and orthogonal eigenvectors. Each mode is then a first-order lag, whose response over any time
is an exponential. The decomposition is made once per network, the step's coefficients once per step length.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import mul
from typing import Protocol

__all__ = ["KEPT_STEPS", "Moves", "Network", "Physics", "Places", "TubPhysics"]

_Matrix = list[list[float]]

# Step lengths whose coefficients are kept: a real clock never repeats itself, so the store must not grow.
KEPT_STEPS = 256

# Where a tub's wall, air and substrate are measured: a number of its state, and kelvin above it.
Places = tuple[tuple[int, float], tuple[int, float], tuple[int, float]]


class Moves(Protocol):
    """What moves a tub's state."""

    def advance(
        self,
        nodes_c: Sequence[float],
        dt_s: float,
        room_c: float,
        heat_w: float,
        room_end_c: float | None = None,
    ) -> tuple[float, ...]:
        """The state `dt_s` seconds later: as `Network.advance`."""


class Physics(Protocol):
    """What a tub is made of: the stock tub, or one found from its record."""

    @property
    def mat_w(self) -> float: ...

    @property
    def places(self) -> Places: ...

    def begin(self, start_c: float) -> tuple[float, ...]:
        """Its state on a shelf that begins at this temperature."""

    def network(self, lid_factor: float = 1.0, cover_factor: float = 1.0) -> Moves:
        """What moves it; a ValueError where no tub can be so."""


class Network:
    """Nodes that hold heat, joined to each other and to one room.

    Args:
        capacities_j_per_k: heat capacity of each node, above 0.
        conductances_w_per_k: what joins two nodes, by the pair of their indices; 0 or left out: nothing.
        to_room_w_per_k: what joins each node to the room; 0: nothing.
        heat_into: the share of the heater's power that goes into each node.

    Raises:
        ValueError: lengths that disagree, a capacity that is not above 0, a negative or infinite conductance,
            a pair that is not two different nodes.
    """

    __slots__ = ("_capacities", "_heat_into", "_modes", "_rates_per_s", "_rows", "_to_room")

    def __init__(
        self,
        capacities_j_per_k: Sequence[float],
        conductances_w_per_k: Mapping[tuple[int, int], float],
        to_room_w_per_k: Sequence[float],
        heat_into: Sequence[float],
    ) -> None:
        n = len(capacities_j_per_k)
        if n == 0 or len(to_room_w_per_k) != n or len(heat_into) != n:
            raise ValueError("a network needs one capacity, one room conductance and one heat share for each node")
        if not all(0.0 < c < math.inf for c in capacities_j_per_k):
            raise ValueError("each capacity must be above 0 J/K: leave an absent node out of the network")
        if not all(0.0 <= g < math.inf for g in (*to_room_w_per_k, *conductances_w_per_k.values())):
            raise ValueError("each conductance must be 0 W/K or more")
        self._capacities = tuple(map(float, capacities_j_per_k))
        self._to_room = tuple(map(float, to_room_w_per_k))
        self._heat_into = tuple(map(float, heat_into))
        roots = [math.sqrt(c) for c in self._capacities]
        symmetric = [[0.0] * n for _ in range(n)]
        for i in range(n):
            symmetric[i][i] = self._to_room[i] / self._capacities[i]
        for (i, j), g in conductances_w_per_k.items():
            if i == j or not (0 <= i < n and 0 <= j < n):
                raise ValueError(f"a conductance joins two different nodes of {n}, not {i} and {j}")
            symmetric[i][i] += g / self._capacities[i]
            symmetric[j][j] += g / self._capacities[j]
            symmetric[i][j] -= g / (roots[i] * roots[j])
            symmetric[j][i] -= g / (roots[i] * roots[j])
        rates, vectors = _eigen(symmetric)
        # A node set that touches no room keeps its heat for ever: rate 0, which rounding may leave just below.
        self._rates_per_s = tuple(max(0.0, rate) for rate in rates)
        # Mode k is sum over j of modes[k][1][j] * T[j]; node i is sum over k of modes[k][0][i] * mode k.
        self._modes = tuple(
            (
                tuple(vectors[i][k] / roots[i] for i in range(n)),
                tuple(vectors[i][k] * roots[i] for i in range(n)),
            )
            for k in range(n)
        )
        self._rows: dict[float, tuple[tuple[float, ...], ...]] = {}

    def advance(
        self,
        nodes_c: Sequence[float],
        dt_s: float,
        room_c: float,
        heat_w: float,
        room_end_c: float | None = None,
    ) -> tuple[float, ...]:
        """Temperatures `dt_s` seconds later.

        Args:
            nodes_c: temperature of each node at the start.
            room_c: the room at the start of the step.
            heat_w: heater power, constant over the step.
            room_end_c: the room at the end, linear between; None: as at the start.

        Raises:
            ValueError: a negative step.
        """
        rows = self._rows.get(dt_s)
        if rows is None:
            rows = self._coefficients(dt_s)
        if room_end_c is None:
            room_end_c = room_c
        if len(rows) == 3:
            # A tub. Written out it takes half the time, and a simulated winter is a million of these.
            a_c, b_c, c_c = nodes_c
            return tuple(
                [
                    a * a_c + b * b_c + c * c_c + start * room_c + end * room_end_c + heat * heat_w
                    for a, b, c, start, end, heat in rows
                ]
            )
        known = (*nodes_c, room_c, room_end_c, heat_w)
        return tuple([sum(map(mul, row, known)) for row in rows])

    def _coefficients(self, dt_s: float) -> tuple[tuple[float, ...], ...]:
        """One row a node: its weights on every node, on the room at start and end, and on the heater's power."""
        if not 0.0 <= dt_s < math.inf:
            raise ValueError(f"a step of {dt_s} s is not a step forward")
        n = len(self._capacities)
        rows = [[0.0] * (n + 3) for _ in range(n)]
        for rate, (back, into) in zip(self._rates_per_s, self._modes, strict=True):
            decay, first, second = _responses(-rate * dt_s)
            room = sum(into[j] * self._to_room[j] / self._capacities[j] for j in range(n))
            heat = sum(into[j] * self._heat_into[j] / self._capacities[j] for j in range(n))
            weights = [decay * into[j] for j in range(n)]
            weights += [dt_s * (first - second) * room, dt_s * second * room, dt_s * first * heat]
            for i in range(n):
                row = rows[i]
                for j, weight in enumerate(weights):
                    row[j] += back[i] * weight
        if len(self._rows) >= KEPT_STEPS:
            self._rows.clear()
        made = tuple(map(tuple, rows))
        self._rows[dt_s] = made
        return made


def _responses(z: float) -> tuple[float, float, float]:
    """e^z, the mean of e^(zs) for s in 0..1, and the mean of (1-s) e^(zs), for z <= 0."""
    decay = math.exp(z)
    if z > -0.5:
        # The closed forms cancel near 0; the series has 1e-17 left after these terms.
        term, first, second = 1.0, 0.0, 0.0
        for k in range(1, 16):
            term /= k
            first += term
            second += term / (k + 1)
            term *= z
        return decay, first, second
    first = math.expm1(z) / z
    return decay, first, (first - 1.0) / z


def _eigen(matrix: _Matrix) -> tuple[list[float], _Matrix]:
    """Eigenvalues and the matrix of eigenvector columns of a symmetric matrix (cyclic Jacobi rotations)."""
    n = len(matrix)
    a = [row[:] for row in matrix]
    v = [[float(i == j) for j in range(n)] for i in range(n)]
    for _ in range(60):
        # Small against the two diagonals it joins, not against the largest: slow modes keep their own precision.
        pairs = [
            (p, q)
            for p in range(n)
            for q in range(p + 1, n)
            if abs(a[p][q]) > 1e-17 * math.sqrt(abs(a[p][p] * a[q][q])) and abs(a[p][q]) > 1e-300
        ]
        if not pairs:
            break
        for p, q in pairs:
            _rotate(a, v, p, q)
    return [a[i][i] for i in range(n)], v


def _rotate(a: _Matrix, v: _Matrix, p: int, q: int) -> None:
    """Turn the plane of p and q so that a[p][q] becomes 0."""
    off = a[p][q]
    if off == 0.0:
        return
    theta = (a[q][q] - a[p][p]) / (2.0 * off)
    t = math.copysign(1.0, theta) / (abs(theta) + math.hypot(theta, 1.0))
    c = 1.0 / math.hypot(t, 1.0)
    s = t * c
    a[p][p] -= t * off
    a[q][q] += t * off
    a[p][q] = a[q][p] = 0.0
    for k in range(len(a)):
        if k not in (p, q):
            x, y = a[k][p], a[k][q]
            a[k][p] = a[p][k] = c * x - s * y
            a[k][q] = a[q][k] = s * x + c * y
        x, y = v[k][p], v[k][q]
        v[k][p], v[k][q] = c * x - s * y, s * x + c * y


@dataclass(frozen=True, slots=True)
class TubPhysics:
    """One tub with a mat on a side wall: three nodes (wall with its mat, air, substrate) in a room.

    The defaults are an invented six-litre lidded tub, worked out from sizes, not measured: 0.04 m2 of mat and wall,
    the air with lid and litter, 2 kg of damp substrate at about 2.7 kJ/(kg K), 5 to 10 W/(m2 K) at surfaces.
    """

    wall_j_per_k: float = 250.0
    air_j_per_k: float = 120.0
    substrate_j_per_k: float = 5400.0
    wall_air_w_per_k: float = 0.9
    wall_substrate_w_per_k: float = 0.4
    air_substrate_w_per_k: float = 0.6
    wall_room_w_per_k: float = 0.15
    air_room_w_per_k: float = 0.3
    substrate_room_w_per_k: float = 0.2
    mat_w: float = 8.0

    @property
    def places(self) -> Places:
        """Each is measured at its own node."""
        return (0, 0.0), (1, 0.0), (2, 0.0)

    def begin(self, start_c: float) -> tuple[float, ...]:
        """Every node as warm as the shelf."""
        return (start_c, start_c, start_c)

    def network(self, lid_factor: float = 1.0, cover_factor: float = 1.0) -> Network:
        """The tub as a network in the order wall, air, substrate.

        Args:
            lid_factor: multiplies what joins air and room. cover_factor: what joins the wall to air and room.

        Raises:
            ValueError: a value no tub can have.
        """
        return Network(
            capacities_j_per_k=(self.wall_j_per_k, self.air_j_per_k, self.substrate_j_per_k),
            conductances_w_per_k={
                (0, 1): self.wall_air_w_per_k * cover_factor,
                (0, 2): self.wall_substrate_w_per_k,
                (1, 2): self.air_substrate_w_per_k,
            },
            to_room_w_per_k=(
                self.wall_room_w_per_k * cover_factor,
                self.air_room_w_per_k * lid_factor,
                self.substrate_room_w_per_k,
            ),
            heat_into=(1.0, 0.0, 0.0),
        )
