"""A mat, its guard and the watch on its wall over simulated days: these parts alone, on the twin's network, so that
a grid of tubs and rooms can be gone through in seconds.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from helpers_station import MAT, STALE_S, probe, tub
from matwarden.core import guard
from matwarden.core.alarm_table import HEAT_NOT_ARRIVING, HEAT_WHILE_CUT, delays
from matwarden.core.alarms import QUIET, step
from matwarden.heat_keeper import HeatKeeper
from matwarden.terms import Quality, Role, Seen, Unit
from matwarden_hardware.twin import TubPhysics

__all__ = ["FAULT_S", "HOUR_S", "LIES", "Heated", "Run", "TubPhysics", "heated", "night"]

STEP_S = 10.0
HOUR_S = 3600.0

Room = Callable[[float], float]

# The default cut-out and half a kelvin.
PAST_C = 30.5
# When a fault strikes: in the coldest part of the night.
FAULT_S = 9.13 * HOUR_S
# How a wall probe lies from then on: time, wall, air and room go in, what it reads comes out.
LIES: dict[str, Callable[[float, float, float, float], float]] = {
    "5 K low": lambda at_s, wall_c, air_c, room_c: wall_c - (5.0 if at_s >= FAULT_S else 0.0),
    "in the room": lambda at_s, wall_c, air_c, room_c: room_c if at_s >= FAULT_S else wall_c,
    "drifts by 1 K an hour": lambda at_s, wall_c, air_c, room_c: wall_c - max(0.0, at_s - FAULT_S) / HOUR_S,
    "fallen off, reads the air": lambda at_s, wall_c, air_c, room_c: air_c if at_s >= FAULT_S else wall_c,
}


def night(day_c: float) -> Room:
    """A room that is 3.5 K colder at 11:30 of each run's day, in straight lines."""
    points = [(0.0, 0.0), (2.5, 0.0), (11.5, -3.5), (14.0, 0.0), (24.0, 0.0)]

    def room(t_s: float) -> float:
        hour = t_s / HOUR_S % 24.0
        for (from_h, from_k), (to_h, to_k) in zip(points, points[1:], strict=False):
            if from_h <= hour <= to_h:
                return day_c + from_k + (to_k - from_k) * (hour - from_h) / (to_h - from_h)
        raise AssertionError(hour)

    return room


@dataclass(frozen=True, slots=True)
class Heated:
    """One tub, its probes and what goes wrong.

    Attributes:
        wall_offset_k, air_offset_k: of the probes. has_air: whether there is an air probe.
        dead_s, welded_s: from when on the mat is dead, the relay welded (from its next contact on); None: never.
        network: at a time, for an open lid. wall_reads: what the wall probe lies at: wall, air and room go in.
    """

    physics: TubPhysics
    room: Room
    wall_offset_k: float = 0.0
    air_offset_k: float = 0.0
    has_air: bool = True
    dead_s: float | None = None
    welded_s: float | None = None
    wall_reads: Callable[[float, float, float, float], float] | None = None
    lid_off: tuple[tuple[float, float], ...] = ()
    start_c: float = 24.0
    setpoint_c: float = 25.0
    seed: int = 1


@dataclass(slots=True)
class Run:
    """What came of it: times in seconds since the start.

    Attributes:
        no_heat_s, stays_hot_s: when each alarm started, each time.
        powered_dead_s: from when on a dead mat should have heated. cut_welded_s: first command to cut a welded relay.
        tripped_s: when the software cut-out tripped. past_s: when the true wall passed `PAST_C`, after `FAULT_S`.
    """

    no_heat_s: list[float]
    stays_hot_s: list[float]
    wanted_dead_s: float | None = None
    cut_welded_s: float | None = None
    tripped_s: float | None = None
    past_s: float | None = None
    allowed_share: float = 0.0
    hottest_c: float = 0.0


def heated(of: Heated, for_s: float) -> Run:
    """Let it run, with a reading every 10 s, digits of 1/16 K at the wall and 0.1 K in the air, and their noise."""
    enclosure = tub(mat=replace(MAT, setpoint_c=of.setpoint_c))
    limits = guard.limits_of(enclosure, replace(MAT, setpoint_c=of.setpoint_c))
    memory = guard.start(0.0)
    watched = enclosure if of.has_air else replace(enclosure, probes=(probe("oak-wall", Role.WALL),))
    heat = HeatKeeper(watched, Unit.C)
    run = Run([], [])
    gauss = random.Random(of.seed).gauss
    network, open_network = of.physics.network(), of.physics.network(lid_factor=5.0)
    nodes_c: tuple[float, ...] = (of.start_c, of.start_c, of.start_c)
    no_heat, stays_hot = QUIET, QUIET
    delay_n, delay_s = delays(HEAT_NOT_ARRIVING, enclosure.alarms), delays(HEAT_WHILE_CUT, enclosure.alarms)
    welded = False
    allowed_n = 0
    for n in range(int(for_s / STEP_S)):
        now_s = n * STEP_S
        wall_c, air_c, _ = nodes_c
        room_c = of.room(now_s)
        run.hottest_c = max(run.hottest_c, wall_c)
        if wall_c > PAST_C and run.past_s is None and now_s >= FAULT_S:
            run.past_s = now_s
        at_c = wall_c if of.wall_reads is None else of.wall_reads(now_s, wall_c, air_c, room_c)
        shown_c = round((at_c + of.wall_offset_k + gauss(0.0, 0.03)) * 16.0) / 16.0
        air_shown_c = round((air_c + of.air_offset_k + gauss(0.0, 0.05)) * 10.0) / 10.0
        wall = Seen(Quality.GOOD, shown_c, now_s, n + 1, "")
        air = Seen(Quality.GOOD, air_shown_c, now_s, n + 1, "")
        seen = guard.Observation(now_s, (wall,), (air,) if of.has_air else (), (), True)
        before = memory.allowed
        memory, verdict = guard.step(memory, seen, limits)
        if memory.tripped and run.tripped_s is None:
            run.tripped_s = now_s
        heat.look((("oak-wall", STALE_S),), {"oak-wall": wall}, air_shown_c, verdict.allowed, now_s)
        no_heat, change = step(
            no_heat,
            heat.arrives_not,
            memory.tripped,
            STEP_S,
            *delay_n,
            HEAT_NOT_ARRIVING,
        )
        if change is not None and change.starts:
            run.no_heat_s.append(now_s)
        stays_hot, change = step(stays_hot, heat.stays, False, STEP_S, *delay_s, HEAT_WHILE_CUT)
        if change is not None and change.starts:
            run.stays_hot_s.append(now_s)
        allowed_n += verdict.allowed
        dead = of.dead_s is not None and now_s >= of.dead_s
        if verdict.allowed and of.welded_s is not None and now_s >= of.welded_s:
            welded = True
        if welded and before and not verdict.allowed and run.cut_welded_s is None:
            run.cut_welded_s = now_s
        if dead and verdict.allowed and run.wanted_dead_s is None:
            run.wanted_dead_s = now_s
        heat_w = of.physics.mat_w if (verdict.allowed or welded) and not dead else 0.0
        open_lid = any(a <= now_s < b for a, b in of.lid_off)
        lid = open_network if open_lid else network
        nodes_c = lid.advance(nodes_c, STEP_S, room_c, heat_w, of.room(now_s + STEP_S))
    run.allowed_share = allowed_n * STEP_S / for_s
    return run
