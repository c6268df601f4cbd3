"""A tub as it was found from its own record: one to three nodes, a mat that lags, a loss that may grow.

For node i, with T in degrees Celsius, C in J/K, G in W/K, and p the watts that reach the wall:

    C_i dT_i/dt = sum_j G_ij (T_j - T_i) - R_i f(|T_i - T_room|) (T_i - T_room) + [i = wall] p
    dp/dt = (mat - p) / lag
    f(d) = 1 - share + share (d / 5 K)^(1/4)

Nodes: 0 the wall, 1 the inside, 2 what else holds heat; of one node, wall and inside are the same. The linear part is
exact over any step, as the stock tub's is. What grows is not: it is taken as heat that leaves each node, from what it
is at the beginning of a step, and the mat's lag by its mean over the step. Steps are therefore cut to `STEP_S`, far
shorter than any tub's time constant, and how a step was cut up shows in its answer by some thousandths of a kelvin.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from matwarden_hardware.twin.physics import KEPT_STEPS, Network, Places

__all__ = ["LOSS_AT_K", "STEP_S", "FittedNetwork", "FittedTub"]

STEP_S = 10.0
# The difference at which a loss that grows is what it says.
LOSS_AT_K = 5.0
_PAIRS: tuple[tuple[tuple[int, int], ...], ...] = ((), ((0, 1),), ((0, 1), (0, 2), (1, 2)))


@dataclass(frozen=True, slots=True)
class FittedTub:
    """One tub. A mat whose watts are not known has 1 W, and everything else is per watt of it.

    Attributes:
        capacities_j_per_k: of each node, one to three.
        joins_w_per_k: what joins nodes: (wall, inside), then (wall, rest) and (inside, rest), as far as there are.
        losses_w_per_k: what joins each node to the room.
        lag_s: of the mat. loss_share: the part of the losses that grows with the difference, 0 to 1.
        wall_k, inside_k: what is measured at the wall and inside, above the node.
        substrate_inside: a substrate probe lies in the inside, not in the rest.
        start_c: each node at the start; empty: as warm as the shelf. start_w: what reaches the wall then.
    """

    capacities_j_per_k: tuple[float, ...]
    joins_w_per_k: tuple[float, ...]
    losses_w_per_k: tuple[float, ...]
    mat_w: float
    lag_s: float
    loss_share: float = 0.0
    wall_k: float = 0.0
    inside_k: float = 0.0
    substrate_inside: bool = False
    start_c: tuple[float, ...] = ()
    start_w: float = 0.0

    @property
    def places(self) -> Places:
        """Where wall, air and substrate are measured: node, and kelvin above it."""
        inside = min(1, len(self.capacities_j_per_k) - 1)
        rest = inside if self.substrate_inside else len(self.capacities_j_per_k) - 1
        return (0, self.wall_k), (inside, self.inside_k), (rest, self.inside_k if rest == inside else 0.0)

    def begin(self, start_c: float) -> tuple[float, ...]:
        """Its state at the start: each node, and the watts that reach the wall."""
        return (*(self.start_c or (start_c,) * len(self.capacities_j_per_k)), self.start_w)

    def network(self, lid_factor: float = 1.0, cover_factor: float = 1.0) -> FittedNetwork:
        """The tub with its lid off or its mat covered.

        Args:
            lid_factor: multiplies what joins inside and room: all of it, for nothing is known of the lid's own part.
            cover_factor: what joins the wall to inside and room.

        Raises:
            ValueError: a value no tub can have.
        """
        return FittedNetwork(self, lid_factor, cover_factor)


class FittedNetwork:
    """What moves a fitted tub. Its state: each node in degrees Celsius, then the watts that reach the wall.

    Raises:
        ValueError: a value no tub can have.
    """

    __slots__ = ("_by_step", "_lag_s", "_losses", "_networks", "_share")

    def __init__(self, tub: FittedTub, lid_factor: float, cover_factor: float) -> None:
        n = len(tub.capacities_j_per_k)
        if not 1 <= n <= len(_PAIRS) or len(tub.joins_w_per_k) != len(_PAIRS[n - 1]) or len(tub.losses_w_per_k) != n:
            raise ValueError("a fitted tub has one to three nodes, with a loss for each and a join for each pair")
        if not (0.0 < tub.lag_s < math.inf and 0.0 <= tub.loss_share <= 1.0):
            raise ValueError("a fitted tub needs a lag above 0 s, and a part of the loss from 0 to 1")
        if tub.start_c and len(tub.start_c) != n:
            raise ValueError("a fitted tub starts with one temperature for each node")
        joins = dict(zip(_PAIRS[n - 1], tub.joins_w_per_k, strict=True))
        losses = list(tub.losses_w_per_k)
        losses[0] *= cover_factor
        losses[min(1, n - 1)] *= lid_factor
        if n > 1:
            joins[0, 1] *= cover_factor
        # One network for heat into each node: from their answers comes the weight of everything on every node.
        self._networks = [
            Network(tub.capacities_j_per_k, joins, losses, [float(i == k) for i in range(n)]) for k in range(n)
        ]
        self._losses = tuple(losses)
        self._lag_s = tub.lag_s
        self._share = tub.loss_share
        self._by_step: dict[float, tuple[tuple[tuple[float, ...], ...], float, float]] = {}

    def advance(
        self,
        nodes_c: Sequence[float],
        dt_s: float,
        room_c: float,
        heat_w: float,
        room_end_c: float | None = None,
    ) -> tuple[float, ...]:
        """The state `dt_s` seconds later. The room is linear over the step, the mat's power constant.

        Raises:
            ValueError: a negative step.
        """
        if not 0.0 <= dt_s < math.inf:
            raise ValueError(f"a step of {dt_s} s is not a step forward")
        parts = max(1, math.ceil(dt_s / STEP_S - 1e-9))
        part_s = dt_s / parts
        rise_k = 0.0 if room_end_c is None else (room_end_c - room_c) / parts
        state = tuple(nodes_c)
        for _ in range(parts):
            state = self._step(state, part_s, room_c, room_c + rise_k, heat_w)
            room_c += rise_k
        return state

    def _step(
        self, state: tuple[float, ...], dt_s: float, room_c: float, end_c: float, heat_w: float
    ) -> tuple[float, ...]:
        rows, kept, mean = self._by_step.get(dt_s) or self._weights(dt_s)
        over_w = state[-1] - heat_w
        into = [0.0] * len(rows)
        if self._share:
            for i, loss in enumerate(self._losses):
                over_k = state[i] - room_c
                into[i] = -loss * self._share * ((abs(over_k) / LOSS_AT_K) ** 0.25 - 1.0) * over_k
        into[0] += heat_w + over_w * mean
        known = (*state[:-1], room_c, end_c, *into)
        nodes = [sum([a * b for a, b in zip(row, known, strict=True)]) for row in rows]
        return (*nodes, heat_w + over_w * kept)

    def _weights(self, dt_s: float) -> tuple[tuple[tuple[float, ...], ...], float, float]:
        """For each node its weights on nodes, room at start and end, and heat into each; and the lag's over the step.

        The linear part answers to the sum of its inputs by the sum of its answers to each.
        """
        n = len(self._networks)
        first, still = self._networks[0], (0.0,) * n
        columns = [first.advance([float(i == k) for i in range(n)], dt_s, 0.0, 0.0) for k in range(n)]
        columns += [first.advance(still, dt_s, 1.0, 0.0, 0.0), first.advance(still, dt_s, 0.0, 0.0, 1.0)]
        columns += [network.advance(still, dt_s, 0.0, 1.0) for network in self._networks]
        turns = dt_s / self._lag_s
        kept = math.exp(-turns)
        made = (tuple(zip(*columns, strict=True)), kept, -math.expm1(-turns) / turns if turns else 1.0)
        if len(self._by_step) >= KEPT_STEPS:
            self._by_step.clear()
        self._by_step[dt_s] = made
        return made
