"""The thermal network against textbooks and a solver of its own: nothing of matwarden is asked twice."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from matwarden.analysis.control import Control, cooled, cycling
from matwarden.analysis.network import Network, Shape, simulate, steady

# A lag so short that the mat is the wall.
_NO_LAG_S = 1e-3


def _one_node(tau_s: float, gain_k: float) -> Network:
    """Of one watt of mat: the loss is 1/gain, the capacity what makes the time constant."""
    loss = 1.0 / gain_k
    return Network(
        Shape(1, False), np.array([tau_s * loss]), np.array([]), np.array([loss]), 1.0, _NO_LAG_S, 0.0, 0.0, 0.0
    )


def _two_nodes() -> Network:
    """300 and 6000 J/K, 40 W into the first; 1.0 K/W between, 0.6 K/W to the room."""
    losses = np.array([0.0, 1.0 / 0.6])
    return Network(Shape(2, False), np.array([300.0, 6000.0]), np.array([1.0]), losses, 40.0, _NO_LAG_S, 0.0, 0.0, 0.0)


def _three_nodes(share: float) -> Network:
    return Network(
        Shape(3, share > 0.0),
        np.array([500.0, 450.0, 5000.0]),
        np.array([0.6, 0.3, 0.7]),
        np.array([0.1, 0.25, 0.1]),
        8.0,
        90.0,
        share,
        0.0,
        0.0,
    )


@pytest.mark.parametrize(
    ("taus", "share"), [(0.1, 0.0952), (0.5, 0.3935), (1.0, 0.6321), (2.0, 0.8647), (3.0, 0.9502), (5.0, 0.9933)]
)
def test_a_first_order_step_answers_as_every_textbook_says(taus: float, share: float) -> None:
    """1 - exp(-t/tau): 63.2 % after one time constant."""
    network = _one_node(3600.0, 10.0)
    steps = round(taus * 360)
    nodes = simulate(network, np.array([20.0]), np.full(steps + 1, 20.0), np.ones(steps), 10.0)
    assert (nodes[-1, 0] - 20.0) / 10.0 == pytest.approx(share, abs=1e-4)


@pytest.mark.parametrize(
    ("room_c", "gain_k", "tau_s", "low_c", "high_c", "period_s", "duty"),
    [(20.0, 12.0, 1800.0, 24.5, 25.5, 618.78877, 0.41627)],
)
def test_an_on_off_controller_has_the_period_of_its_closed_form(
    room_c: float, gain_k: float, tau_s: float, low_c: float, high_c: float, period_s: float, duty: float
) -> None:
    """t_on + t_off of a first-order plant (process-control textbooks, from memory; checked once with solve_ivp)."""
    control = Control((low_c + high_c) / 2, high_c - low_c, 90.0, 95.0, 1.0, 0.0, 0.0, poll_s=1.0)
    cycle = cycling(_one_node(tau_s, gain_k), control, room_c)
    assert cycle.period_s == pytest.approx(period_s, rel=0.01)
    assert cycle.share == pytest.approx(duty, abs=0.005)
    # Exact over a period: the mean is the room and what the duty makes of the gain.
    assert cycle.mean_wall_c == pytest.approx(room_c + gain_k * cycle.share, abs=0.01)


@pytest.mark.parametrize(
    ("room_c", "period_s", "duty", "low_c", "high_c", "heater_c"),
    [
        (15.0, 1682.067, 0.619547, 29.194, 30.612, 68.90),
        (20.0, 1635.388, 0.420302, 29.362, 30.767, 66.06),
        (24.0, 2002.293, 0.260841, 29.451, 30.948, 62.97),
    ],
)
def test_two_nodes_under_a_thermostat(
    room_c: float, period_s: float, duty: float, low_c: float, high_c: float, heater_c: float
) -> None:
    """Computed by solve_ivp (DOP853, rtol 1e-10) and in closed form, which agree to 0.001 s."""
    cycle = cycling(_two_nodes(), Control(30.0, 1.0, 200.0, 210.0, 1.0, 0.0, 0.0, poll_s=1.0), room_c)
    assert cycle.period_s == pytest.approx(period_s, rel=0.01)
    assert cycle.share == pytest.approx(duty, rel=0.01)
    assert cycle.inside == pytest.approx((low_c, high_c), abs=0.01)
    assert cycle.wall[1] == pytest.approx(heater_c, abs=0.1)


def test_energy_in_is_energy_out() -> None:
    """In the end the losses to the room carry away what the mat gives: watts."""
    network = _two_nodes()
    over_k = steady(network, 0.5)
    assert float(network.losses @ over_k) == pytest.approx(20.0, rel=1e-9)
    grown = _three_nodes(0.4)
    over_k = steady(grown, 1.0)
    carried = grown.losses * over_k * (0.6 + 0.4 * (np.abs(over_k) / 5.0) ** 0.25)
    assert float(carried.sum()) == pytest.approx(8.0, rel=1e-6)


@pytest.mark.parametrize("share", [0.0, 0.3])
def test_a_record_is_lived_through_as_a_solver_does(share: float) -> None:
    """solve_ivp on the same equation, a room that moves and heat that comes and goes: within 0.01 K."""
    network, step_s, steps = _three_nodes(share), 30.0, 720
    t_s = np.arange(steps + 1) * step_s
    room_c = 18.0 + 2.0 * np.sin(t_s / 4000.0)
    heat = ((np.arange(steps) // 60) % 2).astype(float)
    nodes = simulate(network, np.array([20.0, 19.5, 19.0]), room_c, heat, step_s)
    matrix = network.conductances()

    def rates(t: float, y: np.ndarray) -> np.ndarray:
        room = float(np.interp(t, t_s, room_c))
        over = y[:3] - room
        growth = 1.0 - share + share * (np.abs(over) / 5.0) ** 0.25
        flows = -(matrix - np.diag(network.losses)) @ y[:3] - network.losses * growth * over
        flows[0] += network.power_w * y[3]
        return np.append(flows / network.capacities, (heat[min(int(t // step_s), steps - 1)] - y[3]) / network.lag_s)

    run = solve_ivp(rates, (0.0, t_s[-1]), [20.0, 19.5, 19.0, 0.0], t_eval=t_s, rtol=1e-7, atol=1e-8, max_step=step_s)
    assert np.abs(run.y[:3].T - nodes).max() < (0.05 if share else 0.03)


def test_a_tub_without_heat_cools_as_an_exponential() -> None:
    """tau ln(start / edge), both over the room."""
    decay = cooled(_one_node(1800.0, 12.0), np.array([25.5]), 0.0, 20.0, 22.2)
    assert decay.after_s == pytest.approx(1800.0 * np.log(5.5 / 2.2), rel=0.002)
    assert cooled(_one_node(1800.0, 12.0), np.array([25.5]), 0.0, 23.0, 22.2).after_s is None
