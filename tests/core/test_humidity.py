"""The humidity of a night: its figures reckoned again with numpy and CoolProp, its sides, its missing time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from digest_examples import EVERY_S, HOUR_S, LENGTH_S, START_S, probe, steady
from matwarden.core.humidity import HumidityNight, SidesNight, air_that_counts, humidity_nights, sides_night
from matwarden.core.humidity_document import humidity_document, sides_document
from matwarden.core.record import Point, SeriesKey, Window
from matwarden.report.humidity_text import humidity_lines
from matwarden.terms import Quantity, Role, Side, Unit

MOIST, DRY = probe("oak-moist", Role.AIR, "oak", Side.MOIST), probe("oak-dry", Role.AIR, "oak", Side.DRY)
WARM_MOIST, RH_MOIST = ("oak-moist", Quantity.TEMPERATURE), ("oak-moist", Quantity.HUMIDITY)
WARM_DRY, RH_DRY = ("oak-dry", Quantity.TEMPERATURE), ("oak-dry", Quantity.HUMIDITY)
ZERO_C_K = 273.15


def window(series: Mapping[SeriesKey, Sequence[Point]]) -> Window:
    return Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, series, (), (), (), 0, ())


def points(values: Sequence[float], every_s: float = EVERY_S) -> list[Point]:
    return [Point(n * every_s, START_S + n * every_s, float(value)) for n, value in enumerate(values)]


def test_every_figure_as_numpy_and_coolprop_reckon_it() -> None:
    """A swinging tub read every 10 s: RH exactly, dew point within 0.05 K, deficit within 0.013 kPa."""
    hours = np.arange(0.0, LENGTH_S, EVERY_S) / HOUR_S
    warm_c = np.round(24.5 + 2.0 * np.sin(hours / 24.0 * 2.0 * np.pi), 1)
    humidity_pct = np.round(75.0 - 12.0 * np.sin(hours / 24.0 * 2.0 * np.pi) + 3.0 * np.sin(hours * 2.0 * np.pi), 1)
    series = {WARM_MOIST: points(list(warm_c)), RH_MOIST: points(list(humidity_pct))}
    (found,) = humidity_nights(window(series), (MOIST,))
    assert found.lowest_pct == (humidity_pct.min(), START_S + EVERY_S * int(humidity_pct.argmin()))
    assert found.mean_pct == pytest.approx(humidity_pct.mean())
    steps, where = np.unique(warm_c, return_inverse=True)
    full_kpa = np.array([PropsSI("P", "T", each + ZERO_C_K, "Q", 0, "Water") for each in steps])[where] / 1000.0
    deficit_kpa = full_kpa * (1.0 - humidity_pct / 100.0)
    assert found.deficit_mean_kpa == pytest.approx(deficit_kpa.mean(), abs=0.013)
    assert found.deficit_highest_kpa is not None
    assert found.deficit_highest_kpa.value == pytest.approx(deficit_kpa.max(), abs=0.013)
    driest = int((full_kpa * humidity_pct).argmin())
    expected_c = HAPropsSI("D", "T", warm_c[driest] + ZERO_C_K, "R", humidity_pct[driest] / 100.0, "P", 101325.0)
    assert found.dew_lowest_c is not None
    assert found.dew_lowest_c.value == pytest.approx(expected_c - ZERO_C_K, abs=0.05)
    assert found.dew_lowest_c.wall_s == START_S + EVERY_S * driest


def test_only_a_humidity_with_its_own_temperature_has_a_dew_point() -> None:
    """Readings that came at other times are not put together; relative humidity stands by itself."""
    beside = [Point(point.elapsed_s + 1.0, point.wall_s + 1.0, 24.0) for point in steady(24.0)]
    (found,) = humidity_nights(window({WARM_MOIST: beside, RH_MOIST: steady(80.0)}), (MOIST,))
    assert found.mean_pct == pytest.approx(80.0)
    assert (found.deficit_mean_kpa, found.dew_lowest_c, found.deficit_highest_kpa) == (None, None, None)


def test_a_reading_without_humidity_is_passed_over() -> None:
    """A probe that gives humidity now and then: the pairs are found between its temperatures."""
    sparse = steady(24.0)[::7]
    humid = [point._replace(value=80.0) for point in sparse]
    (found,) = humidity_nights(window({WARM_MOIST: steady(24.0), RH_MOIST: humid}), (MOIST,))
    assert found.dew_lowest_c is not None
    assert found.dew_lowest_c.value == pytest.approx(
        HAPropsSI("D", "T", 297.15, "R", 0.8, "P", 101325) - 273.15, abs=0.05
    )


def test_dry_air_has_no_dew_point_and_the_whole_deficit() -> None:
    """A sensor that says 0 % all night harms nothing."""
    (found,) = humidity_nights(window({WARM_MOIST: steady(25.0), RH_MOIST: steady(0.0)}), (MOIST,))
    assert found.dew_lowest_c is None
    assert found.deficit_mean_kpa == pytest.approx(3.16993, rel=5e-3)  # CoolProp 8.0.0
    assert humidity_lines((found,), None, Unit.C) == ["  VPD 3.2 kPa"]


def test_a_probe_without_humidity_is_no_place() -> None:
    """Nothing is told of it."""
    assert humidity_nights(window({WARM_MOIST: steady(24.0)}), (MOIST,)) == ()
    assert humidity_lines((), None, Unit.C) == []


def test_missing_time_is_in_no_mean() -> None:
    """Six hours at 60 % and six at 80 %, then silence: 70 %."""
    humid = [*steady(60.0, 0.0, 6 * HOUR_S), *steady(80.0, 6 * HOUR_S, 12 * HOUR_S)]
    (found,) = humidity_nights(window({RH_MOIST: humid}), (MOIST,))
    assert found.mean_pct == pytest.approx(70.0, abs=0.05)


def test_two_probes_of_one_place_are_one() -> None:
    """The extremes of both, the mean of their times together."""
    other = replace(MOIST, id="oak-moist-2")
    series = {RH_MOIST: steady(70.0), ("oak-moist-2", Quantity.HUMIDITY): steady(90.0)}
    (found,) = humidity_nights(window(series), (MOIST, other))
    assert (found.lowest_pct.value, found.highest_pct.value) == (70.0, 90.0)
    assert found.mean_pct == pytest.approx(80.0)


class TestSides:
    """The moist side against the dry one."""

    @staticmethod
    def sides(moist: Sequence[Point], dry: Sequence[Point]) -> SidesNight | None:
        return sides_night(window({RH_MOIST: moist, RH_DRY: dry}), (MOIST, DRY))

    def test_the_mean_difference_is_weighted_by_time(self) -> None:
        """Eighteen hours 20 % apart, six hours turned round by 4 %: 14 %, and a quarter of the time turned."""
        dry = [*steady(60.0, 0.0, 18 * HOUR_S), *steady(84.0, 18 * HOUR_S)]
        found = self.sides(steady(80.0), dry)
        assert found is not None
        assert found.difference_pct == pytest.approx(14.0)
        assert found.dry_moister_share == pytest.approx(0.25)
        assert found.known_s == pytest.approx(LENGTH_S)

    def test_only_the_time_in_which_both_hold_counts(self) -> None:
        """The dry side is read from hour 6 to 12: six hours and the 50 s for which its last reading still holds."""
        found = self.sides(steady(80.0), steady(60.0, 6 * HOUR_S, 12 * HOUR_S))
        assert found is not None
        assert found.known_s == pytest.approx(6 * HOUR_S + 50.0)
        assert found.difference_pct == pytest.approx(20.0)

    def test_as_numpy_reckons_it_on_a_grid(self) -> None:
        """Two sides that swing, one polled every 10 s and one every 30 s (stale after 60 s)."""
        seconds = np.arange(0.0, LENGTH_S, EVERY_S)
        moist_pct = 75.0 + 10.0 * np.sin(seconds / 7000.0)
        dry_pct = 70.0 + 8.0 * np.cos(seconds / 5000.0)
        found = self.sides(points(list(moist_pct)), points(list(dry_pct[::3]), 30.0))
        difference = moist_pct - np.repeat(dry_pct[::3], 3)
        assert found is not None
        assert found.difference_pct == pytest.approx(difference.mean())
        assert found.dry_moister_share == pytest.approx((difference < 0.0).mean())

    def test_sides_that_were_never_read_together_are_not_compared(self) -> None:
        """Nor is a tub with one side only."""
        assert self.sides(steady(80.0, 0.0, HOUR_S), steady(60.0, 2 * HOUR_S)) is None
        assert self.sides(steady(80.0), ()) is None
        assert sides_document(None) is None

    def test_a_dry_side_that_is_the_moister_one_is_said(self) -> None:
        """For more than half of the time both were read."""
        assert humidity_lines((), self.sides(steady(66.0), steady(72.0)), Unit.C) == [
            "  the dry side is the moister one, by 6 %"
        ]
        assert humidity_lines((), self.sides(steady(81.0), steady(60.0)), Unit.C) == ["  moist side 21 % moister"]

    def test_sides_that_do_not_differ_are_said_too(self) -> None:
        """Less than half a percent apart; and a moist side that was much drier for the lesser part of the night."""
        assert humidity_lines((), self.sides(steady(80.0), steady(79.8)), Unit.C) == ["  both sides equally moist"]
        dry = [*steady(79.0, 0.0, 18 * HOUR_S), *steady(95.0, 18 * HOUR_S)]
        assert humidity_lines((), self.sides(steady(80.0), dry), Unit.C) == ["  moist side 3 % drier"]


def both_sides() -> tuple[HumidityNight, ...]:
    series = {WARM_MOIST: steady(25.0), RH_MOIST: steady(75.0), WARM_DRY: steady(25.0), RH_DRY: steady(50.0)}
    return humidity_nights(window(series), (DRY, MOIST))


def test_the_moist_side_counts_and_a_dry_one_alone_does_not() -> None:
    """Whoever put only a probe on the dry side did not ask how moist the moist one is; an untold side is taken."""
    nights = both_sides()
    counts = air_that_counts(nights)
    assert counts is not None
    assert counts.side is Side.MOIST
    assert air_that_counts([each for each in nights if each.side is Side.DRY]) is None
    untold = replace(nights[0], side=None)
    assert air_that_counts([untold]) is untold


def test_the_line_is_in_the_keepers_unit() -> None:
    """25 C and 75 %: VPD 0.79 kPa, dew point 20.26 C (CoolProp 8.0.0), 68.5 F."""
    assert humidity_lines(both_sides(), None, Unit.C) == ["  VPD 0.8 kPa, dew point 20 °C"]
    assert humidity_lines(both_sides(), None, Unit.F) == ["  VPD 0.8 kPa, dew point 68 °F"]


def test_the_document_holds_every_place_in_si() -> None:
    """Times in UTC, units in the keys."""
    dry = humidity_document(both_sides())[0]
    assert (dry["role"], dry["side"], dry["mean_pct"]) == ("air", "dry", 50.0)
    assert dry["lowest"] == {"value_pct": 50.0, "at": "2026-01-14T07:00:00Z"}
    assert dry["dew_point"]["lowest"]["value_c"] == pytest.approx(13.8644, abs=0.05)  # CoolProp 8.0.0
    assert dry["vapour_pressure_deficit"]["mean_kpa"] == pytest.approx(1.58496, abs=0.013)  # CoolProp 8.0.0
