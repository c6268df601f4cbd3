"""Statistics of a recorded series. Degree-hours: the sum of max(0, base - T) x hours, the usual definition."""

from __future__ import annotations

from collections.abc import Sequence
from timeit import timeit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.exposure import Extreme, Spell, exposure, extremes, outermost
from matwarden.core.record import Point

HOUR_S = 3600.0
# Twenty-four hourly values of a worked example; its results were computed apart from this program with numpy 2.4.6.
DAY_C = [20, 20, 19, 19, 18, 18, 19, 20, 21, 22, 23, 24, 25, 25, 25, 24, 24, 23, 22, 22, 21, 21, 20, 20]


def series(values: Sequence[float], every_s: float = HOUR_S, wall_s: float = 1e9) -> list[Point]:
    return [Point(index * every_s, wall_s + index * every_s, value) for index, value in enumerate(values)]


class TestWorkedExample:
    def test_degree_hours_under_22_c(self) -> None:
        """30 C.h below, in 13 hours; above 24 C 3 C.h; mean 21.4583 C (numpy)."""
        measured = exposure(series(DAY_C), 0.0, 24 * HOUR_S, HOUR_S, 22.0, 24.0)
        assert measured.below_kh == pytest.approx(30.0)
        assert measured.below_s == 13 * HOUR_S
        assert measured.above_kh == pytest.approx(3.0)
        assert measured.mean == pytest.approx(21.4583, abs=5e-5)

    def test_degree_hours_under_72_f(self) -> None:
        """With 72 F taken exactly the same day has 33.5552 C.h, 1.398133 degree-days (numpy, base 22.2222)."""
        measured = exposure(series(DAY_C), 0.0, 24 * HOUR_S, HOUR_S, 22.2222, 27.7778)
        assert measured.below_kh == pytest.approx(33.5552, abs=5e-4)
        assert measured.below_kh / 24 == pytest.approx(1.398133, abs=2e-5)

    def test_extremes_and_spells_of_the_day(self) -> None:
        """18 C first at hour 4; cold from hour 0 for nine hours; in the hours at 25 C over 24 C."""
        measured = exposure(series(DAY_C), 0.0, 24 * HOUR_S, HOUR_S, 22.0, 24.0)
        assert measured.lowest == Extreme(18, 1e9 + 4 * HOUR_S)
        assert measured.highest == Extreme(25, 1e9 + 12 * HOUR_S)
        assert measured.longest_below == Spell(1e9, 9 * HOUR_S)
        assert measured.longest_above == Spell(1e9 + 12 * HOUR_S, 3 * HOUR_S)


class TestMissing:
    def test_a_gap_is_missing_time_and_nothing_else(self) -> None:
        """A value holds for a minute; the rest of the hour to the next point is missing and adds no degree-hours."""
        points = [Point(0.0, 0.0, 20.0), Point(3600.0, 3600.0, 20.0)]
        measured = exposure(points, 0.0, 3660.0, 60.0, 22.0, 28.0)
        assert (measured.below_s, measured.in_band_s, measured.missing_s) == (120.0, 0.0, 3540.0)
        assert measured.below_kh == pytest.approx(120 / 3600 * 2.0)

    def test_a_gap_ends_a_spell(self) -> None:
        """Cold before and after an unread hour is two spells: nobody knows what was between."""
        points = [Point(0.0, 0.0, 20.0), Point(3600.0, 3600.0, 20.0), Point(3650.0, 3650.0, 20.0)]
        assert exposure(points, 0.0, 3700.0, 60.0, 22.0, 28.0).longest_below == Spell(3600.0, 100.0)

    def test_an_empty_series_is_all_missing(self) -> None:
        """No value is made up for it."""
        measured = exposure([], 0.0, 100.0, 60.0, 22.0, 28.0)
        assert (measured.lowest, measured.highest, measured.mean, measured.missing_s) == (
            None,
            None,
            None,
            100.0,
        )
        assert measured.longest_below is None

    def test_time_before_the_first_point_is_missing(self) -> None:
        """A series that starts late does not reach back."""
        assert exposure([Point(70.0, 0.0, 25.0)], 0.0, 100.0, 60.0, 22.0, 28.0).missing_s == 70.0


def test_the_edges_of_the_band_belong_to_the_band() -> None:
    """Exactly 22.0 and exactly 28.0 are in a band from 22 to 28."""
    assert exposure(series([22.0, 28.0]), 0.0, 2 * HOUR_S, HOUR_S, 22.0, 28.0).in_band_s == 2 * HOUR_S


def test_a_point_before_the_window_counts_for_as_long_as_it_holds() -> None:
    """Read 20 s before the window and good for 60 s: 40 s of it are in the window, and points after it are not."""
    points = [Point(-20.0, 980.0, 20.0), Point(90.0, 1090.0, 25.0), Point(200.0, 1200.0, 40.0)]
    measured = exposure(points, 0.0, 100.0, 60.0, 22.0, 28.0)
    assert (measured.below_s, measured.in_band_s, measured.missing_s) == (40.0, 10.0, 50.0)
    assert measured.longest_below == Spell(1000.0, 40.0)
    assert measured.highest == Extreme(25.0, 1090.0)


def test_a_point_at_the_very_start_leaves_nothing_of_the_one_before() -> None:
    """What was read before the window and replaced at its first instant is no extreme of it."""
    points = [Point(-10.0, 990.0, 15.0), Point(0.0, 1000.0, 25.0)]
    assert exposure(points, 0.0, 50.0, 60.0, 22.0, 28.0).lowest == Extreme(25.0, 1000.0)


def test_of_equally_long_spells_the_first_is_told() -> None:
    """Two cold hours with a warm one between: the first of them."""
    assert exposure(series([20.0, 25.0, 20.0]), 0.0, 3 * HOUR_S, HOUR_S, 22.0, 28.0).longest_below == Spell(1e9, HOUR_S)


def test_durations_do_not_follow_the_wall_clock() -> None:
    """The clock was set back by six hours in the middle of a spell: it lasts as long as it lasted."""
    points = [Point(0.0, 50_000.0, 20.0), Point(60.0, 28_460.0, 20.0)]
    assert exposure(points, 0.0, 120.0, 60.0, 22.0, 28.0).longest_below == Spell(50_000.0, 120.0)


def test_a_day_with_23_hours_has_23_hours() -> None:
    """Elapsed time counts: on the short day of a change to summer time the shares add up to 23 h."""
    measured = exposure(series(DAY_C[:23]), 0.0, 23 * HOUR_S, HOUR_S, 22.0, 28.0)
    assert measured.below_s + measured.in_band_s == 23 * HOUR_S


@pytest.mark.parametrize(("end_s", "hold_s"), [(-1.0, 60.0), (10.0, 0.0), (10.0, float("nan"))])
def test_a_window_that_makes_no_sense_is_refused(end_s: float, hold_s: float) -> None:
    """It ends before it starts, or values hold for no time."""
    with pytest.raises(ValueError, match="no window"):
        exposure([], 0.0, end_s, hold_s, 22.0, 28.0)


# Whole seconds and quarter degrees are exact in binary, so that sums can be compared exactly.
STEPS = st.lists(st.tuples(st.integers(0, 200), st.integers(-160, 340).map(lambda quarters: quarters / 4)), max_size=60)


@given(STEPS, st.integers(0, 300), st.integers(1, 120))
def test_a_brute_force_count_of_seconds_agrees(steps: list[tuple[int, float]], tail_s: int, hold_s: int) -> None:
    """Second by second, asking which value holds, gives the same times and degree-hours, and they fill the window."""
    points, at_s = [], 0
    for gap_s, value in steps:
        at_s += gap_s
        points.append(Point(float(at_s), float(at_s), value))
    end_s = at_s + tail_s
    below = inside = above = 0
    below_ks = above_ks = 0.0
    index = -1
    for second in range(end_s):
        while index + 1 < len(points) and points[index + 1].elapsed_s <= second:
            index += 1
        if index < 0 or second - points[index].elapsed_s >= hold_s:
            continue
        value = points[index].value
        below, below_ks = (below + 1, below_ks + 22.0 - value) if value < 22.0 else (below, below_ks)
        above, above_ks = (above + 1, above_ks + value - 28.0) if value > 28.0 else (above, above_ks)
        inside += 22.0 <= value <= 28.0
    measured = exposure(points, 0.0, float(end_s), float(hold_s), 22.0, 28.0)
    assert (measured.below_s, measured.in_band_s, measured.above_s) == (below, inside, above)
    assert measured.missing_s == end_s - below - inside - above
    assert measured.below_kh == pytest.approx(below_ks / 3600)
    assert measured.above_kh == pytest.approx(above_ks / 3600)


def test_of_several_probes_the_outermost_that_holds_is_taken() -> None:
    """The cold corner counts while its probe lives; when it has been silent too long the other one is left."""
    cold = [Point(0.0, 0.0, 20.0), Point(10.0, 10.0, 20.5)]
    warm = [Point(float(t), float(t), 24.0) for t in range(0, 100, 10)]
    values = [point.value for point in outermost([(cold, 30.0), (warm, 30.0)], coldest=True)]
    assert values[-1] == 24.0
    assert min(values) == 20.0
    assert {point.value for point in outermost([(cold, 30.0), (warm, 30.0)], coldest=False)} >= {24.0}


def test_extremes_keep_the_first_time_they_were_read() -> None:
    """Of equal values the earliest is told."""
    assert extremes(series([25.0, 20.0, 20.0, 25.0])) == (Extreme(20.0, 1e9 + HOUR_S), Extreme(25.0, 1e9))


def test_a_day_of_readings_is_measured_in_one_quick_pass() -> None:
    """8640 points in well under a tenth of a second even on a slow board."""
    points = series([21.0 + index % 70 / 10 for index in range(8640)], every_s=10.0)
    assert min(timeit(lambda: exposure(points, 0.0, 86400.0, 60.0, 22.0, 28.0), number=1) for _ in range(3)) < 0.1
