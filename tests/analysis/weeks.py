"""Many plants at once, under a thermostat that polls: whole weeks of them in seconds.

The equations are those of plant.py, with arrays for its numbers: one column a plant. They are stepped by the classical
Runge-Kutta method of fourth order at the thermostat's own polls of ten or thirty seconds, where the fastest node takes
half a minute; nothing of matwarden is used. test_drift.py holds it to plant.py's solver.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from typing import Any, NamedTuple

import numpy as np

from analysis.plant import AIR, WALL, Array, Plant, measured
from matwarden.analysis.grid import Heat, Series
from matwarden.analysis.grid import Lived as Recorded

POLL_S, DAY_S = 10.0, 86_400.0
# A plant whose numbers are arrays.
Many = Any
# (n,) rooms at a time in seconds.
Room = Callable[[float], Array]


class Weeks(NamedTuple):
    """Polls of n plants: times (m,), nodes (m, 4, n), room (m, n), heat from each poll to the next (m, n)."""

    t_s: Array
    nodes: Array
    room_c: Array
    heat: Array


def together(plants: Sequence[Plant]) -> Many:
    """One plant whose numbers are arrays."""
    rows: dict[str, Any] = {
        f.name: np.stack([np.asarray(getattr(p, f.name)) for p in plants], axis=-1) for f in fields(Plant)
    }
    return Plant(**rows)


def live_all(
    plant: Many,
    room: Room,
    lasts_s: float,
    start_c: Array | float,
    switch_c: tuple[float, float] = (23.75, 24.25),
    plan: Callable[[float], int] = lambda _: -1,
    changes: Callable[[float, Many], Many] = lambda _, plant: plant,
    sensed: Callable[[Array, Array], Array] = lambda nodes, _: nodes[AIR],
    poll_s: float = POLL_S,
) -> Weeks:
    """Live through it.

    Args:
        switch_c: on at and below, off at and above what is `sensed`. plan: 1 and 0 force heat, -1 leaves it.
        changes: the plant at a time.
    """
    m, n = round(lasts_s / poll_s) + 1, plant.capacities.shape[-1]
    nodes = np.empty((m, 4, n))
    rooms, heat = np.empty((m, n)), np.zeros((m, n))
    nodes[0] = start_c
    on = np.zeros(n)
    for k in range(m):
        now_s = k * poll_s
        rooms[k] = room(now_s)
        forced = plan(now_s)
        felt = sensed(nodes[k], rooms[k])
        asked = np.where(felt <= switch_c[0], 1.0, np.where(felt >= switch_c[1], 0.0, on))
        on = asked if forced < 0 else np.full(n, float(forced))
        heat[k] = on
        if k + 1 == m:
            break
        here, x, h = changes(now_s, plant), nodes[k], poll_s
        middle, then, watts = room(now_s + h / 2), room(now_s + h), on * here.watts
        k1 = here.rates(x, rooms[k], watts)
        k2 = here.rates(x + h / 2 * k1, middle, watts)
        k3 = here.rates(x + h / 2 * k2, middle, watts)
        k4 = here.rates(x + h * k3, then, watts)
        nodes[k + 1] = x + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    return Weeks(np.arange(m) * poll_s, nodes, rooms, heat)


def some_room(seeds: Sequence[int], mean_c: float = 18.5) -> Room:
    """Rooms with a day, weather of days, and what doors and people do within hours."""
    random = [np.random.default_rng(1000 + seed) for seed in seeds]
    phase = np.array([r.uniform(0.0, 2 * np.pi, 5) for r in random])
    size = np.array([r.uniform(0.5, 1.0, 5) for r in random]) * np.array([1.3, 0.9, 0.4, 0.25, 0.12])
    period_h = np.array([r.uniform(0.9, 1.1, 5) for r in random]) * np.array([24.0, 71.0, 7.3, 2.9, 0.7])
    period_h[:, 0] = 24.0

    def room(t_s: float) -> Array:
        return np.asarray(mean_c + (size * np.sin(2 * np.pi * t_s / 3600.0 / period_h + phase)).sum(axis=1))

    return room


Reads = Callable[[Array, Array], Array]


def record(
    weeks: Weeks,
    index: int,
    seed: int,
    offsets_k: Sequence[float] | Array = (0.0, 0.0),
    wall: Reads = lambda nodes, _: nodes[:, WALL],
    inside: Reads = lambda nodes, _: nodes[:, AIR],
    every: int = 1,
) -> Recorded:
    """What one plant's DS18B20 said at every so many polls, and its heat. `wall`, `inside`: what their probes feel."""
    random = np.random.default_rng(seed)
    nodes, room_c, on = weeks.nodes[:, :, index], weeks.room_c[:, index], weeks.heat[:, index] > 0.5
    turned = np.concatenate([[0], np.flatnonzero(np.diff(on.astype(int))) + 1])

    def series(values_c: Array) -> Series:
        return Series(weeks.t_s[::every], measured(values_c[::every], random))

    return Recorded(
        [series(wall(nodes, room_c) + offsets_k[0])],
        [series(inside(nodes, room_c) + offsets_k[1])],
        [series(room_c)],
        Heat(weeks.t_s[turned], on[turned]),
    )


def changed(plant: Many, **factors: float) -> Many:
    """With some of its numbers by a factor."""
    return replace(plant, **{name: factor * getattr(plant, name) for name, factor in factors.items()})
