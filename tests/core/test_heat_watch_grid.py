"""The heat watch over a grid of mats, walls and rooms on the twin: healthy tubs ring nothing, sick ones ring in time.

Demo data of our own; the bounds: a weld within 15 min of the first command to cut, a dead mat within 45 min of the
first demand that it does not meet.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from heat_examples import HOUR_S, Heated, TubPhysics, heated

GRID = [(watts, wall, base) for watts in (4.0, 7.0, 15.0) for wall in (250.0, 800.0) for base in (14.0, 21.0)]
over_the_grid = pytest.mark.parametrize(("mat_w", "wall_j_per_k", "day_c"), GRID)


def _night(day_c: float) -> Callable[[float], float]:
    """A room that is 3.5 K colder at 11:30 of each run's day, in straight lines."""
    points = [(0.0, 0.0), (2.5, 0.0), (11.5, -3.5), (14.0, 0.0), (24.0, 0.0)]

    def room(t_s: float) -> float:
        hour = t_s / HOUR_S % 24.0
        for (from_h, from_k), (to_h, to_k) in zip(points, points[1:], strict=False):
            if from_h <= hour <= to_h:
                return day_c + from_k + (to_k - from_k) * (hour - from_h) / (to_h - from_h)
        raise AssertionError(hour)

    return room


def _tub(
    mat_w: float, wall_j_per_k: float, day_c: float, dead_s: float | None = None, welded_s: float | None = None
) -> Heated:
    physics = TubPhysics(wall_j_per_k=wall_j_per_k, mat_w=mat_w)
    return Heated(physics=physics, room=_night(day_c), dead_s=dead_s, welded_s=welded_s)


@over_the_grid
def test_a_healthy_tub_rings_nothing_in_two_days(mat_w: float, wall_j_per_k: float, day_c: float) -> None:
    """Neither alarm, whatever the mat, the wall and the room."""
    run = heated(_tub(mat_w, wall_j_per_k, day_c), 48 * HOUR_S)
    assert (list(run.no_heat_s), list(run.stays_hot_s)) == ([], [])


@over_the_grid
def test_a_weld_is_told_within_a_quarter_of_an_hour_of_the_cut(mat_w: float, wall_j_per_k: float, day_c: float) -> None:
    """From the first command to cut that the contact does not follow; a mat never commanded to cut cannot be told."""
    run = heated(_tub(mat_w, wall_j_per_k, day_c, welded_s=9.13 * HOUR_S), 20 * HOUR_S)
    if run.cut_welded_s is not None:
        assert run.stays_hot_s
        assert 0.0 <= run.stays_hot_s[0] - run.cut_welded_s <= 15 * 60.0


@over_the_grid
def test_a_dead_mat_is_told_within_three_quarters_of_an_hour_of_the_demand(
    mat_w: float, wall_j_per_k: float, day_c: float
) -> None:
    """From the first demand after its death."""
    run = heated(_tub(mat_w, wall_j_per_k, day_c, dead_s=9.13 * HOUR_S), 20 * HOUR_S)
    assert run.wanted_dead_s is not None
    assert run.no_heat_s
    assert 0.0 <= run.no_heat_s[0] - run.wanted_dead_s <= 45 * 60.0


def test_the_grid_has_welds_that_are_commanded_to_cut() -> None:
    """Or the rule about welds would hold for want of any."""
    runs = [heated(_tub(*each, welded_s=9.13 * HOUR_S), 20 * HOUR_S) for each in GRID if each[0] >= 7.0]
    assert sum(run.cut_welded_s is not None for run in runs) >= 4
