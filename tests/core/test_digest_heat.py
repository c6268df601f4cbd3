"""A mat's reserve against what a simulated tub really can do, and the life of its relay."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi

import pytest

from digest_examples import HEAT, HOUR_S, LENGTH_S, MAT, OAK, ROOM, ROWAN, START_S
from matwarden.core.digest_heat import HeatUse, RelayLife, heat_use, relay_life, reserve
from matwarden.core.record import HeatChange, Point, Window
from matwarden.terms import Quantity
from matwarden_hardware.twin import TubPhysics

WALL = ("oak-wall", Quantity.TEMPERATURE)
ROOM_AIR = ("room", Quantity.TEMPERATURE)
STEP_S = 10.0
SETPOINT_C, HYSTERESIS_K = 25.0, 0.5


def full_rise_k(tub: TubPhysics) -> float:
    """By how much the wall stands over the room with the mat on for ever: the network itself, over 50 days."""
    return tub.network().advance((0.0, 0.0, 0.0), 50 * 86400.0, 0.0, tub.mat_w)[0]


def night_of(tub: TubPhysics, room_c: float, swing_k: float) -> Window:
    """Three days under a thermostat, of which the last is recorded; the room is coldest in the middle of each."""
    network, on, operations = tub.network(), False, 0
    nodes_c: tuple[float, ...] = (25.0, 24.0, 24.0)
    wall: list[Point] = []
    room: list[Point] = []
    heat: list[HeatChange] = []
    for step in range(round(3 * LENGTH_S / STEP_S)):
        elapsed_s = step * STEP_S - 2 * LENGTH_S
        now_c = room_c + swing_k * cos(2 * pi * elapsed_s / LENGTH_S)
        wanted = nodes_c[0] < SETPOINT_C - HYSTERESIS_K or (on and nodes_c[0] < SETPOINT_C)
        if wanted != on or elapsed_s == 0.0:
            operations += wanted and not on
            on = wanted
            if elapsed_s >= 0.0:
                reason = "below-setpoint" if on else "warm-enough"
                heat.append(HeatChange(elapsed_s, START_S + elapsed_s, "oak", on, reason, operations))
        if elapsed_s >= 0.0:
            wall.append(Point(elapsed_s, START_S + elapsed_s, nodes_c[0]))
            room.append(Point(elapsed_s, START_S + elapsed_s, now_c))
        nodes_c = network.advance(nodes_c, STEP_S, now_c, tub.mat_w if on else 0.0)
    return Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, {WALL: wall, ROOM_AIR: room}, heat, (), (), 0, ())


@pytest.mark.parametrize(("mat_w", "room_c", "swing_k"), [(8.0, 20.0, 0.0), (8.0, 19.0, 2.0), (4.5, 20.0, 2.0)])
def test_the_reserve_is_what_the_tub_can_really_do(mat_w: float, room_c: float, swing_k: float) -> None:
    """At full heat the tub's own physics hold the wall in a room colder by that much.

    Measured: 0.05 K off in a steady room, 0.19 and 0.15 K in one that swings by +-2 K over a day.
    """
    tub = TubPhysics(mat_w=mat_w)
    found = reserve(OAK, night_of(tub, room_c, swing_k), (ROOM,))
    assert found is not None
    assert found.spare_k is not None
    assert found.spare_k == pytest.approx(full_rise_k(tub) - found.rise_k, abs=0.1 if swing_k == 0.0 else 0.3)
    assert found.room_c == pytest.approx(room_c - 0.9 * swing_k, abs=0.03)


def test_colder_by_more_than_the_reserve_the_tub_cannot_hold() -> None:
    """Simulated again in a room half a kelvin colder than that the mat never rests; half a kelvin warmer it does."""
    tub = TubPhysics()
    found = reserve(OAK, night_of(tub, 20.0, 0.0), (ROOM,))
    assert found is not None
    assert found.spare_k is not None
    shares = [heat_use(OAK, night_of(tub, 20.0 - found.spare_k + off_k, 0.0)).allowed_share for off_k in (-0.5, 0.5)]
    assert shares[0] == 1.0
    assert shares[1] is not None
    assert shares[1] < 1.0


NIGHT = night_of(TubPhysics(), 20.0, 2.0)


def test_what_cannot_be_told_is_none() -> None:
    """No mat, no room probe, nothing read of the room, heat withheld for another reason all night: no reserve."""
    rowan_mat = replace(ROWAN, mat=MAT)
    silent = NIGHT._replace(series={WALL: NIGHT.series[WALL]})
    tripped = NIGHT._replace(heat=[HeatChange(0.0, START_S, "oak", False, "tripped", 40)])
    assert reserve(ROWAN, NIGHT, (ROOM,)) is None
    assert reserve(rowan_mat, NIGHT, (ROOM,)) is None
    assert reserve(OAK, NIGHT, ()) is None
    assert reserve(OAK, silent, (ROOM,)) is None
    assert reserve(OAK, tripped, (ROOM,)) is None


def test_a_mat_that_heats_without_a_break_has_no_number() -> None:
    """Over 98 % of the time: nobody knows whether it would have been enough; the share is told."""
    always = NIGHT._replace(heat=[HeatChange(0.0, START_S, "oak", True, "below-setpoint", 1)])
    found = reserve(OAK, always, (ROOM,))
    assert found is not None
    assert (found.heat_share, found.spare_k) == (1.0, None)


def test_a_tub_being_warmed_up_has_no_number() -> None:
    """A wall that rises by 4 K in the six hours is no steady state."""
    wall = [point._replace(value=20.0 + 4.0 * point.elapsed_s / LENGTH_S * 4.0) for point in NIGHT.series[WALL]]
    found = reserve(OAK, NIGHT._replace(series={**NIGHT.series, WALL: wall}), (ROOM,))
    assert found is not None
    assert found.spare_k is None


def test_the_coldest_six_hours_are_those_that_were_read() -> None:
    """Without the middle of the night another six hours are found, a tenth of them in the gap at the most."""
    room = [point for point in NIGHT.series[ROOM_AIR] if not 9 * HOUR_S <= point.elapsed_s < 15 * HOUR_S]
    found = reserve(OAK, NIGHT._replace(series={**NIGHT.series, ROOM_AIR: room}), (ROOM,))
    assert found is not None
    assert found.from_s + 6 * HOUR_S <= 9.7 * HOUR_S or found.from_s >= 14.3 * HOUR_S


def test_the_relays_life_goes_on_at_the_windows_pace() -> None:
    """42 of 100,000 used; two in a day: (100,000 - 42) / 2 days = 136.8 Julian years."""
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, {}, HEAT, (), (), 0, ())
    life = relay_life(OAK, window)
    assert life == RelayLife(42, 100_000, 0.00042, 99_958 / 2 / 365.25)
    assert relay_life(ROWAN, window) is None


def test_a_relay_that_did_not_switch_has_no_pace() -> None:
    """Nor one in a window of an hour."""
    still = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, {}, HEAT[:1], (), (), 0, ())
    brief = Window(0.0, HOUR_S, START_S, START_S + HOUR_S, {}, HEAT, (), (), 0, ())
    lives = [relay_life(OAK, window) for window in (still, brief)]
    assert [life and life.years_left for life in lives] == [None, None]


def test_no_verdict_is_no_use() -> None:
    """Never judged: no share and no life."""
    nothing = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, {}, (), (), (), 0, ())
    assert heat_use(OAK, nothing) == HeatUse(None, 0)
    assert relay_life(OAK, nothing) is None
    assert reserve(OAK, nothing, (ROOM,)) is None
