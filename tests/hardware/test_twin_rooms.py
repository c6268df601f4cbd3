"""The simulated room: formulas, recorded series, and files that are not as they should be."""

from __future__ import annotations

import csv
import hashlib
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden_hardware.ports import DriverError
from matwarden_hardware.twin import DailyRoom, DayPlanRoom, SeriesRoom

HOUR_S = 3600.0
DAY_S = 24 * HOUR_S
WINTER = Path(__file__).parents[1] / "data" / "winter"


def test_a_daily_room_is_warmest_at_its_hour_and_coldest_half_a_day_later() -> None:
    """Extremes stand at mean plus and minus half the swing, at their hours."""
    room = DailyRoom(18.0, swing_k=6.0, warmest_hour=15.0)
    assert room.temperature_c(15 * HOUR_S) == pytest.approx(21.0)
    assert room.temperature_c(3 * HOUR_S) == pytest.approx(15.0)
    assert room.temperature_c(9 * HOUR_S) == pytest.approx(18.0)


def test_a_daily_room_can_start_at_any_hour_and_drift() -> None:
    """Shelf time 0 is the start hour; a day later all is as before, but for the drift."""
    room = DailyRoom(18.0, swing_k=6.0, warmest_hour=15.0, drift_k_per_day=-0.5, start_hour=15.0)
    assert room.temperature_c(0.0) == pytest.approx(21.0)
    assert room.temperature_c(DAY_S) == pytest.approx(20.5)


def test_a_set_back_follows_its_points_across_midnight() -> None:
    """Straight lines from point to point, from the last of a day to the first of the next as well."""
    room = DayPlanRoom([(6.0, 15.0), (7.0, 20.0), (22.0, 20.0)])
    assert room.temperature_c(6.5 * HOUR_S) == pytest.approx(17.5)
    assert room.temperature_c(12 * HOUR_S) == pytest.approx(20.0)
    assert room.temperature_c(26 * HOUR_S) == room.temperature_c(2 * HOUR_S) == pytest.approx(17.5)


def test_one_point_is_a_steady_room() -> None:
    """A plan of one point holds it all day; drift alone moves it."""
    assert DayPlanRoom([(12.0, 19.0)]).temperature_c(5 * HOUR_S) == 19.0
    assert DayPlanRoom([(12.0, 19.0)], drift_k_per_day=1.0).temperature_c(DAY_S) == pytest.approx(20.0)


@pytest.mark.parametrize("points", [[], [(7.0, 20.0), (6.0, 15.0)], [(24.0, 20.0)], [(1.0, float("nan"))]])
def test_a_plan_that_is_no_day_is_refused(points: list[tuple[float, float]]) -> None:
    """No points, hours that fall or lie outside the day, a temperature that is no number."""
    with pytest.raises(DriverError, match="room's day"):
        DayPlanRoom(points)


def test_a_series_is_straight_between_its_points_and_held_outside_them() -> None:
    """Before the first and after the last point nothing is invented."""
    room = SeriesRoom([10.0, 20.0, 40.0], [15.0, 16.0, 14.0])
    assert [room.temperature_c(t) for t in (-5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 9e9)] == [
        15.0, 15.0, 15.5, 16.0, 15.0, 14.0, 14.0,
    ]  # fmt: skip


@given(st.lists(st.floats(-10.0, 60.0), min_size=1, max_size=30))
def test_a_series_answers_the_same_in_any_order_of_asking(asks: list[float]) -> None:
    """That it remembers where it was changes no answer."""
    times, values = [0.0, 10.0, 20.0, 40.0, 50.0], [15.0, 16.0, 14.0, 14.5, 20.0]
    room = SeriesRoom(times, values)
    assert [room.temperature_c(t) for t in asks] == [SeriesRoom(times, values).temperature_c(t) for t in asks]


def test_a_file_is_read_with_whatever_offset_its_times_have(tmp_path: Path) -> None:
    """The first row is shelf time 0, or the start that is asked for."""
    path = tmp_path / "room.csv"
    path.write_text("time,temperature_c\n2020-01-01T00:00:00Z,15\n2020-01-01T02:00:00+01:00,17\n")
    assert SeriesRoom.from_csv(path).temperature_c(1800.0) == 16.0
    assert SeriesRoom.from_csv(path, start="2020-01-01T00:30:00Z").temperature_c(0.0) == 16.0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "line 1: expected 'time,temperature_c', found ''"),
        ("when,temp\n", "line 1: expected 'time,temperature_c', found 'when,temp'"),
        ("time,temperature_c\n", "no line after the header"),
        ("time,temperature_c\n2020-01-01T00:00:00Z,15\nyesterday,15\n", "line 3: 'yesterday' is not a time"),
        ("time,temperature_c\n2020-01-01T00:00:00,15\n", "line 2: '2020-01-01T00:00:00' has no offset"),
        ("time,temperature_c\n2020-01-01T00:00:00Z,cold\n", "line 2: 'cold' is not a temperature"),
        ("time,temperature_c\n2020-01-01T00:00:00Z,nan\n", "line 2: 'nan' is not a temperature"),
        ("time,temperature_c\n2020-01-01T00:00:00Z\n", "line 2: expected a time and a temperature"),
        (
            "time,temperature_c\n2020-01-01T00:00:00Z,15\n2020-01-01T00:00:00Z,15\n",
            "line 3: 2020-01-01T00:00:00Z is not after the line before it",
        ),
    ],
)
def test_a_bad_file_is_refused_with_the_line_at_fault(tmp_path: Path, text: str, says: str) -> None:
    """The error names the file, the line, what stands there and what was expected."""
    path = tmp_path / "room.csv"
    path.write_text(text)
    with pytest.raises(DriverError) as caught:
        SeriesRoom.from_csv(path)
    assert str(path) in str(caught.value)
    assert says in str(caught.value)


@pytest.mark.parametrize("content", [None, b"time,temperature_c\n\xff\xfe,1\n", b'time,temperature_c\n"2020\n'])
def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path, content: bytes | None) -> None:
    """Absent, not text, or with a quote left open: an error with the file's name, no traceback of another kind."""
    path = tmp_path / "room.csv"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(DriverError, match=r"room\.csv: the room's file cannot be read"):
        SeriesRoom.from_csv(path)


def test_a_series_that_is_none_is_refused() -> None:
    """No points, lists of two lengths, times that stand still."""
    for times, values in (([], []), ([0.0], [1.0, 2.0]), ([0.0, 0.0], [1.0, 2.0])):
        with pytest.raises(DriverError, match="recorded room"):
            SeriesRoom(times, values)


def test_the_recorded_winter_is_the_file_it_is_said_to_be() -> None:
    """`source.csv` is, byte for byte, the member of darkgreybox 0.3.2 named in its README."""
    digest = hashlib.sha256((WINTER / "source.csv").read_bytes()).hexdigest()
    assert digest == "d462f1cfde5841a7f17fc2a37e1ad26eb1dccd528761303d088d6d7ec7e1363c"


def test_the_recorded_winter_becomes_a_room_value_for_value() -> None:
    """Every hour of the source's indoor column is what the simulated room says at that hour."""
    room = SeriesRoom.from_csv(WINTER / "room.csv")
    with (WINTER / "source.csv").open(newline="") as file:
        rows = [(datetime.fromisoformat(row[""]), float(row["Ti"])) for row in csv.DictReader(file)]
    start = rows[0][0]
    assert len(rows) == 792
    assert all(room.temperature_c((t - start).total_seconds()) == ti for t, ti in rows)
