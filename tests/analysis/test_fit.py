"""A tub fitted from its record, against plants that the program knows nothing of: tests/analysis/plant.py."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.plant import AIR, WALL, Plant, coldest_room, live, measured, some_plant
from matwarden.analysis.fit import Fitted, fitted
from matwarden.analysis.grid import Heat, Lived, Series, laid_out
from matwarden.analysis.network import Array, Network, Shape, simulate, steady

_BAND_LOW_C, _HOT_ROOM_C = 22.2, 28.0


def _plan(t_s: float) -> tuple[float, float] | bool:
    """A baseline, a step, a decay, a step, the thermostat, a decay: a day and a half."""
    hour = t_s / 3600.0
    if hour < 5 or 11 <= hour < 18 or hour >= 30:
        return False
    return True if hour < 24 else (23.5, 24.0)


def recorded(plant: Plant, seed: int, offsets_k: Array) -> Lived:
    random = np.random.default_rng(seed)
    lived = live(
        plant, lambda t: 19.0 + 1.2 * np.sin(t / 13_750.0 + seed) + 0.1 * np.sin(t / 700.0), _plan, 36 * 3600.0, 19.5
    )
    on = lived.heat > 0.5
    changes = np.concatenate([[0], np.flatnonzero(np.diff(on.astype(int))) + 1])

    def series(values_c: Array) -> Series:
        return Series(lived.t_s, measured(values_c, random))

    return Lived(
        [series(lived.nodes[:, WALL] + offsets_k[0])],
        [series(lived.nodes[:, AIR] + offsets_k[1])],
        [series(lived.room_c)],
        Heat(lived.t_s[changes], on[changes]),
    )


@pytest.mark.parametrize("seed", range(4))
def test_what_a_mat_holds_and_what_a_welded_relay_does_are_found(seed: int) -> None:
    """The coldest room held within 0.5 K, the welded wall within 1 K, with probes that are off by some tenths."""
    random = np.random.default_rng(seed)
    plant, offsets_k = some_plant(random), random.normal(0.0, 0.25, 2)
    network = fitted(laid_out(recorded(plant, seed, offsets_k), 30.0), plant.watts).network
    rise = steady(network, 1.0)
    held_c = _BAND_LOW_C - network.inside_offset_k - float(rise[network.shape.inside])
    welded_c = _HOT_ROOM_C + network.wall_offset_k + float(rise[0])
    assert held_c == pytest.approx(coldest_room(plant, _BAND_LOW_C - float(offsets_k[1])), abs=0.5)
    assert welded_c == pytest.approx(float(plant.steady(_HOT_ROOM_C, 1.0)[WALL] + offsets_k[0]), abs=1.0)


def test_without_watts_the_same_temperatures_come_out() -> None:
    """Per watt of the mat: rises and time constants are the same."""
    plant = some_plant(np.random.default_rng(1))
    grids = laid_out(recorded(plant, 1, np.zeros(2)), 30.0)
    known, unknown = fitted(grids, plant.watts).network, fitted(grids, 1.0).network
    assert steady(unknown, 1.0) == pytest.approx(steady(known, 1.0), abs=0.1)


def test_a_known_linear_network_is_found_again() -> None:
    """Two nodes, no loss that grows: rise and slowest time constant within 2 %, and no more than noise is left."""
    truth = Network(
        Shape(2, False), np.array([700.0, 5200.0]), np.array([0.9]), np.array([0.12, 0.4]), 8.0, 60.0, 0.0, 0.1, -0.2
    )
    random, steps = np.random.default_rng(3), 36 * 360
    t_s = np.arange(steps + 1) * 10.0
    room_c = 19.0 + 1.5 * np.sin(t_s / 13_750.0)
    on = np.array([bool(_plan(t)) for t in t_s[:-1]])
    nodes = simulate(truth, np.array([19.5, 19.5]), room_c, on.astype(float), 10.0)
    read = truth.readings(nodes)
    changes = np.concatenate([[0], np.flatnonzero(np.diff(on.astype(int))) + 1])
    lived = Lived(
        [Series(t_s, measured(read[:, 0], random))],
        [Series(t_s, measured(read[:, 1], random))],
        [Series(t_s, measured(room_c, random))],
        Heat(t_s[changes], on[changes]),
    )
    found: Fitted = fitted(laid_out(lived, 30.0), 8.0)
    assert steady(found.network, 1.0)[[0, found.network.shape.inside]] == pytest.approx(steady(truth, 1.0), rel=0.02)
    assert found.network.time_constants_s().max() == pytest.approx(truth.time_constants_s().max(), rel=0.02)
    assert max(found.rms_k) < 0.05


def test_a_gap_is_no_reading_and_ends_a_stretch() -> None:
    """Two hours without the room split the record; a probe's silence is a mask and no number."""
    t_s = np.arange(0.0, 24 * 3600.0, 10.0)
    there = (t_s < 36_000.0) | (t_s > 43_200.0)
    inside = (t_s < 7200.0) | (t_s > 10_800.0)
    grids = laid_out(
        Lived(
            [Series(t_s, np.full_like(t_s, 25.0))],
            [Series(t_s[inside], np.full(int(inside.sum()), 24.0))],
            [Series(t_s[there], np.full(int(there.sum()), 19.0))],
            Heat(np.array([0.0, 100.0]), np.array([True, False])),
        ),
        60.0,
    )
    assert [round(grid.start_s / 3600.0, 1) for grid in grids] == [0.0, 12.0]
    assert not grids[0].read[125:175, 1].any()
    assert grids[0].read[:, 0].all()
    assert grids[0].heat[0] == 1.0
    assert grids[0].heat[1] == pytest.approx(40.0 / 60.0)
