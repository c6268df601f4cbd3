"""A tub of tests/analysis/plant.py lived through a commissioning: a polled thermostat, and the course's own holds.

The thermostat is written here, after the guard's rules 8 to 12, and the plant's equation is
stepped by the classical Runge-Kutta method (any numerics textbook): nothing of matwarden but the course is used.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from analysis.plant import AIR, WALL, Array, Plant
from matwarden.analysis.grid import Heat, Lived, Series
from matwarden.core.course import Course, CourseTerms, Deed, Noticed, turn
from matwarden.terms import Reason

# Seconds; degrees Celsius.
POLL_S = 10.0
SETPOINT_C, HYSTERESIS_K, LIMITER_C, DIFFERENTIAL_K = 25.0, 1.0, 28.5, 1.0
MINIMUM_ON_S, MINIMUM_OFF_S = 60.0, 180.0
LOW_C = 22.22
# So long the thermostat alone has had the tub before.
BEFORE_S = 3 * 3600.0
NOISE_K, FINEST_K = 0.03, 0.0625


class Went(NamedTuple):
    """How a course went: its record, and the coldest and hottest that was read in it."""

    lived: Lived
    lasted_s: float
    coldest_inside_c: float
    hottest_wall_c: float
    stopped: str


def gone_through(plant: Plant, seed: int, offsets_k: Array, room_mean_c: float = 19.0) -> Went:
    """The whole course on one plant, in a room that moves; probes as DS18B20 read, off by `offsets_k`."""
    random = np.random.default_rng(1000 + seed)
    nodes = np.full(4, 23.5)
    terms, course = CourseTerms(LOW_C), Course()
    demand = limiter = on = False
    since_s, held_until_s, now_s = -1e9, -1e9, -BEFORE_S
    rows: list[tuple[float, float, float, float, bool]] = []
    stop = ""
    while not stop and not course.over(terms):
        room_c = _room_c(room_mean_c, now_s, seed)
        read = np.array([nodes[WALL] + offsets_k[0], nodes[AIR] + offsets_k[1], room_c])
        wall_c, inside_c, read_room_c = np.round((read + random.normal(0.0, NOISE_K, 3)) / FINEST_K) * FINEST_K
        demand = inside_c <= SETPOINT_C - HYSTERESIS_K / 2 or (demand and inside_c < SETPOINT_C + HYSTERESIS_K / 2)
        hottest_c = max(wall_c, inside_c)
        limiter = hottest_c >= LIMITER_C or (limiter and hottest_c >= LIMITER_C - DIFFERENTIAL_K)
        held = now_s < held_until_s
        finishing, resting = on and now_s - since_s < MINIMUM_ON_S, not on and now_s - since_s < MINIMUM_OFF_S
        reason = (
            Reason.HELD
            if held
            else Reason.LIMITER
            if limiter
            else Reason.WARM_ENOUGH
            if not demand and not finishing
            else Reason.RESTING
            if resting
            else Reason.BELOW_SETPOINT
        )
        want = reason is Reason.BELOW_SETPOINT
        if want != on:
            on, since_s = want, now_s
        if now_s >= 0.0:
            rows.append((now_s, wall_c, inside_c, read_room_c, on))
            taken = turn(course, Noticed(inside_c, reason, held_until_s - now_s if held else None), now_s, terms)
            course, stop = taken.course, taken.stop
            if taken.deed is Deed.HOLD:
                held_until_s = now_s + terms.hold_s
            elif taken.deed is Deed.RELEASE:
                held_until_s = -1e9
        nodes = _later(plant, nodes, room_c, plant.watts if on else 0.0)
        now_s += POLL_S
    t_s, wall, inside, room, heats = (np.array(column) for column in zip(*rows, strict=True))
    changes = np.concatenate([[0], np.flatnonzero(np.diff(heats.astype(int))) + 1])
    lived = Lived([Series(t_s, wall)], [Series(t_s, inside)], [Series(t_s, room)], Heat(t_s[changes], heats[changes]))
    return Went(lived, float(t_s[-1]), float(inside.min()), float(wall.max()), stop)


def _room_c(mean_c: float, t_s: float, seed: int) -> float:
    return float(mean_c + 1.2 * np.sin(t_s / 13_750.0 + seed) + 0.1 * np.sin(t_s / 700.0))


def _later(plant: Plant, nodes: Array, room_c: float, heat_w: float) -> Array:
    first = plant.rates(nodes, room_c, heat_w)
    second = plant.rates(nodes + POLL_S / 2 * first, room_c, heat_w)
    third = plant.rates(nodes + POLL_S / 2 * second, room_c, heat_w)
    fourth = plant.rates(nodes + POLL_S * third, room_c, heat_w)
    return np.asarray(nodes + POLL_S / 6 * (first + 2 * second + 2 * third + fourth))
