"""A tub that the program knows nothing of: four nodes, a loss that grows with its difference, switched exactly.

It is solved by scipy's `solve_ivp` with events at each switching; nothing of matwarden is used. Nodes: mat, wall, air,
substrate. The loss to the room has a part that convection makes grow with the fourth root of the difference (natural
convection at a vertical plate, laminar: Nu ~ Ra^(1/4), any heat-transfer textbook, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

# Of floats; numpy's own hints do not follow its arithmetic.
Array = NDArray[Any]
MAT, WALL, AIR, SUBSTRATE = range(4)
# The difference at which the stated conductance holds.
_AT_K = 5.0


@dataclass(frozen=True, slots=True)
class Plant:
    """Capacities in J/K, conductances in W/K, heater in W. `convective`: the share of the loss that is not linear."""

    capacities: Array
    mat_wall: float
    mat_room: float
    wall_air: float
    wall_substrate: float
    air_substrate: float
    wall_room: float
    air_room: float
    substrate_room: float
    watts: float
    convective: float

    def loss(self, g: float, over_k: Array | float) -> Array | float:
        grown = (np.abs(over_k) / _AT_K) ** 0.25
        return g * over_k * (1.0 - self.convective + self.convective * grown)

    def rates(self, nodes: Array, room_c: float, heat_w: float) -> Array:
        """Kelvin a second of each node."""
        m, w, a, s = nodes
        mw, wa, ws = self.mat_wall * (m - w), self.wall_air * (w - a), self.wall_substrate * (w - s)
        as_ = self.air_substrate * (a - s)
        flows = (
            heat_w - mw - self.loss(self.mat_room, m - room_c),
            mw - wa - ws - self.loss(self.wall_room, w - room_c),
            wa - as_ - self.loss(self.air_room, a - room_c),
            ws + as_ - self.loss(self.substrate_room, s - room_c),
        )
        return np.array(flows) / self.capacities

    def steady(self, room_c: float, share: float) -> Array:
        """The nodes in the end, with heat on for this share of the time (switched fast)."""
        from scipy.optimize import fsolve

        def flows(nodes: Array) -> Array:
            return np.asarray(self.rates(nodes, room_c, share * self.watts) * self.capacities)

        return np.asarray(fsolve(flows, np.full(4, room_c + 3.0)))


class Lived(NamedTuple):
    """Samples every `step_s`: nodes (n, 4), room, and the share of each step in which heat was on."""

    t_s: Array
    nodes: Array
    room_c: Array
    heat: Array
    switched_on: int


def live(
    plant: Plant,
    room_c: Callable[[float], float],
    plan: Callable[[float], tuple[float, float] | bool],
    lasts_s: float,
    start_c: Array | float,
    step_s: float = 10.0,
    stretch_s: float = 1800.0,
    sensed: int = AIR,
) -> Lived:
    """Live through a plan: at each stretch's start `plan(t)` says (on at, off at) of the sensed node, or on, or off."""
    n = round(lasts_s / step_s)
    t = np.arange(n + 1) * step_s
    nodes = np.empty((n + 1, 4))
    on_s = np.zeros(n + 1)
    now, state = 0.0, np.broadcast_to(np.asarray(start_c, float), (4,)).copy()
    on, switched = False, 0
    while now < lasts_s - 1e-6:
        ends = min(now + stretch_s, lasts_s)
        rule = plan(now)
        if isinstance(rule, bool):
            switched += rule and not on
            on = rule
        while now < ends - 1e-6:
            events = []
            if not isinstance(rule, bool):
                low, high = rule
                if (on and state[sensed] >= high) or (not on and state[sensed] <= low):
                    on = not on
                    switched += on
                limit = high if on else low

                def crossing(_: float, y: Array, limit: float = limit) -> float:
                    return float(y[sensed] - limit)

                crossing.terminal = True  # type: ignore[attr-defined]
                crossing.direction = 1.0 if on else -1.0  # type: ignore[attr-defined]
                events.append(crossing)
            heat_w = plant.watts if on else 0.0
            run = solve_ivp(
                lambda s, y, h=heat_w: plant.rates(y, room_c(s), h),
                (now, ends),
                state,
                method="LSODA",
                rtol=1e-7,
                atol=1e-7,
                events=events or None,
                dense_output=True,
            )
            then = float(run.t[-1])
            first, last = int(np.ceil(now / step_s - 1e-9)), int(np.floor(then / step_s + 1e-9))
            inside = t[first : last + 1]
            assert run.sol is not None
            nodes[first : last + 1] = run.sol(inside).T
            if on:
                k = np.arange(int(now // step_s), int(np.ceil(then / step_s)))
                on_s[k] += np.clip(np.minimum(then, (k + 1) * step_s) - np.maximum(now, k * step_s), 0.0, None)
            now, state = then, run.y[:, -1]
            if events and run.status == 1:
                on = not on
                switched += on
    rooms = np.array([room_c(x) for x in t])
    return Lived(t, nodes, rooms, on_s / step_s, switched)


def some_plant(rng: np.random.Generator) -> Plant:
    """A tub as they come: small mat, 7 to 40 litres, damp substrate."""

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    return Plant(
        capacities=np.array([between(60, 180), between(350, 900), between(250, 700), between(3000, 9000)]),
        mat_wall=between(0.8, 2.0),
        mat_room=between(0.02, 0.06),
        wall_air=between(0.4, 0.9),
        wall_substrate=between(0.15, 0.5),
        air_substrate=between(0.4, 1.0),
        wall_room=between(0.06, 0.15),
        air_room=between(0.15, 0.35),
        substrate_room=between(0.05, 0.15),
        watts=between(5.0, 12.0),
        convective=float(rng.uniform(0.0, 0.5)),
    )


def measured(values_c: Array, rng: np.random.Generator, noise_k: float = 0.03) -> Array:
    """As a DS18B20 reads it: noise, then steps of 1/16 K (datasheet, table 1)."""
    return np.round((values_c + rng.normal(0.0, noise_k, values_c.shape)) * 16.0) / 16.0


def coldest_room(plant: Plant, low_c: float, node: int = AIR) -> float:
    """The room in which full heat just holds `node` at `low_c`."""
    return float(brentq(lambda room: plant.steady(room, 1.0)[node] - low_c, low_c - 60.0, low_c))
