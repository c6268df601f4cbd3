"""The record's time line: elapsed time is right whatever the wall clock does, and every second is in one window."""

from __future__ import annotations

import random
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers_store import alarm, at, digest, open_sink, readings, started, stepped, verdict
from matwarden.core.record import Window
from matwarden.sinks.store_read import Mark, Recorded
from matwarden.terms import AlarmState, At, Quantity, Reason

HOUR_S = 3600.0
DAY_S = 86400.0
OAK_1 = ("oak-1", Quantity.TEMPERATURE)


def whole(directory: Path) -> Window:
    recorded = Recorded(directory)
    return recorded.window(None, recorded.mark())


@pytest.mark.parametrize("by_s", [-6 * HOUR_S, 6 * HOUR_S, 400 * DAY_S, -0.75, 1.0])
def test_elapsed_time_does_not_see_a_step_of_the_wall_clock(tmp_path: Path, by_s: float) -> None:
    """Readings 10 s apart stay 10 s apart across a step; their wall times take the step."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0)), readings(at(0), 25.0)])
    sink.accept([readings(at(10), 25.0)])
    sink.accept([stepped(at(14, by_s), by_s), readings(at(20, by_s), 25.0)])
    sink.close()
    window = whole(tmp_path)
    points = window.series[OAK_1]
    assert [point.elapsed_s for point in points] == [0.0, 10.0, 20.0]
    assert [point.wall_s for point in points] == pytest.approx([at(0)[1], at(10)[1], at(20)[1] + by_s], abs=0.001)
    assert (window.end_elapsed_s, window.clock_steps, window.restarts) == (20.0, (by_s,), 0)


@pytest.mark.parametrize(
    ("gap_s", "counted_s"), [(7200.0, 7200.0), (0.0, 0.0), (-5000.0, 0.0), (30 * DAY_S, 30 * DAY_S)]
)
def test_a_restart_counts_the_wall_clock_s_gap_when_it_is_positive(
    tmp_path: Path, gap_s: float, counted_s: float
) -> None:
    """The monotonic clock begins anew with the machine: only the wall clock tells how long it was down, if it can."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(1000)), readings(at(1010), 25.0)])
    sink.close()
    again = At(5.0, at(1010).wall_s + gap_s)
    sink = open_sink(tmp_path)
    sink.accept([started(again), readings(At(6.0, again.wall_s + 1), 24.0)])
    sink.close()
    window = whole(tmp_path)
    assert [point.elapsed_s for point in window.series[OAK_1]] == [10.0, 10.0 + counted_s + 1.0]
    assert window.restarts == 1


def test_forty_days_without_a_restart_are_one_even_line(tmp_path: Path) -> None:
    """That a long run is recorded in several stretches shows neither in times nor as restart or step."""
    sink = open_sink(tmp_path, commit_every_s=DAY_S)
    sink.accept([started(at(0))])
    for hour in range(40 * 24):
        sink.accept([readings(at(hour * HOUR_S), 25.0)])
    sink.close()
    window = whole(tmp_path)
    points = list(window.series[OAK_1])
    assert [point.elapsed_s for point in points] == [hour * HOUR_S for hour in range(40 * 24)]
    assert {point.wall_s - point.elapsed_s for point in points} == {at(0).wall_s}
    assert (window.restarts, window.clock_steps) == (0, ())


def test_windows_from_mark_to_mark_hold_everything_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each digest's window begins where the one before ended: lengths and rows add up, across steps and parts."""
    monkeypatch.setattr("matwarden.sinks.store.PART_ROWS", 100)
    chance = random.Random(7)
    sink = open_sink(tmp_path)
    sink.accept([started(at(0))])
    recorded, marks, ahead_s = Recorded(tmp_path), [], 0.0
    for cycle in range(2000):
        now = at(cycle * 10.0, ahead_s)
        if chance.random() < 0.01:
            by_s = chance.choice([-DAY_S, -60.0, 3600.0, 400 * DAY_S])
            ahead_s += by_s
            now = at(cycle * 10.0, ahead_s)
            sink.accept([stepped(now, by_s)])
        sink.accept([readings(now, cycle / 100)])
        if cycle % 50 == 0:
            sink.accept([alarm(now, AlarmState.UNACKNOWLEDGED)])
        if cycle % 331 == 0:
            marks.append(recorded.mark())
    sink.close()
    marks.append(recorded.mark())
    windows = [recorded.window(since, until) for since, until in zip([None, *marks], marks, strict=False)]
    values = [point.value for window in windows for point in window.series[OAK_1]]
    assert values == [cycle / 100 for cycle in range(2000)]
    assert sum(window.end_elapsed_s for window in windows) == pytest.approx(19990.0)
    assert sum(len(window.alarms) for window in windows) == 40


def test_a_digest_s_mark_is_where_the_next_window_begins(tmp_path: Path) -> None:
    """A digest that brings its mark keeps it; one without ended where it was recorded."""
    sink = open_sink(tmp_path)
    recorded = Recorded(tmp_path)
    sink.accept([started(at(0)), readings(at(0), 25.0), alarm(at(0), AlarmState.UNACKNOWLEDGED)])
    mark = recorded.mark()
    sink.accept([readings(at(60), 25.0), digest(at(60), "2027-11-15", mark=str(mark))])
    assert recorded.digest_mark() == mark
    sink.accept([readings(at(120), 25.0), digest(at(120), "2027-11-16")])
    assert recorded.digest_mark() == recorded.mark() == Mark(3, 0, 1, 0, 1, 120_000)
    sink.close()


def heat(window: Window, enclosure: str = "oak") -> list[tuple[float, bool, str, int]]:
    return [
        (line.elapsed_s, line.allowed, line.reason, line.operations) for line in window.heat if line[2] == enclosure
    ]


def test_a_window_begins_with_the_verdict_in_force(tmp_path: Path) -> None:
    """Each mat's first entry is what held at the window's start, then come its changes."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0)), verdict(at(0), "oak", False, Reason.PROVING, 10)])
    sink.accept([verdict(at(30), "oak", True, Reason.BELOW_SETPOINT, 11)])
    sink.accept([verdict(at(30), "alder", False, Reason.BLIND, 4)])
    recorded = Recorded(tmp_path)
    since = recorded.mark()
    sink.accept([verdict(at(90), "oak", False, Reason.WARM_ENOUGH, 12)])
    sink.close()
    window = recorded.window(since, recorded.mark())
    assert heat(window) == [(0.0, True, "below-setpoint", 11), (60.0, False, "warm-enough", 12)]
    assert heat(window, "alder") == [(0.0, False, "blind", 4)]
    first = recorded.window(None, recorded.mark())
    assert heat(first)[:2] == [(0.0, False, "unknown", 10), (0.0, False, "proving", 10)]


def test_while_the_program_was_down_heat_was_cut(tmp_path: Path) -> None:
    """A mat that was allowed heat when the run ended counts as cut from that moment to the next verdict."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0)), verdict(at(0), "oak", True, Reason.BELOW_SETPOINT, 1)])
    recorded = Recorded(tmp_path)
    mark = recorded.mark()
    sink.accept([readings(at(100), 25.0)])
    sink.close()
    down = recorded.mark()
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(At(0.0, at(400).wall_s))])
    sink.accept([verdict(At(10.0, at(410).wall_s), "oak", True, Reason.BELOW_SETPOINT, 2)])
    sink.close()
    end = recorded.mark()
    assert heat(recorded.window(mark, end)) == [
        (0.0, True, "below-setpoint", 1),
        (100.0, False, "not-running", 1),
        (410.0, True, "below-setpoint", 2),
    ]
    assert heat(recorded.window(down, end)) == [
        (0.0, True, "below-setpoint", 1),
        (0.0, False, "not-running", 1),
        (310.0, True, "below-setpoint", 2),
    ]


def test_a_reading_told_late_is_not_before_the_window(tmp_path: Path) -> None:
    """A capture from just before the window's start, told just after it, counts from the start."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0)), readings(at(100), 25.0)])
    recorded = Recorded(tmp_path)
    since = recorded.mark()
    sink.accept([readings(at(99), 24.0), alarm(at(101), AlarmState.NORMAL)])
    sink.close()
    assert [point.elapsed_s for point in recorded.window(since, recorded.mark()).series[OAK_1]] == [0.0]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("run on"), st.floats(0.1, 5e5)),
            st.tuples(st.just("step"), st.floats(-4e7, 4e7)),
            st.tuples(st.just("restart"), st.floats(0, 5e5)),
        ),
        max_size=25,
    )
)
def test_elapsed_time_is_the_time_that_passed(story: list[tuple[str, float]]) -> None:
    """For any sequence of running, steps and restarts with a right clock, elapsed time is true time, to the ms."""
    with TemporaryDirectory() as name:
        directory = Path(name)
        sink = open_sink(directory)
        true_s, booted_s, wall_s = 0.0, 0.0, at(0).wall_s
        sink.accept([started(At(0.0, wall_s)), readings(At(0.0, wall_s), 25.0)])
        truth = [0.0]
        for what, amount_s in story:
            if what != "step":
                true_s += amount_s
                wall_s += amount_s
            if what == "restart":
                sink.close()
                sink, booted_s = open_sink(directory), true_s
                sink.accept([started(At(0.0, wall_s))])
            now = At(true_s - booted_s, wall_s)
            if what == "step":
                wall_s += amount_s
                now = At(now.mono_s, wall_s)
                sink.accept([stepped(now, amount_s)])
            sink.accept([readings(now, 25.0)])
            truth.append(true_s)
        sink.close()
        elapsed = [point.elapsed_s for point in whole(directory).series[OAK_1]]
    assert elapsed == pytest.approx(truth, abs=0.002 * (len(story) + 1))


def test_a_mark_is_written_and_read_as_text() -> None:
    """What `str` writes `parse` reads; anything else is refused."""
    mark = Mark(1, 2, 3, 4, 5, 6)
    assert Mark.parse(str(mark)) == mark
    for bad in ("", "1.2.3", "1.2.3.4.5.x"):
        with pytest.raises(ValueError, match="not a mark|invalid literal"):
            Mark.parse(bad)


def test_an_alarm_from_before_a_window_is_as_old_as_it_is_whatever_the_clock_did(tmp_path: Path) -> None:
    """Told at 100 s, the clock set back six hours at 200 s, a digest at 1000 s: 900 s before the next window."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0)), alarm(at(100), AlarmState.UNACKNOWLEDGED)])
    back_s = -6 * HOUR_S
    sink.accept([stepped(at(200, back_s), back_s), digest(at(1000, back_s), "2027-11-15")])
    sink.accept([readings(at(1200, back_s), 25.0)])
    sink.close()
    recorded = Recorded(tmp_path)
    (told,) = recorded.active_alarms(recorded.digest_mark())
    assert told.elapsed_s == -900.0
    assert [line.elapsed_s for line in recorded.active_alarms()] == [100.0]
