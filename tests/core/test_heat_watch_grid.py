"""The heat watch over a grid of mats, walls and rooms on the twin: healthy tubs ring nothing, sick ones ring in time.

Demo data of our own; the bounds: a weld within 15 min of the first command to cut, a dead mat within 45 min of the
first demand that it does not meet, a wall probe that lies within 15 min. `make tubs` goes through the wide grid.
"""

from __future__ import annotations

import pytest

from heat_examples import FAULT_S, HOUR_S, LIES, Heated, TubPhysics, heated, night

GRID = [(watts, wall, base) for watts in (4.0, 7.0, 15.0) for wall in (250.0, 800.0) for base in (14.0, 21.0)]
over_the_grid = pytest.mark.parametrize(("mat_w", "wall_j_per_k", "day_c"), GRID)


def _tub(
    mat_w: float, wall_j_per_k: float, day_c: float, dead_s: float | None = None, welded_s: float | None = None
) -> Heated:
    physics = TubPhysics(wall_j_per_k=wall_j_per_k, mat_w=mat_w)
    return Heated(physics=physics, room=night(day_c), dead_s=dead_s, welded_s=welded_s)


@over_the_grid
def test_a_healthy_tub_rings_nothing_in_two_days(mat_w: float, wall_j_per_k: float, day_c: float) -> None:
    """Neither alarm, whatever the mat, the wall and the room."""
    run = heated(_tub(mat_w, wall_j_per_k, day_c), 48 * HOUR_S)
    assert (list(run.no_heat_s), list(run.stays_hot_s)) == ([], [])


@over_the_grid
def test_a_weld_is_told_within_a_quarter_of_an_hour_of_the_cut(mat_w: float, wall_j_per_k: float, day_c: float) -> None:
    """From the first command to cut that the contact does not follow; a mat never commanded to cut cannot be told."""
    run = heated(_tub(mat_w, wall_j_per_k, day_c, welded_s=FAULT_S), 20 * HOUR_S)
    if run.cut_welded_s is not None:
        assert run.stays_hot_s
        assert 0.0 <= run.stays_hot_s[0] - run.cut_welded_s <= 15 * 60.0


@over_the_grid
def test_a_dead_mat_is_told_within_three_quarters_of_an_hour_of_the_demand(
    mat_w: float, wall_j_per_k: float, day_c: float
) -> None:
    """From the first demand after its death."""
    run = heated(_tub(mat_w, wall_j_per_k, day_c, dead_s=FAULT_S), 20 * HOUR_S)
    assert run.wanted_dead_s is not None
    assert run.no_heat_s
    assert 0.0 <= run.no_heat_s[0] - run.wanted_dead_s <= 45 * 60.0


def test_the_grid_has_welds_that_are_commanded_to_cut() -> None:
    """Or the rule about welds would hold for want of any."""
    runs = [heated(_tub(*each, welded_s=FAULT_S), 20 * HOUR_S) for each in GRID if each[0] >= 7.0]
    assert sum(run.cut_welded_s is not None for run in runs) >= 4


@pytest.mark.parametrize("lie", LIES)
@pytest.mark.parametrize("mat_w", [7.0, 15.0])
def test_a_wall_probe_that_lies_is_told_within_a_quarter_of_an_hour(lie: str, mat_w: float) -> None:
    """Of the lie, or of its doing harm where it grows slowly: 1 K an hour needs two to let the limiter pass 30.5 C."""
    matters_s = FAULT_S + (2 * HOUR_S if lie.startswith("drifts") else 0.0)
    run = heated(Heated(physics=_lied_to(mat_w), room=night(20.5), wall_reads=LIES[lie]), matters_s + HOUR_S)
    assert run.no_heat_s
    assert 0.0 <= run.no_heat_s[0] - FAULT_S <= matters_s - FAULT_S + 15 * 60.0


def test_a_wall_probe_that_drifts_by_a_kelvin_in_ten_hours_is_told_within_a_day_and_a_half() -> None:
    """Such a drift needs twenty hours to let the limiter pass 30.5 C; nothing honest is told before it begins."""
    begins_s = 48 * HOUR_S
    run = heated(
        Heated(
            physics=_lied_to(15.0),
            room=night(20.5),
            wall_reads=lambda at_s, wall_c, air_c, room_c: wall_c - max(0.0, at_s - begins_s) / (10 * HOUR_S),
        ),
        begins_s + 36 * HOUR_S,
    )
    assert run.no_heat_s
    assert run.no_heat_s[0] > begins_s + 5 * HOUR_S


def _lied_to(mat_w: float) -> TubPhysics:
    return TubPhysics(wall_j_per_k=600.0, air_j_per_k=500.0, mat_w=mat_w)
