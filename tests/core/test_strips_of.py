"""The lines, spans and clocks of a picture of a night whose every value was chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import accumulate, pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from digest_examples import HEAT, HOUR_S, LENGTH_S, OAK, QUIET_SERIES, ROOM, ROWAN, START_S, line, probe, steady
from matwarden.core.record import AlarmLine, HeatChange, Point, SeriesKey, Window
from matwarden.core.strips import AlarmSpan, NightStrips, Span, Step
from matwarden.core.strips_of import strips_of
from matwarden.terms import AlarmState, Quantity, Role

S = AlarmState
AIR = ("oak-air", Quantity.TEMPERATURE)


def night(
    series: Mapping[SeriesKey, Sequence[Point]] | None = None,
    *,
    alarms: Sequence[AlarmLine] = (),
    standing: Sequence[AlarmLine] = (),
    steps: int = 240,
    **changed: Any,
) -> NightStrips:
    """The quiet night with these differences, in six-minute steps."""
    every = {**QUIET_SERIES, **(series or {})}
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, every, HEAT, alarms, (), 0, ())._replace(**changed)
    return strips_of(window, (OAK, ROWAN), (ROOM,), standing, steps)


def moved(points: Sequence[Point], by_s: float, from_s: float) -> list[Point]:
    """The same points, with the wall clock moved from `from_s` on."""
    return [point._replace(wall_s=point.wall_s + by_s * (point.elapsed_s >= from_s)) for point in points]


def test_a_night_has_a_line_for_each_place() -> None:
    """Temperatures in the order of the probes, then humidity where a probe has it; the room apart."""
    strips = night()
    assert [(each.role, each.quantity) for each in strips.tubs[0].lines] == [
        (Role.AIR, Quantity.TEMPERATURE),
        (Role.WALL, Quantity.TEMPERATURE),
        (Role.SUBSTRATE, Quantity.TEMPERATURE),
        (Role.AIR, Quantity.HUMIDITY),
    ]
    assert strips.room[0].steps == (Step(19.0, 19.0),) * 240
    assert (strips.step_s, strips.lasts_s, strips.walls[1]) == (360.0, LENGTH_S, START_S + 360.0)


def test_steps_agree_with_numpy() -> None:
    """Lowest and highest of each step as numpy finds them when the series is laid out as one row per step."""
    values = 24.0 + np.random.default_rng(5).normal(0.0, 1.0, 8640).round(3)
    points = [point._replace(value=float(value)) for point, value in zip(steady(0.0), values, strict=True)]
    found = night({AIR: points}).tubs[0].lines[0].steps
    rows = values.reshape(240, 36)
    assert [(step.lowest, step.highest) for step in found if step] == [
        (float(row.min()), float(row.max())) for row in rows
    ]


def test_a_gap_stays_a_gap() -> None:
    """An hour without a reading is ten empty steps; the minute that the last one holds fills none of them."""
    points = [*steady(24.0, 0.0, 3 * HOUR_S), *steady(24.0, 4 * HOUR_S)]
    steps = night({AIR: points}).tubs[0].lines[0].steps
    assert [number for number, step in enumerate(steps) if step is None] == list(range(30, 40))


def test_a_slow_probe_has_no_gaps_while_its_readings_hold() -> None:
    """A reading every 15 minutes that holds for 45 fills the steps between; after the last one it fills seven."""
    slow = replace(ROWAN, probes=(replace(ROWAN.probes[0], stale_s=2700.0),))
    points = [point for point in steady(24.0, 0.0, 12 * HOUR_S) if point.elapsed_s % 900.0 == 0.0]
    series = {("rowan-air", Quantity.TEMPERATURE): points}
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, series, (), (), (), 0, ())
    steps = strips_of(window, (slow,), (), steps=240).tubs[0].lines[0].steps
    # The last reading, at 11:45, holds until 12:30: over the middles of the steps up to the one that begins at 12:24.
    assert [number for number, step in enumerate(steps) if step is None] == list(range(125, 240))


def test_two_probes_of_one_place_are_one_line() -> None:
    """Of two air probes each step has the lower and the higher; where one is silent the other speaks."""
    both = replace(OAK, probes=(probe("left", Role.AIR, "oak"), probe("right", Role.AIR, "oak")))
    left, right = steady(24.0, 0.0, 12 * HOUR_S), steady(25.0, 0.0, 18 * HOUR_S)
    series = {("left", Quantity.TEMPERATURE): left, ("right", Quantity.TEMPERATURE): right}
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, series, (), (), (), 0, ())
    (only,) = strips_of(window, (both,), (), steps=4).tubs[0].lines
    assert only.steps == (Step(24.0, 25.0), Step(24.0, 25.0), Step(25.0, 25.0), None)


def test_heat_is_shown_where_it_was_allowed() -> None:
    """Allowed from hour 6 to 12 is one span whatever the reasons; a tub without a mat has none at all."""
    more = [*HEAT[:2], HEAT[1]._replace(elapsed_s=7 * HOUR_S, reason="coasting"), *HEAT[2:]]
    strips = night(heat=more)
    assert strips.tubs[0].heat == (Span(6 * HOUR_S, 12 * HOUR_S),)
    assert strips.tubs[1].heat is None


def test_heat_still_allowed_reaches_the_end() -> None:
    """Allowed at the window's start and never cut: one span over all of it."""
    heat = (HeatChange(0.0, START_S, "oak", True, "below-setpoint", 41),)
    assert night(heat=heat).tubs[0].heat == (Span(0.0, LENGTH_S),)


def test_an_alarm_lasts_from_its_start_to_its_return() -> None:
    """Acknowledging does not end it, returning does; in the tub's own strip, not the house's."""
    alarms = (
        line("cold/oak", 2 * HOUR_S, S.UNACKNOWLEDGED),
        line("cold/oak", 3 * HOUR_S, S.ACKNOWLEDGED)._replace(previous=S.UNACKNOWLEDGED),
        line("cold/oak", 5 * HOUR_S, S.NORMAL)._replace(previous=S.ACKNOWLEDGED),
    )
    strips = night(alarms=alarms)
    assert strips.tubs[0].alarms == (AlarmSpan("cold", "cold/oak", 2 * HOUR_S, 5 * HOUR_S, standing=False),)
    assert strips.tubs[1].alarms == strips.alarms == ()


def test_an_alarm_from_before_the_night_is_on_from_its_beginning() -> None:
    """One that ends in the window began before it; one that only stands is known from `standing` alone."""
    ended = line("hot/oak", HOUR_S, S.NORMAL)
    stands = line("blind/rowan", -7 * HOUR_S, S.ACKNOWLEDGED, enclosure="rowan")
    seen = line("cold/rowan", -HOUR_S, S.RETURNED_UNACKNOWLEDGED, enclosure="rowan")
    strips = night(alarms=(ended,), standing=(stands, seen))
    assert strips.tubs[0].alarms == (AlarmSpan("hot", "hot/oak", 0.0, HOUR_S, standing=False),)
    assert strips.tubs[1].alarms == (AlarmSpan("blind", "blind/rowan", 0.0, LENGTH_S, standing=True),)


def test_an_alarm_that_stands_at_the_end_is_shown_once() -> None:
    """It is in the window's transitions and in `standing` alike: one span, to the end. A latched one is still on."""
    started = line("cut-out/oak", 20 * HOUR_S, S.UNACKNOWLEDGED)
    latched = started._replace(elapsed_s=21 * HOUR_S, previous=S.UNACKNOWLEDGED, state=S.LATCHED_UNACKNOWLEDGED)
    strips = night(alarms=(started, latched), standing=(latched,))
    assert strips.tubs[0].alarms == (AlarmSpan("cut-out", "cut-out/oak", 20 * HOUR_S, LENGTH_S, standing=True),)


def test_an_alarm_of_no_tub_is_the_house_s() -> None:
    """A room probe's alarm has no enclosure, a house alarm neither."""
    room = line("blind-probe/room", HOUR_S, S.UNACKNOWLEDGED, enclosure=None)
    assert [span.alarm for span in night(alarms=(room,)).alarms] == ["blind-probe/room"]


def test_a_clock_that_was_set_is_shown_as_it_was() -> None:
    """Set back by an hour at hour 6: the steps before keep the clock of then, those after have the new one."""
    series = {key: moved(points, -3600.0, 6 * HOUR_S) for key, points in QUIET_SERIES.items()}
    walls = night(series, clock_steps=(-3600.0,), end_wall_s=START_S + LENGTH_S - 3600.0).walls
    assert walls[59] == START_S + 59 * 360.0
    assert walls[60] == START_S + 60 * 360.0 - 3600.0
    assert walls[-1] == START_S + 239 * 360.0 - 3600.0


def test_a_clock_set_forward_and_back_is_shown_too() -> None:
    """Both ends of the window agree, and the hours between were still shown otherwise."""
    series = {
        key: moved(moved(points, 7200.0, 6 * HOUR_S), -7200.0, 9 * HOUR_S) for key, points in QUIET_SERIES.items()
    }
    walls = night(series, clock_steps=(7200.0, -7200.0)).walls
    assert (walls[59], walls[60], walls[90]) == (
        START_S + 59 * 360.0,
        START_S + 60 * 360.0 + 7200.0,
        START_S + 90 * 360.0,
    )


@pytest.mark.parametrize(("lasts_s", "expected"), [(0.0, 0), (2.5, 3), (LENGTH_S, 240), (700.1, 240)])
def test_a_window_of_any_length_has_steps_that_cover_it(lasts_s: float, expected: int) -> None:
    """No step for a window of no length; none shorter than a second; the last one may reach past the end."""
    strips = night({}, end_elapsed_s=lasts_s, end_wall_s=START_S + lasts_s)
    assert len(strips.walls) == len(strips.tubs[0].lines[0].steps) == expected
    assert strips.step_s * expected >= lasts_s - 1e-6
    assert strips.step_s >= 1.0


def test_no_steps_are_refused() -> None:
    """A night in no steps is a caller's mistake."""
    with pytest.raises(ValueError, match="0 steps"):
        night(steps=0)


@given(
    gaps_s=st.lists(st.floats(0.5, 900.0), max_size=60),
    stale_s=st.floats(30.0, 600.0),
    steps=st.integers(1, 40),
)
def test_a_step_is_empty_exactly_where_nothing_was_read_or_held(
    gaps_s: list[float], stale_s: float, steps: int
) -> None:
    """For any times of reading and any hold: as a reckoning says that looks at every reading for every step."""
    times = list(accumulate(gaps_s))
    values = [20.0 + number % 7 for number in range(len(times))]
    lasts_s = (times[-1] if times else 0.0) + 100.0
    series = {AIR: [Point(at_s, START_S + at_s, value) for at_s, value in zip(times, values, strict=True)]}
    tub = replace(OAK, probes=(replace(OAK.probes[0], stale_s=stale_s),))
    window = Window(0.0, lasts_s, START_S, START_S + lasts_s, series, (), (), (), 0, ())
    strips = strips_of(window, (tub,), (), steps=steps)
    for number, step in enumerate(strips.tubs[0].lines[0].steps):
        from_s, to_s = number * strips.step_s, (number + 1) * strips.step_s
        middle_s = from_s + strips.step_s / 2.0
        inside = [value for at_s, value in zip(times, values, strict=True) if from_s <= at_s < to_s]
        before = [(at_s, value) for at_s, value in zip(times, values, strict=True) if at_s < from_s]
        if not inside and before and before[-1][0] + stale_s >= middle_s:
            inside = [before[-1][1]]
        assert step == (Step(min(inside), max(inside)) if inside else None)


@given(states=st.lists(st.tuples(st.sampled_from(list(S)), st.floats(1.0, 4000.0)), max_size=20))
def test_an_alarm_is_on_exactly_while_its_state_says_so(states: list[tuple[AlarmState, float]]) -> None:
    """Over any sequence of states: the spans add up to the time in which it rang, was acknowledged or latched."""
    on = {S.UNACKNOWLEDGED, S.ACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED}
    at_s, previous, on_s, alarms = 0.0, S.NORMAL, 0.0, []
    for state, after_s in states:
        on_s += after_s if previous in on else 0.0
        at_s += after_s
        alarms.append(line("cold/oak", at_s, state)._replace(previous=previous))
        previous = state
    on_s += LENGTH_S - at_s if previous in on else 0.0
    spans = night(alarms=alarms, standing=alarms[-1:]).tubs[0].alarms
    assert sum(span.to_s - span.from_s for span in spans) == pytest.approx(on_s)
    assert all(one.to_s <= other.from_s for one, other in pairwise(spans))
    assert [span.standing for span in spans if span.to_s == LENGTH_S] == ([True] if previous in on else [])
