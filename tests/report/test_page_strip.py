"""The strip of a tub as geometry: what is drawn is read back from the paths, and is what was recorded."""

from __future__ import annotations

import re
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from digest_examples import HOUR_S, LENGTH_S, QUIET_SERIES, START_S, cold_spell, steady
from matwarden.core.strips import AlarmSpan, Line, NightStrips, Span, Step, Strip
from matwarden.report.page_strip import Curve, Plot, humidity_plot, temperature_plot
from matwarden.terms import Band, Quantity, Role, Unit
from night_examples import night_of
from page_examples import troubled_night

AMSTERDAM = ZoneInfo("Europe/Amsterdam")
UTC = ZoneInfo("UTC")
BAND = Band(22.0, 28.0)


def points_of(path: str) -> list[list[tuple[float, float]]]:
    """The points of each run of a path of absolute beginnings and relative lines (SVG 2, 9.3)."""
    runs = []
    for part in path.replace("z", "").split("M")[1:]:
        numbers = [float(each) for each in re.findall(r"-?[\d.]+", part)]
        x, y = 0.0, 0.0
        run = []
        for dx, dy in zip(numbers[::2], numbers[1::2], strict=True):
            x, y = x + dx, y + dy
            run.append((x, y))
        runs.append(run)
    return runs


def drawn(steps: tuple[Step | None, ...], unit: Unit = Unit.C, heat: tuple[Span, ...] | None = None) -> Plot:
    """One tub with one line, a step for each ten minutes of a night in January."""
    walls = tuple(1_768_374_000.0 + n * 600.0 for n in range(len(steps)))
    tub = Strip("oak", "Oak", BAND, (Line(Role.AIR, None, Quantity.TEMPERATURE, steps),), heat, ())
    plot = temperature_plot(tub, NightStrips(len(steps) * 600.0, 600.0, walls, (), (), (tub,)), unit, UTC)
    assert plot is not None
    return plot


def value_at(plot: Plot, y: float) -> float:
    """Back from pixels to degrees, by the band's two limits as they are drawn."""
    high, low = plot.edges
    share = (low.y - y) / (low.y - high.y)
    return float(low.text) + share * (float(high.text) - float(low.text))


@pytest.mark.parametrize("unit", list(Unit))
@given(values=st.lists(st.tuples(st.floats(10.0, 40.0), st.floats(0.0, 5.0)), min_size=1, max_size=40))
def test_each_step_is_drawn_where_it_belongs(unit: Unit, values: list[tuple[float, float]]) -> None:
    """The middle of lowest and highest, within a pixel, in whatever unit; one unit across for each step."""
    plot = drawn(tuple(Step(low, low + spread) for low, spread in values), unit)
    (run,) = points_of(plot.curves[0].mid)
    assert [x for x, _ in run[1:-1]] == pytest.approx([n + 0.5 for n in range(len(values))], abs=0.051)
    pixel = abs(value_at(plot, 1.0) - value_at(plot, 0.0))
    for (_, y), (low_c, spread_k) in zip(run[1:-1], values, strict=True):
        middle_c = low_c + spread_k / 2.0
        wanted = middle_c if unit is Unit.C else middle_c * 1.8 + 32.0
        assert value_at(plot, y) == pytest.approx(wanted, abs=pixel + 0.05)
        assert 0.0 <= y <= plot.high


def test_the_area_reaches_from_lowest_to_highest() -> None:
    """Up along the highest, back along the lowest."""
    plot = drawn((Step(23.0, 25.0), Step(24.0, 27.0), Step(22.0, 22.5)))
    (run,) = points_of(plot.curves[0].area)
    values = [value_at(plot, y) for _, y in run]
    assert values == pytest.approx([25, 25, 27, 22.5, 22.5, 22, 22, 24, 23, 23], abs=0.1)


def test_a_gap_stays_a_gap() -> None:
    """Three readings, an hour of nothing, one reading: two runs with nothing between, and the hole is marked."""
    here, none = Step(24.0, 24.1), None
    plot = drawn((here, here, here, *([none] * 6), here, none))
    runs = points_of(plot.curves[0].mid)
    assert [x for run in runs for x in (run[0][0], run[-1][0])] == pytest.approx([0.0, 3.0, 9.0, 10.0])
    assert [(bar.x, bar.wide) for bar in plot.unread] == [(3.0, 6.0), (10.0, 1.0)]


def test_a_tub_that_was_never_read_has_its_band_and_nothing_else() -> None:
    """No line at all, and the whole width marked."""
    plot = drawn((None,) * 12)
    assert plot.curves == (Curve("air", "air", "", ""),)
    assert [(bar.x, bar.wide) for bar in plot.unread] == [(0.0, 12.0)]
    assert plot.band is not None


def test_the_band_lies_between_its_limits() -> None:
    """Its top is the upper limit, its foot the lower one, each labelled in the keeper's unit: 22 C is 71.6 F."""
    plot = drawn((Step(24.0, 24.0),), Unit.F)
    assert [edge.text for edge in plot.edges] == ["82.4", "71.6"]
    assert plot.band is not None
    assert [plot.band[0], plot.band[0] + plot.band[1]] == pytest.approx([edge.y for edge in plot.edges], abs=0.11)


def test_round_values_are_where_they_say() -> None:
    """Each number beside the strip stands at its own height."""
    plot = drawn((Step(16.0, 16.0), Step(31.0, 31.0)))
    assert plot.levels
    for level in plot.levels:
        assert value_at(plot, level.y) == pytest.approx(float(level.text), abs=0.15)


def test_heat_is_where_it_was_allowed_and_moments_can_be_seen() -> None:
    """From hour 1 to 2 of two hours: the second half. A single second is as wide as can be seen."""
    plot = drawn((Step(24.0, 24.0),) * 12, heat=(Span(0.0, 1.0), Span(3600.0, 7200.0)))
    assert plot.heat is not None
    assert (plot.heat[1].x, plot.heat[1].wide) == (6.0, 6.0)
    assert plot.heat[0].wide >= plot.wide / 500.0 - 0.01


def test_alarms_lie_under_the_hours_in_which_they_were_on() -> None:
    """From hour 18 to the end of 24: the last quarter."""
    night = troubled_night()
    plot = temperature_plot(night.strips.tubs[0], night.strips, Unit.C, AMSTERDAM)
    assert plot is not None
    (bar,) = plot.alarms
    assert [bar.x / plot.wide, bar.wide / plot.wide] == pytest.approx([0.75, 0.25])


@pytest.mark.parametrize("zone", ["UTC", "Europe/Amsterdam", "Asia/Kathmandu", "America/New_York"])
@pytest.mark.parametrize("hours", [1, 15, 24, 25, 50, 24 * 7, 24 * 40])
def test_times_never_run_into_each_other(zone: str, hours: float) -> None:
    """On the narrowest phone of 288 pixels a time of five digits in 11-pixel type (under 33 wide) has its room."""
    lasts_s = hours * HOUR_S
    strips = NightStrips(lasts_s, lasts_s / 240, tuple(START_S + n * lasts_s / 240 for n in range(240)), (), (), ())
    tub = Strip("oak", "Oak", BAND, (), None, (AlarmSpan("cold", "cold/oak", 0.0, 1.0, False),))
    plot = temperature_plot(tub, strips, Unit.C, ZoneInfo(zone))
    assert plot is not None
    assert len(plot.ticks) >= 2
    at = [tick.at_pct / 100.0 * 288.0 for tick in plot.ticks]
    assert all(after - before >= 33.0 for before, after in zip(at, at[1:], strict=False))


def test_where_the_clocks_changed_there_is_a_line() -> None:
    """26 October 2025 in Amsterdam, 01:00 UTC, which is 19 h after 06:00 UTC. (IANA time zone database)"""
    night = night_of(start_wall_s=1_761_372_000.0)
    plot = temperature_plot(night.strips.tubs[0], night.strips, Unit.C, AMSTERDAM)
    assert plot is not None
    assert [x / plot.wide * LENGTH_S for x in plot.turns] == pytest.approx([19 * HOUR_S], abs=60.0)


def test_only_a_tub_with_a_humidity_probe_has_a_strip_of_it() -> None:
    """The oak's probe measures it, the rowan's does not."""
    night = night_of()
    oak, rowan = (humidity_plot(tub, night.strips, AMSTERDAM) for tub in night.strips.tubs)
    assert oak is not None
    assert (oak.unit, oak.band, [curve.words for curve in oak.curves]) == ("%", None, ["air moist"])
    assert rowan is None


def test_a_night_of_the_record_is_drawn_as_it_was() -> None:
    """From points every ten seconds through steps to the path: 24 C, a spell at 20.9 C from hour 17 to 22, 24 C."""
    series = {**QUIET_SERIES, ("rowan-air", Quantity.TEMPERATURE): cold_spell(20.9, 17 * HOUR_S, 22 * HOUR_S)}
    night = night_of(series)
    plot = temperature_plot(night.strips.tubs[1], night.strips, Unit.C, AMSTERDAM)
    assert plot is not None
    (run,) = points_of(plot.curves[0].mid)
    cold = [x / plot.wide * 24.0 for x, y in run if value_at(plot, y) < 21.5]
    assert [min(cold), max(cold)] == pytest.approx([17.0, 22.0], abs=0.1)


def test_a_clock_that_was_set_back_does_not_print_two_times_over_each_other() -> None:
    """12:00 comes twice within ten minutes: it is written once, and a line says that the clocks changed."""
    walls = [START_S + n * 360.0 - (600.0 if n > 40 else 0.0) for n in range(240)]
    tub = Strip("oak", "Oak", BAND, (), None, ())
    plot = temperature_plot(tub, NightStrips(LENGTH_S, 360.0, tuple(walls), (), (), (tub,)), Unit.C, AMSTERDAM)
    assert plot is not None
    assert [tick.text for tick in plot.ticks].count("12:00") == 1
    assert all(b.at_pct - a.at_pct >= 11.5 for a, b in zip(plot.ticks, plot.ticks[1:], strict=False))
    assert plot.turns == (41.0,)


def test_one_silent_place_of_two_is_no_dark_hour() -> None:
    """Only where nothing of the tub was read is the strip marked; the silent place's line just ends."""
    night = night_of({**QUIET_SERIES, ("oak-wall", Quantity.TEMPERATURE): steady(26.1, 0.0, 12 * HOUR_S)})
    plot = temperature_plot(night.strips.tubs[0], night.strips, Unit.C, AMSTERDAM)
    assert plot is not None
    assert plot.unread == ()
    ends = {curve.kind: points_of(curve.mid)[-1][-1][0] / plot.wide for curve in plot.curves}
    assert ends["wall"] == pytest.approx(0.5, abs=0.01)
    assert ends["air moist"] == pytest.approx(1.0, abs=0.01)
