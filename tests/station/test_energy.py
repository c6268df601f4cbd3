"""What the mat gives is what the tub loses: an energy balance over days, through the running station."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from helpers_station import House, house

_STEP_S = 30.0
_DAYS_S = 6 * 86400.0
# The shelf's own defaults: W/K from wall, air and substrate to the room, and the mat's watts.
_LOSS_W_PER_K = (0.15, 0.3, 0.2)
_MAT_W = 8.0


@pytest.mark.parametrize("room", ["mean = 18.0\nswing = 4.0", "mean = 21.0"])
def test_mean_duty_balances_the_losses(room: str, tmp_path: Path) -> None:
    """Mean duty = sum of (loss x (mean node - mean room)) / watts, within 2 %: first law, over six days."""
    oak = House(house(tmp_path, room=room, step_s=_STEP_S))
    sums = [0.0, 0.0, 0.0, 0.0]
    looks_n = 0

    def look(now_s: float) -> None:
        nonlocal looks_n
        looks_n += 1
        for n, value_c in enumerate((*oak.shelf.temperatures_c("oak"), oak.shelf.room_c())):
            sums[n] += value_c

    oak.pass_time(_DAYS_S, look)
    oak.close()
    switched = [*oak.relays["oak"].switched, (_DAYS_S, False)]
    duty = sum(b - a for (a, allow), (b, _) in pairwise(switched) if allow) / _DAYS_S
    *nodes_c, room_c = (total / looks_n for total in sums)
    lost_w = sum(g * (node_c - room_c) for g, node_c in zip(_LOSS_W_PER_K, nodes_c, strict=True))
    assert 0.2 < duty < 0.9
    assert duty == pytest.approx(lost_w / _MAT_W, rel=0.02)
