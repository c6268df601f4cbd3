"""The tub of a record on the simulated shelf: moved as its equation says, by a solver that knows nothing of it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from helpers_twin import JumpClock
from matwarden_hardware.ports import DriverError
from matwarden_hardware.twin import DailyRoom, Fault, FaultKind, FittedTub, Node, Shelf, TwinProbe, TwinRelay

_JOINS = {1: (), 2: (0.9,), 3: (0.6, 0.3, 0.7)}
_CAPACITIES = {1: (5000.0,), 2: (700.0, 5200.0), 3: (500.0, 450.0, 5000.0)}
_LOSSES = {1: (0.5,), 2: (0.12, 0.4), 3: (0.1, 0.25, 0.1)}
_PAIRS = {1: (), 2: ((0, 1),), 3: ((0, 1), (0, 2), (1, 2))}
_ROOM = DailyRoom(18.0, swing_k=6.0)


def tub(n: int, share: float = 0.0, lag_s: float = 90.0) -> FittedTub:
    return FittedTub(_CAPACITIES[n], _JOINS[n], _LOSSES[n], 8.0, lag_s, share, wall_k=0.2, inside_k=-0.1)


def solved(n: int, share: float, switched_s: list[float], at_s: np.ndarray, lid: float = 1.0) -> np.ndarray:
    """Each node by scipy (DOP853, rtol 1e-8), restarted at each switching; heat is off at first."""
    losses = np.array(_LOSSES[n])
    losses[min(1, n - 1)] *= lid

    def rate(t_s: float, y: np.ndarray, heat_w: float) -> np.ndarray:
        room_c = _ROOM.temperature_c(t_s)
        over_k = y[:n] - room_c
        flow_w = -losses * (1.0 - share + share * (np.abs(over_k) / 5.0) ** 0.25) * over_k
        for (i, j), joined in zip(_PAIRS[n], _JOINS[n], strict=True):
            flow_w[i] += joined * (y[j] - y[i])
            flow_w[j] += joined * (y[i] - y[j])
        flow_w[0] += y[n]
        return np.append(flow_w / np.array(_CAPACITIES[n]), (heat_w - y[n]) / 90.0)

    state, heat_w, told = np.append(np.full(n, 20.0), 0.0), 0.0, np.empty((len(at_s), n))
    edges = [0.0, *switched_s, float(at_s[-1])]
    for from_s, to_s in zip(edges, edges[1:], strict=False):
        within = (at_s >= from_s) & (at_s <= to_s)
        run = solve_ivp(rate, (from_s, to_s), state, "DOP853", dense_output=True, args=(heat_w,), rtol=1e-8, atol=1e-8)
        assert run.sol is not None
        told[within] = run.sol(at_s[within]).T[:, :n]
        state, heat_w = run.y[:, -1], 8.0 - heat_w
    return told


@pytest.mark.parametrize("n", [1, 2, 3])
@pytest.mark.parametrize("share", [0.0, 0.4])
def test_a_fitted_tub_is_moved_as_a_solver_moves_it(n: int, share: float) -> None:
    """Half a day with heat that comes and goes and a room that swings: wall and inside within 0.02 K throughout."""
    clock = JumpClock()
    shelf = Shelf({"oak": tub(n, share)}, _ROOM, clock, start_c=20.0)
    relay = TwinRelay(shelf, "oak")
    switched_s = [1800.0, 9000.0, 9600.0, 10_200.0, 30_000.0]
    at_s = np.arange(0.0, 43_201.0, 60.0)
    found = []
    for t_s in at_s:
        clock.at_s = 5000.0 + t_s
        found.append(shelf.temperatures_c("oak")[:2])
        if t_s in switched_s:
            relay.drive(not shelf.read_line("oak"))
    truth = solved(n, share, switched_s, at_s)[:, [0, min(1, n - 1)]] + [0.2, -0.1]
    assert np.abs(np.array(found) - truth).max() < 0.02


def test_how_a_step_is_cut_up_hardly_shows() -> None:
    """One look after two hours, or one every second: the same within 0.01 K, with a lag and a loss that grows."""
    answers = []
    for looks_n in (1, 7200):
        clock = JumpClock()
        shelf = Shelf({"oak": tub(3, 0.4)}, _ROOM, clock, start_c=20.0)
        TwinRelay(shelf, "oak").drive(True)
        for k in range(1, looks_n + 1):
            clock.at_s = 5000.0 + 7200.0 * k / looks_n
            shelf.catch_up()
        answers.append(shelf.temperatures_c("oak"))
    assert answers[0] == pytest.approx(answers[1], abs=0.01)


def test_in_the_end_the_losses_carry_away_what_the_mat_gives() -> None:
    """A welded relay for ten days: watts out are watts in, with the part of the loss that grows."""
    clock = JumpClock()
    made = tub(3, 0.4)
    welded = Fault(0.0, None, FaultKind.RELAY_WELDED, "oak")
    shelf = Shelf({"oak": made}, DailyRoom(18.0), clock, start_c=20.0, faults=[welded])
    clock.jump(864_000.0)
    wall_c, inside_c, rest_c = shelf.temperatures_c("oak")
    over_k = np.array([wall_c - 0.2, inside_c + 0.1, rest_c]) - 18.0
    carried_w = np.array(made.losses_w_per_k) * over_k * (0.6 + 0.4 * (over_k / 5.0) ** 0.25)
    assert carried_w.sum() == pytest.approx(8.0, abs=1e-4)


def test_a_lid_that_is_off_is_a_greater_loss_of_the_inside() -> None:
    """As the solver with that loss five times as great."""
    clock = JumpClock()
    fault = Fault(0.0, None, FaultKind.LID_OFF, "oak", 5.0)
    shelf = Shelf({"oak": tub(2)}, _ROOM, clock, start_c=20.0, faults=[fault])
    clock.jump(7200.0)
    truth = solved(2, 0.0, [], np.array([0.0, 7200.0]), lid=5.0)[-1] + [0.2, -0.1]
    assert shelf.temperatures_c("oak")[:2] == pytest.approx(tuple(truth), abs=0.01)


@pytest.mark.parametrize("in_inside", [False, True])
def test_a_substrate_probe_lies_in_the_rest_or_in_the_inside(in_inside: bool) -> None:
    """In the node that nobody measured, or with the inside where the substrate is what was measured there."""
    clock = JumpClock()
    made = FittedTub(
        _CAPACITIES[3],
        _JOINS[3],
        _LOSSES[3],
        8.0,
        90.0,
        inside_k=0.5,
        substrate_inside=in_inside,
        start_c=(27.0, 25.0, 23.0),
    )
    shelf = Shelf({"oak": made}, _ROOM, clock)
    probe = TwinProbe(shelf, "oak-substrate", "oak", Node.SUBSTRATE)
    assert probe.read().temperature_c == (25.5 if in_inside else 23.0)


@pytest.mark.parametrize(
    "bad",
    [
        FittedTub((500.0,), (), (-1.0,), 8.0, 90.0),
        FittedTub((500.0, 100.0), (), (0.1, 0.1), 8.0, 90.0),
        FittedTub((500.0,), (), (0.1,), 8.0, 0.0),
        FittedTub((500.0,), (), (0.1,), 8.0, 90.0, loss_share=1.5),
        FittedTub((500.0,), (), (0.1,), 8.0, 90.0, start_c=(20.0, 20.0)),
    ],
)
def test_a_fitted_tub_that_cannot_be_is_refused_by_name(bad: FittedTub) -> None:
    """Before anything is simulated."""
    with pytest.raises(DriverError, match="simulated tub oak"):
        Shelf({"oak": bad}, _ROOM, JumpClock())
