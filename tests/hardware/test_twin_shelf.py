"""The shelf as a whole: it is integrated right, whoever looks at it and however often."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from helpers_twin import TUBS, JumpClock, shelf_at
from matwarden_hardware.ports import DriverError
from matwarden_hardware.twin import (
    ROOM,
    DailyRoom,
    Fault,
    FaultKind,
    Node,
    Room,
    Shelf,
    TubPhysics,
    TwinProbe,
    TwinRelay,
)

DAY_S = 86400.0
TUB = TubPhysics()


def solved(
    room: Room, edges: Sequence[tuple[float, float]], start_c: float, at_s: Sequence[float], lid: float = 1.0
) -> list[tuple[float, ...]]:
    """The stock tub by scipy (DOP853, rtol 1e-10): `edges` are (time, mat watts from then on), restarted at each."""

    def rate(t_s: float, y: np.ndarray, heat_w: float) -> list[float]:
        wall, air, ground = y
        outside = room.temperature_c(t_s)
        to_air, to_ground = TUB.wall_air_w_per_k * (wall - air), TUB.wall_substrate_w_per_k * (wall - ground)
        down = TUB.air_substrate_w_per_k * (air - ground)
        return [
            (heat_w - to_air - to_ground - TUB.wall_room_w_per_k * (wall - outside)) / TUB.wall_j_per_k,
            (to_air - down - TUB.air_room_w_per_k * lid * (air - outside)) / TUB.air_j_per_k,
            (to_ground + down - TUB.substrate_room_w_per_k * (ground - outside)) / TUB.substrate_j_per_k,
        ]

    found: dict[float, tuple[float, ...]] = {}
    y = np.full(3, start_c)
    ends = [*(t for t, _ in edges[1:]), at_s[-1]]
    for (from_s, heat_w), to_s in zip(edges, ends, strict=True):
        inside = [t for t in at_s if from_s <= t <= to_s]
        answer = solve_ivp(
            rate, (from_s, to_s), y, "DOP853", sorted({*inside, to_s}), args=(heat_w,), rtol=1e-10, atol=1e-10
        )
        found |= {float(t): tuple(map(float, column)) for t, column in zip(answer.t, answer.y.T, strict=True)}
        y = answer.y[:, -1]
    return [found[t] for t in at_s]


def test_a_day_with_a_switching_relay_and_a_moving_room_is_as_scipy_solves_it() -> None:
    """Polled every 10 s by a thermostat in a room that swings 8 K, the tub is within 0.001 K of DOP853 all day."""
    clock, room = JumpClock(), DailyRoom(16.0, swing_k=8.0)
    shelf = shelf_at(clock, room, start_c=20.0)
    probe, relay = TwinProbe(shelf, "oak-air", "oak", Node.AIR), TwinRelay(shelf, "oak")
    edges, times, got = [(0.0, 0.0)], [], []
    for step in range(1, int(DAY_S / 10.0) + 1):
        clock.jump(10.0)
        air_c = probe.read().temperature_c
        allow = air_c <= 24.0 if not relay.contact_closed else air_c < 24.5
        if allow != relay.contact_closed:
            relay.drive(allow)
            edges.append((step * 10.0, TUB.mat_w if allow else 0.0))
        if step % 60 == 0:
            times.append(step * 10.0)
            got.append(shelf.temperatures_c("oak"))
    assert len(edges) > 20
    assert np.array(got) == pytest.approx(np.array(solved(room, edges, 20.0, times)), abs=1e-3)


def test_a_shelf_nobody_looks_at_for_a_day_is_as_scipy_solves_it() -> None:
    """One look after a day of moving room: no error from the long sleep."""
    clock, room = JumpClock(), DailyRoom(18.0, swing_k=10.0)
    shelf = shelf_at(clock, room, start_c=22.0)
    clock.jump(DAY_S)
    (expected,) = solved(room, [(0.0, 0.0)], 22.0, [DAY_S])
    assert shelf.temperatures_c("oak") == pytest.approx(expected, abs=1e-3)


def test_faults_take_hold_and_let_go_at_their_own_times() -> None:
    """A welded relay and a lifted lid between two looks count from their start to their end, not from the look."""
    clock = JumpClock()
    faults = [
        Fault(1000.5, 4000.25, FaultKind.RELAY_WELDED, "oak"),
        Fault(0.0, None, FaultKind.LID_OFF, "oak", 3.0),
    ]
    shelf = shelf_at(clock, faults=faults, start_c=22.0)
    clock.jump(9000.0)
    edges = [(0.0, 0.0), (1000.5, TUB.mat_w), (4000.25, 0.0)]
    (expected,) = solved(DailyRoom(18.0), edges, 22.0, [9000.0], lid=3.0)
    assert shelf.temperatures_c("oak") == pytest.approx(expected, abs=1e-6)


def test_a_room_fault_moves_the_room_at_once_and_for_as_long_as_it_lasts() -> None:
    """The room steps by the amount at the fault's start and back at its end."""
    clock = JumpClock()
    shelf = shelf_at(clock, faults=[Fault(60.0, 120.0, FaultKind.ROOM_OFFSET, ROOM, -5.0)])
    seen = []
    for _ in range(5):
        seen.append(shelf.room_c())
        clock.jump(30.0)
    assert seen == [18.0, 18.0, 13.0, 13.0, 18.0]


@given(st.lists(st.floats(0.001, 4000.0), min_size=1, max_size=40))
@settings(max_examples=40, deadline=None)
def test_looking_changes_nothing(jumps: list[float]) -> None:
    """However often and irregularly it is looked at, a shelf in a steady room ends in the same state."""
    looked, left = JumpClock(), JumpClock()
    faults = [Fault(700.0, 2500.0, FaultKind.RELAY_WELDED, "oak")]
    often, once = (shelf_at(clock, faults=faults, start_c=25.0) for clock in (looked, left))
    for by_s in jumps:
        looked.jump(by_s)
        often.temperatures_c("oak")
    left.at_s = looked.at_s
    assert often.temperatures_c("oak") == pytest.approx(once.temperatures_c("oak"), abs=1e-9)


def run(seed: int) -> list[float]:
    clock = JumpClock()
    shelf = shelf_at(clock, DailyRoom(16.0, 6.0), seed=seed)
    probes = [TwinProbe(shelf, f"{tub}-air", tub, Node.AIR, noise_k=0.1) for tub in TUBS]
    readings = []
    for _ in range(50):
        clock.jump(10.0)
        readings += [probe.read().temperature_c for probe in probes]
    return readings


def test_the_same_seed_tells_the_same_story_and_another_seed_another() -> None:
    """All noise comes from the seed; each probe has noise of its own."""
    assert run(7) == run(7)
    assert run(7) != run(8)
    assert len({tuple(run(7)[i::4]) for i in range(4)}) == 4


def test_a_clock_that_runs_back_moves_nothing() -> None:
    """Time lost is waited for: the shelf goes on where it was once the clock has passed that point again."""
    clock = JumpClock()
    shelf = shelf_at(clock, start_c=25.0)
    clock.jump(600.0)
    before = shelf.temperatures_c("oak")
    clock.jump(-300.0)
    assert shelf.temperatures_c("oak") == before
    assert shelf.t_s == 600.0


def test_tubs_do_not_warm_each_other() -> None:
    """One tub's mat is no other's."""
    clock = JumpClock()
    shelf = shelf_at(clock, start_c=18.0)
    TwinRelay(shelf, "oak").drive(True)
    clock.jump(3600.0)
    assert shelf.temperatures_c("oak").air_c > 20.0
    assert shelf.temperatures_c("alder").air_c == pytest.approx(18.0, abs=1e-9)


def test_a_shelf_starts_at_the_temperature_of_its_room_unless_told() -> None:
    """No start temperature: everything has long stood in the room."""
    assert shelf_at(JumpClock(), DailyRoom(19.5)).temperatures_c("oak") == pytest.approx((19.5,) * 3)


class GivingWayRoom:
    """A steady room that lets another thread run each time it is asked: the worst moment for two to be inside."""

    def temperature_c(self, t_s: float) -> float:
        time.sleep(0.0)
        return 18.0


def test_threads_may_look_at_once() -> None:
    """Eight threads pushing one clock on and reading leave the shelf as one thread would."""
    clock = JumpClock()
    shelf = shelf_at(clock, GivingWayRoom(), start_c=25.0)

    def look() -> None:
        for _ in range(300):
            clock.jump(1.0)
            shelf.temperatures_c("oak")

    threads = [threading.Thread(target=look) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    alone_clock = JumpClock()
    alone = shelf_at(alone_clock, start_c=25.0)
    alone_clock.at_s = clock.at_s
    assert shelf.temperatures_c("oak") == pytest.approx(alone.temperatures_c("oak"), abs=1e-9)


@pytest.mark.parametrize("bad", [TubPhysics(air_j_per_k=0.0), TubPhysics(air_room_w_per_k=-1.0)])
def test_a_tub_that_cannot_be_is_refused_by_name(bad: TubPhysics) -> None:
    """The error says which tub."""
    with pytest.raises(DriverError, match="simulated tub oak"):
        Shelf({"oak": bad}, DailyRoom(18.0), JumpClock())


def test_a_tub_that_is_not_there_is_named_with_those_that_are() -> None:
    """Probe, relay and fault on a stranger are refused alike."""
    shelf = shelf_at(JumpClock())
    says = "no simulated tub 'elm': the shelf has oak, alder, hazel, rowan"
    with pytest.raises(DriverError, match=says):
        TwinProbe(shelf, "elm-air", "elm", Node.AIR)
    with pytest.raises(DriverError, match=says):
        TwinRelay(shelf, "elm")
    with pytest.raises(DriverError, match=says):
        shelf.inject(Fault(0.0, None, FaultKind.LID_OFF, "elm", 2.0))
