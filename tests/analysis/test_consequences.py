"""What follows from a fitted tub, against a plant that the program knows nothing of."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.plant import WALL, coldest_room, some_plant
from analysis.test_fit import recorded
from matwarden.analysis.consequences import Rooms, coldest_room_c, findings
from matwarden.analysis.control import Control, cycling
from matwarden.analysis.fit import fitted
from matwarden.analysis.grid import laid_out

_CONTROL = Control(25.0, 1.0, 60.0, 62.0, 1.0, 60.0, 180.0)


def test_the_intervals_hold_the_plants_own_numbers() -> None:
    """The coldest room that full heat holds, and the wall behind a welded relay; each with its unit."""
    plant = some_plant(np.random.default_rng(5))
    fit = fitted(laid_out(recorded(plant, 5, np.zeros(2)), 30.0), plant.watts)
    found = findings(fit, _CONTROL, 22.2, Rooms(16.0, 19.0, 24.0), watts_known=True)
    for estimate, truth in (
        (found.coldest_room, coldest_room(plant, 22.2)),
        (found.welded_wall, float(plant.steady(24.0, 1.0)[WALL])),
    ):
        assert estimate.low is not None
        assert estimate.high is not None
        assert estimate.unit == "C"
        assert estimate.low <= truth <= estimate.high
        assert estimate.high - estimate.low < 2.0


def test_a_limiter_that_acts_needs_a_warmer_room() -> None:
    """In the coldest room that is told, the inside's lowest is just the band's edge, with the limiter at work."""
    plant = some_plant(np.random.default_rng(5))
    network = fitted(laid_out(recorded(plant, 5, np.zeros(2)), 30.0), plant.watts).network
    limited = Control(80.0, 1.0, 25.5, 30.0, 1.0, 60.0, 180.0)
    free_c, held_c = (coldest_room_c(network, control, 22.2) for control in (_CONTROL, limited))
    assert held_c > free_c + 1.0
    assert cycling(network, limited, held_c).inside[0] == pytest.approx(22.2, abs=0.1)
