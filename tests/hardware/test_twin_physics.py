"""The thermal network against published cycles, textbook responses and independent solvers."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from helpers_twin import Plant, settled_cycle
from matwarden_hardware.twin import Network, TubPhysics

DAY_S = 86400.0


class Parts:
    """A network together with the numbers it was made from, for an independent computation."""

    def __init__(self, capacities: list[float], pairs: dict[tuple[int, int], float], rooms: list[float]) -> None:
        self.capacities = np.array(capacities)
        self.rooms = np.array(rooms)
        n = len(capacities)
        self.laplacian = np.diag(self.rooms)
        for (i, j), g in pairs.items():
            edge = np.zeros(n)
            edge[i], edge[j] = 1.0, -1.0
            self.laplacian += g * np.outer(edge, edge)
        self.heat_into = np.array([1.0] + [0.0] * (n - 1))
        self.network = Network(capacities, pairs, rooms, self.heat_into.tolist())

    def __repr__(self) -> str:
        return f"Parts({self.capacities}, {self.laplacian})"


@st.composite
def parts(draw: Callable[[Any], Any], most: int = 4) -> Parts:
    """One to four nodes from air to substrate, any of the couplings absent; the first node always meets the room."""
    n = draw(st.integers(1, most))
    capacity = st.floats(10.0, 1e4)
    coupling = st.one_of(st.just(0.0), st.floats(0.05, 5.0))
    capacities = [draw(capacity) for _ in range(n)]
    pairs = {(i, j): draw(coupling) for i in range(n) for j in range(i + 1, n)}
    rooms = [draw(st.floats(0.05, 5.0))] + [draw(coupling) for _ in range(n - 1)]
    return Parts(capacities, pairs, rooms)


def one_node(tau_s: float) -> Network:
    """A first-order plant with a gain of 1 K a watt."""
    return Network([tau_s], {}, [1.0], [1.0])


# Any process-control text; the plant tau dT/dt = -(T - Ta) + K u(t - dead time), on at T <= L, off at T >= H, in
# closed form, each line checked with scipy solve_ivp (DOP853, rtol 1e-11, events).
# room, gain, tau, L, H, dead time, Tmax, Tmin, t_on, period, duty
ON_OFF = [
    (20.0, 12.0, 1800.0, 24.5, 25.5, 0, 25.50000, 24.50000, 257.58152, 618.78877, 0.41627),
    (20.0, 12.0, 1800.0, 24.5, 25.5, 120, 25.91920, 24.20978, 445.92013, 1059.34456, 0.42094),
    (20.0, 12.0, 1800.0, 25.0, 27.0, 120, 27.32247, 24.67753, 806.71641, 1613.43282, 0.50000),
    (20.0, 12.0, 3600.0, 26.0, 27.0, 300, 27.39978, 25.52027, 1233.26930, 2288.15518, 0.53898),
    (18.0, 10.0, 5400.0, 24.0, 25.0, 600, 25.31548, 23.36904, 2944.42505, 4614.88574, 0.63803),
]


@pytest.mark.parametrize("row", ON_OFF)
def test_on_off_control_of_one_node_cycles_as_the_textbook_says(row: tuple[float, ...]) -> None:
    """A first-order plant with dead time has the textbook's extremes, times and duty to the last printed digit."""
    room_c, gain_k, tau_s, low_c, high_c, dead_s, top_c, bottom_c, on_s, period_s, duty = row
    cycle = settled_cycle(Plant(one_node(tau_s), 1, 0, room_c, gain_k, low_c, high_c, int(dead_s)))
    assert cycle.high_c[0] == pytest.approx(top_c, abs=1e-5)
    assert cycle.low_c[0] == pytest.approx(bottom_c, abs=1e-5)
    assert cycle.on_s == pytest.approx(on_s, abs=2e-5)
    assert cycle.period_s == pytest.approx(period_s, abs=2e-5)
    assert cycle.duty == pytest.approx(duty, abs=1e-5)


# The first row's plant looked at every so many seconds; computed elsewhere by exact hold stepping.
@pytest.mark.parametrize(
    ("poll_s", "high_c", "low_c", "period_s"),
    [(1.0, 25.5035, 24.4981, 621.1), (10.0, 25.532, 24.479, 640.2), (30.0, 25.601, 24.426, 705.1)],
)
def test_a_polled_thermostat_overshoots_by_what_its_poll_allows(
    poll_s: float, high_c: float, low_c: float, period_s: float
) -> None:
    """The same plant looked at only now and then swings wider and slower, as computed elsewhere."""
    network, t_c, heat, seen, starts = one_node(1800.0), 24.5, True, [], []
    for i in range(int(DAY_S / poll_s)):
        (t_c,) = network.advance((t_c,), poll_s, 20.0, 12.0 if heat else 0.0)
        seen.append(t_c)
        if not heat and t_c <= 24.5:
            starts.append(i * poll_s)
        heat = t_c < 25.5 if heat else t_c <= 24.5
    assert max(seen) == pytest.approx(high_c, abs=0.01)
    assert min(seen) == pytest.approx(low_c, abs=0.01)
    assert (starts[-1] - starts[0]) / (len(starts) - 1) == pytest.approx(period_s, rel=0.01)


# Heater body 300 J/K with 40 W, enclosure 6000 J/K (sensed), 1.0 K/W between them and 0.6 K/W to the room, on at
# 29.5 and off at 30.5 C: scipy solve_ivp (DOP853, rtol 1e-10, events) and closed form, which agree to 0.001 s.
TWO_NODES = [
    (15.0, 1682.067, 1042.119, 0.619547, 29.194, 30.612, 68.90),
    (20.0, 1635.388, 687.356, 0.420302, 29.362, 30.767, 66.06),
    (24.0, 2002.293, 522.279, 0.260841, 29.451, 30.948, 62.97),
]


@pytest.mark.parametrize("row", TWO_NODES)
def test_a_heater_with_a_body_of_its_own_cycles_as_computed_elsewhere(row: tuple[float, ...]) -> None:
    """A heater body beside the sensed enclosure overshoots, and takes its time, exactly as two other solvers say."""
    room_c, period_s, on_s, duty, low_c, high_c, heater_c = row
    network = Network([300.0, 6000.0], {(0, 1): 1.0}, [0.0, 1.0 / 0.6], [1.0, 0.0])
    cycle = settled_cycle(Plant(network, 2, 1, room_c, 40.0, 29.5, 30.5))
    assert cycle.period_s == pytest.approx(period_s, abs=0.001)
    assert cycle.on_s == pytest.approx(on_s, abs=0.001)
    assert cycle.duty == pytest.approx(duty, abs=1e-6)
    assert (cycle.low_c[1], cycle.high_c[1]) == pytest.approx((low_c, high_c), abs=0.0006)
    assert cycle.high_c[0] == pytest.approx(heater_c, abs=0.006)


def test_the_air_can_read_25_6_while_the_mat_is_near_40() -> None:
    """Two masses, 150 J/K of mat and 2500 J/K of chamber: computed with scipy solve_ivp, events at the band's edges."""
    network = Network([150.0, 2500.0], {(0, 1): 0.8}, [0.0, 1.0], [1.0, 0.0])
    cycle = settled_cycle(Plant(network, 2, 1, 20.0, 12.0, 24.5, 25.5))
    assert (cycle.low_c[1], cycle.high_c[1]) == pytest.approx((24.4385, 25.6315), abs=0.0001)
    assert cycle.high_c[0] == pytest.approx(39.671, abs=0.0006)
    assert cycle.period_s == pytest.approx(1562.2, abs=0.06)
    assert network.advance((20.0, 20.0), 1e6, 20.0, 12.0) == pytest.approx((47.0, 32.0))


@pytest.mark.parametrize(
    ("taus", "share"),
    # 1 - e^(-t/tau): any table of the exponential; four digits.
    [(0.1, 0.0952), (0.5, 0.3935), (1.0, 0.6321), (2.0, 0.8647), (3.0, 0.9502), (4.0, 0.9817), (5.0, 0.9933)],
)
def test_a_step_is_answered_by_63_2_percent_in_one_time_constant(taus: float, share: float) -> None:
    """One node follows a step of the room by 1 - e^(-t/tau)."""
    assert one_node(1800.0).advance((0.0,), taus * 1800.0, 1.0, 0.0)[0] == pytest.approx(share, abs=5e-5)


def test_a_lag_follows_a_ramp_late_by_slope_times_tau() -> None:
    """After many time constants a node trails a steadily warming room by slope x tau (textbook)."""
    (t_c,) = one_node(600.0).advance((10.0,), 36000.0, 10.0, 0.0, 20.0)
    assert 20.0 - t_c == pytest.approx(10.0 / 36000.0 * 600.0, rel=1e-12)


def test_a_very_slow_node_loses_no_digits_over_a_short_step() -> None:
    """One second of a rising room moves a node of tau 1e9 s by half a second's worth: dt / (2 tau), first term."""
    (t_c,) = one_node(1e9).advance((0.0,), 1.0, 0.0, 0.0, 1.0)
    assert t_c == pytest.approx(0.5e-9, rel=1e-9, abs=0.0)


@given(parts(), st.floats(0.1, 1e5), st.lists(st.floats(-10.0, 50.0), min_size=7, max_size=7))
@settings(max_examples=150, deadline=None)
def test_a_step_equals_the_matrix_exponential(made: Parts, dt_s: float, values: list[float]) -> None:
    """Any network, any step, a room in a straight line: as scipy.linalg.expm of the augmented system."""
    n = len(made.capacities)
    start_c, (room_c, room_end_c, heat_w) = values[:n], values[4:]
    augmented = np.zeros((n + 3, n + 3))
    augmented[:n, :n] = -made.laplacian / made.capacities[:, None] * dt_s
    augmented[:n, n] = made.rooms / made.capacities * dt_s
    augmented[:n, n + 2] = made.heat_into / made.capacities * dt_s
    augmented[n, n + 1] = 1.0
    expected = (expm(augmented) @ [*start_c, room_c, room_end_c - room_c, heat_w])[:n]
    got = made.network.advance(start_c, dt_s, room_c, heat_w, room_end_c)
    assert got == pytest.approx(expected.tolist(), rel=1e-8, abs=1e-7)


@given(parts(), st.floats(0.1, 1e6), st.floats(-10.0, 50.0), st.floats(-5.0, 40.0), st.floats(0.0, 20.0))
@settings(max_examples=150, deadline=None)
def test_two_half_steps_are_one_step(made: Parts, dt_s: float, start_c: float, room_c: float, heat_w: float) -> None:
    """Cutting a step in two changes nothing."""
    begin = [start_c] * len(made.capacities)
    whole = made.network.advance(begin, dt_s, room_c, heat_w, room_c + 3.0)
    half = made.network.advance(begin, dt_s / 2.0, room_c, heat_w, room_c + 1.5)
    halves = made.network.advance(half, dt_s / 2.0, room_c + 1.5, heat_w, room_c + 3.0)
    assert halves == pytest.approx(whole, rel=1e-9, abs=1e-9)


@given(parts(), st.floats(1.0, 1e5), st.floats(-5.0, 40.0), st.floats(-5.0, 40.0), st.floats(0.0, 20.0))
@settings(max_examples=60, deadline=None)
def test_no_heat_is_made_or_lost(made: Parts, dt_s: float, room_c: float, room_end_c: float, heat_w: float) -> None:
    """Heat put in = heat stored + heat gone to the room, that integrated by Gauss-Legendre along the path."""
    network, begin = made.network, np.linspace(15.0, 30.0, len(made.capacities))
    points, weights = np.polynomial.legendre.leggauss(8)
    # Intervals that double, for the fast modes die early.
    edges_s = [0.0, *(dt_s * 2.0**-k for k in range(22, -1, -1))]
    lost_j = 0.0
    for a_s, b_s in zip(edges_s, edges_s[1:], strict=False):
        for x, w in zip(points, weights, strict=True):
            t_s = a_s + (b_s - a_s) * (x + 1.0) / 2.0
            at_room_c = room_c + (room_end_c - room_c) * t_s / dt_s
            nodes_c = np.array(network.advance(begin.tolist(), t_s, room_c, heat_w, at_room_c))
            lost_j += w * (b_s - a_s) / 2.0 * float(made.rooms @ (nodes_c - at_room_c))
    end = np.array(network.advance(begin.tolist(), dt_s, room_c, heat_w, room_end_c))
    stored_j = float(made.capacities @ (end - begin))
    size_j = heat_w * dt_s + abs(lost_j) + float(made.capacities @ np.abs(end - begin)) + 1.0
    assert abs(heat_w * dt_s - stored_j - lost_j) < 1e-7 * size_j


@given(parts(), st.floats(1.0, 1e7))
@settings(max_examples=100, deadline=None)
def test_nothing_gets_warmer_than_the_warmest_thing_without_heat(made: Parts, dt_s: float) -> None:
    """With no heater, no step of any length leaves the range of the start and the room (second law)."""
    begin = np.linspace(12.0, 30.0, len(made.capacities)).tolist()
    assert all(12.0 - 1e-9 <= t <= 30.0 + 1e-9 for t in made.network.advance(begin, dt_s, 20.0, 0.0))


@pytest.mark.parametrize("step_s", [1.0, 7.2, 60.0, 3600.0, 0.5 * DAY_S])
def test_no_step_is_too_long(step_s: float) -> None:
    """A tub is the same after one day in one step and in steps of any other length."""
    network, start_c = TubPhysics().network(), (22.0, 22.0, 22.0)
    whole = network.advance(start_c, DAY_S, 16.0, 5.0)
    nodes_c: tuple[float, ...] = start_c
    for _ in range(round(DAY_S / step_s)):
        nodes_c = network.advance(nodes_c, step_s, 16.0, 5.0)
    assert nodes_c == pytest.approx(whole, rel=1e-9)


def test_ten_days_in_one_step_is_balance() -> None:
    """Far beyond its slowest time constant a tub gives to the room just what its mat puts in."""
    tub = TubPhysics()
    wall_c, air_c, substrate_c = tub.network().advance((40.0, 0.0, -20.0), 10.0 * DAY_S, 16.0, tub.mat_w)
    lost_w = (
        tub.wall_room_w_per_k * (wall_c - 16.0)
        + tub.air_room_w_per_k * (air_c - 16.0)
        + tub.substrate_room_w_per_k * (substrate_c - 16.0)
    )
    assert lost_w == pytest.approx(tub.mat_w, rel=1e-9)


@given(st.floats(0.1, 100.0), st.floats(1.0, 1e6))
@settings(deadline=None)
def test_nodes_that_touch_no_room_keep_every_joule(g_w_per_k: float, dt_s: float) -> None:
    """Two nodes joined to each other only end at their mixing temperature and rise by heat x time / capacity."""
    network = Network([100.0, 300.0], {(0, 1): g_w_per_k}, [0.0, 0.0], [1.0, 0.0])
    a_c, b_c = network.advance((40.0, 20.0), dt_s, -99.0, 2.0)
    assert (100.0 * a_c + 300.0 * b_c) / 400.0 == pytest.approx(25.0 + 2.0 * dt_s / 400.0, rel=1e-9)


@given(parts(most=3), st.floats(0.5, 5000.0))
@settings(max_examples=50, deadline=None)
def test_heat_and_room_add_up(made: Parts, dt_s: float) -> None:
    """The network is linear: what heat does and what the room does, each alone, sum to both together."""
    assume(len(made.capacities) > 1)
    nought = [0.0] * len(made.capacities)
    both = made.network.advance(nought, dt_s, 20.0, 8.0)
    room = made.network.advance(nought, dt_s, 20.0, 0.0)
    heat = made.network.advance(nought, dt_s, 0.0, 8.0)
    assert [r + h for r, h in zip(room, heat, strict=True)] == pytest.approx(both, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("capacities", "pairs", "rooms", "heat"),
    [
        ([], {}, [], []),
        ([1.0], {}, [1.0, 1.0], [1.0]),
        ([0.0], {}, [1.0], [1.0]),
        ([math.nan], {}, [1.0], [1.0]),
        ([1.0, 1.0], {(0, 1): -0.1}, [1.0, 1.0], [1.0, 0.0]),
        ([1.0, 1.0], {(0, 0): 1.0}, [1.0, 1.0], [1.0, 0.0]),
        ([1.0, 1.0], {(0, 2): 1.0}, [1.0, 1.0], [1.0, 0.0]),
        ([1.0], {}, [math.inf], [1.0]),
    ],
)
def test_a_network_that_cannot_be_is_refused(
    capacities: list[float], pairs: dict[tuple[int, int], float], rooms: list[float], heat: list[float]
) -> None:
    """No nodes, lists that disagree, no capacity, negative or endless coupling, a node joined to itself."""
    with pytest.raises(ValueError, match=r"node|capacity|conductance"):
        Network(capacities, pairs, rooms, heat)


@pytest.mark.parametrize("dt_s", [-1.0, math.inf, math.nan])
def test_a_step_back_is_refused(dt_s: float) -> None:
    """Time only goes forward."""
    with pytest.raises(ValueError, match="not a step forward"):
        one_node(10.0).advance((0.0,), dt_s, 0.0, 0.0)


def test_the_stock_tub_needs_a_wall_probe_and_its_mat_can_keep_it_warm() -> None:
    """The invented tub tells the story it is for: warm enough in a 15 C room, dangerous with a stuck mat at 20 C."""
    tub = TubPhysics()
    steady = {room_c: tub.network().advance((0.0,) * 3, 1e7, room_c, tub.mat_w) for room_c in (15.0, 20.0)}
    assert steady[15.0][1] > 25.0
    assert steady[20.0][0] > 31.0
    assert steady[15.0][0] - steady[15.0][1] > 3.0
