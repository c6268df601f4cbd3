"""The heat watch over long times: a summer in which heat is never asked for must not end it."""

from __future__ import annotations

import pytest

from matwarden.core.heat_watch import heat_arrives_not, heat_stays, new_watch, step

DAY_S = 86400.0


@pytest.mark.parametrize("heated_first_s", [0.0, 1800.0, 6 * 3600.0])
def test_thirty_days_of_cut_heat_are_judged_like_one(heated_first_s: float) -> None:
    """Heat long cut, wall as warm as the air: nothing stays hot, and nothing fails, however long it lasts."""
    memory = new_watch()
    at_s = 0.0
    while at_s < 30 * DAY_S:
        heated = at_s < heated_first_s
        wall_c = 27.0 if heated else 24.0 + int(at_s) % 3 / 16
        memory = step(memory, at_s, heated, wall_c, 24.0)
        stays = heat_stays(memory, True)
        heat_arrives_not(memory, True)
        if at_s > heated_first_s + 3600.0:
            assert not stays
        at_s += 60.0
