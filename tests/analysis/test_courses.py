"""What a commissioning's record tells, on plants that the program knows nothing of."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.courses import (
    DIFFERENTIAL_K,
    HYSTERESIS_K,
    LIMITER_C,
    LOW_C,
    MINIMUM_OFF_S,
    MINIMUM_ON_S,
    SETPOINT_C,
    gone_through,
)
from analysis.plant import WALL, coldest_room, some_plant
from matwarden.analysis.control import Control
from matwarden.analysis.network import steady
from matwarden.analysis.telling import tell

_CONTROL = Control(SETPOINT_C, HYSTERESIS_K, LIMITER_C, 30.0, DIFFERENTIAL_K, MINIMUM_ON_S, MINIMUM_OFF_S)
_HOT_ROOM_C = 28.0


# 37 is the quickest of forty, 11 one of the slowest, 29 and 30 were once called fallen probes.
@pytest.mark.parametrize("seed", [1, 11, 29, 30, 37])
def test_a_course_tells_what_the_mat_holds_and_never_makes_the_tub_cold(seed: int) -> None:
    """Within a day: the coldest room held within 0.5 K, the welded wall within 1 K; nothing is refused."""
    random = np.random.default_rng(seed)
    plant, offsets_k = some_plant(random), random.normal(0.0, 0.25, 2)
    went = gone_through(plant, seed, offsets_k)
    assert went.stopped == ""
    assert 8 * 3600.0 < went.lasted_s < 24 * 3600.0
    assert went.coldest_inside_c > LOW_C
    # A poll late, and what is stored in the mat.
    assert went.hottest_wall_c < LIMITER_C + 0.5
    told = tell(went.lived, plant.watts, _CONTROL, LOW_C)
    assert told.refusals == ()
    assert told.fit is not None
    network = told.fit.network
    rise_k = steady(network, 1.0)
    held_c = LOW_C - network.inside_offset_k - float(rise_k[network.shape.inside])
    welded_c = _HOT_ROOM_C + network.wall_offset_k + float(rise_k[0])
    assert held_c == pytest.approx(coldest_room(plant, LOW_C - float(offsets_k[1])), abs=0.5)
    assert welded_c == pytest.approx(float(plant.steady(_HOT_ROOM_C, 1.0)[WALL] + offsets_k[0]), abs=1.0)
