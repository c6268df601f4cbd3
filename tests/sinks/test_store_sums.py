"""The sums of hours and local days, written by the pass over a real record and read back.

Reckoned again with pandas 2 (calendar days of a zone, grouping) and NumPy from the raw readings.
"""

from __future__ import annotations

import math
import random
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from matwarden.core.digest import night_digest
from matwarden.core.sums import SeriesSum
from matwarden.sinks.store_moments import marks_between, readings_in
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import StoreError
from matwarden.sinks.store_sums import sum_up
from matwarden.sinks.store_sums_read import Sums
from matwarden.terms import Quantity
from sums_examples import Recorder, oak, probe

UTC = ZoneInfo("UTC")
OAK_1 = ("oak-1", Quantity.TEMPERATURE)
DAY_S = 86400.0
FOREVER = (0.0, 1e11)
# 2027-11-10 00:00 UTC
BEGIN_S = 1_825_804_800.0


def wave(mono_s: float) -> float:
    """A day's swing with a small ripple, in eighths of a degree: values come often."""
    return round((24.0 + 4.0 * math.sin(mono_s / 13_750.0) + math.sin(mono_s / 700.0)) * 8) / 8


def record(directory: Path, begin_s: float, days: float, every_s: float = 60.0) -> None:
    recorder = Recorder(directory, begin_s)
    recorder.readings(np.arange(0.0, days * DAY_S, every_s).tolist(), wave, lambda mono_s: wave(mono_s) - 1.5)
    recorder.close()


def seconds(zone: ZoneInfo, *local: int) -> float:
    return datetime(*local, tzinfo=zone).timestamp()  # type: ignore[arg-type, misc]


@pytest.mark.parametrize(
    ("zone", "begin", "hours"),
    [
        ("America/New_York", (2027, 3, 13), 23),
        ("Europe/London", (2027, 10, 30), 25),
        ("Australia/Lord_Howe", (2027, 10, 2), 23.5),
    ],
)
def test_a_day_on_which_the_clocks_change_has_its_own_hours(
    tmp_path: Path, zone: str, begin: tuple[int, ...], hours: float
) -> None:
    """Days of 23, 25 and 23.5 hours: lengths, extremes, times and means as pandas groups the raw readings."""
    here = ZoneInfo(zone)
    record(tmp_path, seconds(here, *begin), 3.2)
    sum_up(tmp_path, here, [oak(probe(1), probe(2))], [])
    days = Sums(tmp_path).series_days(*FOREVER)[OAK_1]
    assert [day.lasts_s / 3600 for day in days] == [24.0, hours, 24.0]
    raw = frame(tmp_path)
    raw.index = pd.to_datetime(raw.index, unit="s", utc=True).tz_convert(zone)
    for date, group in raw.groupby(raw.index.date):
        day = next((each for each in days if each.date == str(date)), None)
        if day is None:
            continue
        assert day.lowest is not None
        assert day.highest is not None
        assert (day.lowest.value, day.highest.value) == (group.min(), group.max())
        assert day.lowest.wall_s == pd.Timestamp(str(group.idxmin())).timestamp()
        assert day.highest.wall_s == pd.Timestamp(str(group.idxmax())).timestamp()
        # Readings stand at equal distances here, so that the mean in time is the plain one.
        assert day.mean == pytest.approx(group.mean(), abs=0.001)
        assert day.known_s == day.lasts_s


def test_hours_are_those_that_numpy_reckons(tmp_path: Path) -> None:
    """With gaps in it: seconds known, mean, extremes of every hour, the value held over midnight included."""
    recorder = Recorder(tmp_path, BEGIN_S)
    times = [t for t in np.arange(0.0, 2.5 * DAY_S, 47.0).tolist() if not 20_000 < t % 40_000 < 29_000]
    recorder.readings(times, wave)
    recorder.close()
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    got = Sums(tmp_path).series_hours([OAK_1], *FOREVER)[OAK_1]
    t, v = np.array(times), np.array([wave(each) for each in times])
    ends = np.minimum(np.append(t[1:], np.inf), t + 180.0)
    expected = []
    for hour in range(48):
        low, high = hour * 3600.0, hour * 3600.0 + 3600.0
        held = np.clip(np.minimum(ends, high) - np.maximum(t, low), 0.0, None)
        if held.sum() > 0:
            inside = v[(t >= low) & (t < high)]
            extremes = (inside.min(), inside.max()) if len(inside) else (None, None)
            expected.append((BEGIN_S + low, held.sum(), (held * v).sum() / held.sum(), *extremes))
    assert len(got) == len(expected)
    for each, (begins_s, known_s, mean, lowest, highest) in zip(got, expected, strict=True):
        assert each.begins_wall_s == begins_s
        assert each.known_s == pytest.approx(known_s, abs=0.002)
        assert each.mean == pytest.approx(mean, abs=0.0006)
        assert (each.lowest and each.lowest.value) == lowest
        assert (each.highest and each.highest.value) == highest


def test_a_tub_s_day_says_what_the_digest_of_that_day_says(tmp_path: Path) -> None:
    """Band times, degree-hours, mean, extremes and heat of two probes are `night_digest`'s of the same day."""
    recorder = Recorder(tmp_path, BEGIN_S)
    for k in range(100):
        recorder.verdict(k * 2000.0, k % 2 == 0, k // 2 + 1)
        times = np.arange(k * 2000.0, k * 2000.0 + 2000.0, 40.0).tolist()
        recorder.readings(
            times,
            lambda s: math.nan if 50_000 < s < 60_000 else wave(s),
            lambda s: math.nan if 55_000 < s < 61_000 else wave(s - 9_000.0) + 1.0,
        )
    recorder.close()
    tub = oak(probe(1), probe(2))
    sum_up(tmp_path, UTC, [tub], [])
    first, second = Sums(tmp_path).tub_days(*FOREVER)["oak"]
    for day in (first, second):
        marks = marks_between(tmp_path, day.begins_wall_s, day.begins_wall_s + DAY_S)
        night = night_digest(day.date, "UTC", Recorded(tmp_path).window(*marks), [tub], [], []).enclosures[0]
        inside, heat = night.inside, night.heat
        assert heat is not None
        assert heat.allowed_share is not None
        # The digest's window does not know the reading from before its start.
        near_s = 41.0
        assert day.below_s == pytest.approx(inside.below_s, abs=near_s)
        assert day.in_band_s == pytest.approx(inside.in_band_s, abs=near_s)
        assert day.above_s == pytest.approx(inside.above_s, abs=near_s)
        assert day.missing_s == pytest.approx(inside.missing_s, abs=near_s)
        assert day.below_kh == pytest.approx(inside.below_kh, abs=0.06)
        assert day.above_kh == pytest.approx(inside.above_kh, abs=0.06)
        assert day.mean == pytest.approx(inside.mean, abs=0.002)
        assert (day.lowest, day.highest) == (inside.lowest, inside.highest)
        assert day.allowed_s == pytest.approx(heat.allowed_share * DAY_S, abs=0.01)
        assert day.operations == heat.operations


def test_the_hours_of_a_tub_add_up_to_its_days(tmp_path: Path) -> None:
    """Seconds, degree-hours and switchings of 24 hours are those of the day."""
    record(tmp_path, BEGIN_S + 5_000.0, 2.5)
    sum_up(tmp_path, UTC, [oak(probe(1), probe(2))], [])
    sums = Sums(tmp_path)
    for day in sums.tub_days(*FOREVER)["oak"]:
        hours = sums.tub_hours("oak", day.begins_wall_s, day.begins_wall_s + day.lasts_s)
        assert sum(hour.below_s for hour in hours) == pytest.approx(day.below_s, abs=0.1)
        assert sum(hour.missing_s for hour in hours) == pytest.approx(day.missing_s, abs=0.1)
        assert sum(hour.above_kh for hour in hours) == pytest.approx(day.above_kh, abs=0.001)


def test_midnight_loses_no_second(tmp_path: Path) -> None:
    """The last reading before midnight holds into the new day."""
    recorder = Recorder(tmp_path, BEGIN_S)
    recorder.readings(np.arange(31.0, 3 * DAY_S, 60.0).tolist(), wave)
    recorder.close()
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    assert [day.known_s for day in Sums(tmp_path).series_days(*FOREVER)[OAK_1]] == [DAY_S - 31.0, DAY_S]


def test_a_clock_set_back_over_midnight_adds_to_the_day_that_is_there(tmp_path: Path) -> None:
    """The day that came twice has more seconds than it lasts, and the extremes of both comings."""
    recorder = Recorder(tmp_path, BEGIN_S)
    recorder.readings(np.arange(0.0, DAY_S + 3600.0, 60.0).tolist(), lambda s: 25.0)
    assert sum_up(tmp_path, UTC, [oak(probe(1))], []) == 1
    recorder.step(DAY_S + 3600.0, -7200.0)
    recorder.readings(
        np.arange(DAY_S + 3600.0, 2 * DAY_S + 7300.0, 60.0).tolist(), lambda s: 20.0 if s < 91_000.0 else 26.0
    )
    recorder.close()
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    first, second = Sums(tmp_path).series_days(*FOREVER)[OAK_1]
    assert (first.known_s, second.known_s) == (DAY_S + 3600.0, DAY_S + 3600.0)
    assert first.lowest is not None
    assert first.lowest.value == 20.0
    assert first.lowest.wall_s == BEGIN_S + DAY_S - 3600.0


def test_a_clock_set_forward_skips_days_that_have_no_sums(tmp_path: Path) -> None:
    """Of days that never were nothing is told, and a start in 1970 stays where it was believed to be."""
    recorder = Recorder(tmp_path, 100.0)
    recorder.readings(np.arange(0.0, 600.0, 60.0).tolist(), wave)
    recorder.step(600.0, BEGIN_S)
    recorder.readings(np.arange(600.0, 40_000.0, 60.0).tolist(), wave)
    recorder.close()
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    days = Sums(tmp_path).series_days(*FOREVER)[OAK_1]
    assert [(day.date, day.known_s) for day in days] == [("1970-01-01", 600.0)]


def test_while_the_program_was_down_time_is_missing_and_the_mat_cut(tmp_path: Path) -> None:
    """Two days without a program: their readings are missing, and no second of heat is counted."""
    recorder = Recorder(tmp_path, BEGIN_S)
    recorder.verdict(0.0, True, 1)
    recorder.readings(np.arange(0.0, 36_000.0, 60.0).tolist(), wave)
    recorder.close()
    record(tmp_path, BEGIN_S + 2 * DAY_S + 43_200.0, 1.0)
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    days = Sums(tmp_path).tub_days(*FOREVER)["oak"]
    assert [day.date for day in days] == ["2027-11-10", "2027-11-11", "2027-11-12"]
    assert [day.missing_s for day in days] == [pytest.approx(DAY_S - 36_120.0), DAY_S, 43_200.0]
    assert [day.allowed_s for day in days] == [pytest.approx(35_940.0, abs=60.0), 0.0, 0.0]
    assert [day.operations for day in days] == [1, 0, 0]
    assert [len(each) for each in Sums(tmp_path).series_days(*FOREVER).values()] == [2, 1]


def test_summing_again_changes_nothing(tmp_path: Path) -> None:
    """A second pass finds nothing to do, and the sums stay as they are."""
    record(tmp_path, BEGIN_S, 2.2)
    assert sum_up(tmp_path, UTC, [oak(probe(1))], []) == 2
    before = Sums(tmp_path).series_days(*FOREVER)
    assert sum_up(tmp_path, UTC, [oak(probe(1))], []) == 0
    assert Sums(tmp_path).series_days(*FOREVER) == before
    assert Sums(tmp_path).summed_to_wall_s() == BEGIN_S + 2 * DAY_S


def test_many_days_may_be_summed_bit_by_bit(tmp_path: Path) -> None:
    """Asked to stop after two days, a pass stops; later ones go on, to the same sums as in one go."""
    record(tmp_path, BEGIN_S, 5.2, 600.0)
    answers = iter([True, True, False])
    assert sum_up(tmp_path, UTC, [oak(probe(1, 900.0))], [], lambda: next(answers)) == 2
    assert Sums(tmp_path).summed_to_wall_s() == BEGIN_S + 2 * DAY_S
    assert sum_up(tmp_path, UTC, [oak(probe(1, 900.0))], []) == 3
    assert [day.known_s for day in Sums(tmp_path).series_days(*FOREVER)[OAK_1]] == [DAY_S] * 5


def test_where_nothing_is_recorded_no_file_is_made(tmp_path: Path) -> None:
    """Summing up an empty directory is told as every reader is told, and leaves it empty."""
    with pytest.raises(StoreError, match="nothing is recorded in"):
        sum_up(tmp_path, UTC, [], [])
    assert list(tmp_path.iterdir()) == []


def test_a_day_that_goes_on_is_not_summed(tmp_path: Path) -> None:
    """Before the first midnight there are no sums, and the readings alone tell the extremes."""
    record(tmp_path, BEGIN_S, 0.9)
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    sums = Sums(tmp_path)
    assert sums.summed_to_wall_s() is None
    assert sums.series_days(*FOREVER) == {}
    raw = frame(tmp_path)
    low, high = sums.series_extremes(*FOREVER)[OAK_1]
    assert (low, high) == ((raw.min(), raw.idxmin()), (raw.max(), raw.idxmax()))


def test_the_extremes_of_any_range_are_those_of_its_readings(tmp_path: Path) -> None:
    """Sixty ranges, with begin and end anywhere: value and first time as pandas finds them in the raw readings."""
    record(tmp_path, BEGIN_S + 1234.0, 6.3, 120.0)
    sum_up(tmp_path, ZoneInfo("Asia/Kathmandu"), [oak(probe(1), probe(2))], [])
    raw = frame(tmp_path)
    chance = random.Random(5)
    for _ in range(60):
        since, until = sorted(BEGIN_S + chance.uniform(0.0, 7 * DAY_S) for _ in range(2))
        got = Sums(tmp_path).series_extremes(since, until, [OAK_1])
        part = raw[(raw.index >= since) & (raw.index < until)]
        if part.empty:
            assert got == {}
            continue
        assert got[OAK_1] == ((part.min(), part.idxmin()), (part.max(), part.idxmax()))


def test_a_zone_moved_later_counts_no_second_twice(tmp_path: Path) -> None:
    """After a move all seconds stay counted once, on days of the old zone and of the new one."""
    record(tmp_path, BEGIN_S, 2.5)
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    begin = Recorder(tmp_path, BEGIN_S + 2.5 * DAY_S)
    begin.readings(np.arange(0.0, 2 * DAY_S, 60.0).tolist(), wave)
    begin.close()
    sum_up(tmp_path, ZoneInfo("America/Denver"), [oak(probe(1))], [])
    days = Sums(tmp_path).series_days(*FOREVER)[OAK_1]
    until = Sums(tmp_path).summed_to_wall_s()
    assert until is not None
    assert sum(day.known_s for day in days) == until - BEGIN_S


def test_a_person_can_read_the_days_with_sqlite3(tmp_path: Path) -> None:
    """The daily figures are plain columns: thousandths and milliseconds."""
    record(tmp_path, BEGIN_S, 1.2)
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    with closing(sqlite3.connect(tmp_path / "matwarden.db")) as connection:
        rows = connection.execute(
            "SELECT date, probe, round(lowest / 1000.0, 1), known_ms FROM sum_days"
            " JOIN series_days USING (begins_wall_ms) JOIN series ON series.id = series ORDER BY probe"
        ).fetchall()
    low = min(wave(s) for s in np.arange(0.0, DAY_S, 60.0).tolist())
    assert rows == [
        ("2027-11-10", "oak-1", round(low, 1), 86_400_000),
        ("2027-11-10", "oak-2", round(low - 1.5, 1), 86_400_000),
    ]


def test_a_record_from_before_there_were_sums_has_none(tmp_path: Path) -> None:
    """Read by a newer program, an older record answers: no sums, and extremes from the readings once it was opened."""
    record(tmp_path, BEGIN_S, 0.1)
    with closing(sqlite3.connect(tmp_path / "matwarden.db", isolation_level=None)) as connection:
        for table in ("sums_mark", "sum_days", "series_days", "series_hours", "tub_days", "tub_hours"):
            connection.execute(f"DROP TABLE {table}")
        connection.execute("DELETE FROM _sqlite_migrations WHERE name = 'sums_kept_for_ever'")
    assert Sums(tmp_path).summed_to_wall_s() is None
    assert Sums(tmp_path).tub_days(*FOREVER) == {}
    record(tmp_path, BEGIN_S + DAY_S, 0.1)
    sum_up(tmp_path, UTC, [], [])
    days: list[SeriesSum] = Sums(tmp_path).series_days(*FOREVER)[OAK_1]
    assert [day.date for day in days] == ["2027-11-10"]


def frame(directory: Path) -> pd.Series[float]:
    """The raw temperatures of oak-1 by UTC seconds, as they are exported."""
    rows = list(readings_in(directory, *FOREVER, ["oak-1"]))
    return pd.Series([row.value for row in rows], index=[row.wall_s for row in rows])
