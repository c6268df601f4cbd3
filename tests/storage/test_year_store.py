"""A small cut of the year that `make year` builds whole: the same answers as the readings, in bounded time and room."""

from __future__ import annotations

import random
import sqlite3
from pathlib import Path

import pytest

from matwarden.sinks.store_moments import readings_in
from matwarden.sinks.store_sums import sum_up
from matwarden.sinks.store_sums_read import Sums
from matwarden.terms import Quantity
from storage.year_store import BEGIN_MS, UTC, build, sizes, tubs_of, wrong

TUBS, DAYS, RAW_DAYS = 2, 22, 1


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> Path:
    directory = tmp_path_factory.mktemp("year")
    build(directory, TUBS, DAYS, RAW_DAYS)
    return directory


def test_its_sums_are_those_of_the_readings(year: Path) -> None:
    """Lowest, highest and mean of a day as SQLite reckons them over the raw table."""
    assert wrong(year, DAYS, RAW_DAYS, random.Random(2), 6) == []


def test_days_stay_when_their_readings_have_gone(year: Path) -> None:
    """Of every series there are 22 days, and of the first one no reading any more."""
    days = Sums(year).series_days(0.0, 1e11)
    assert len(days) == 4 * TUBS
    assert {len(each) for each in days.values()} == {DAYS}
    assert next(readings_in(year, BEGIN_MS / 1000, BEGIN_MS / 1000 + 86_400.0), None) is None


def test_extremes_reach_from_the_first_day_to_the_last_reading(year: Path) -> None:
    """They lie at or outside those of every day, and take in the day that goes on."""
    key = ("tub1-moist", Quantity.TEMPERATURE)
    low, high = Sums(year).series_extremes(0.0, 1e11, [key])[key]
    tail_s = BEGIN_MS / 1000 + DAYS * 86_400.0
    tail = [each.value for each in readings_in(year, tail_s, 1e11, [key[0]]) if each.quantity is key[1]]
    days = Sums(year).series_days(0.0, 1e11, [key])[key]
    assert len(tail) == 8640
    assert low.value == min(min(tail), *(day.lowest.value for day in days if day.lowest))
    assert high.value == max(max(tail), *(day.highest.value for day in days if day.highest))


def test_a_year_of_the_sums_of_forty_series_takes_less_than_ten_megabytes(year: Path) -> None:
    """Of ten tubs with 40 series, by what one series and one tub take a day here (our own budget)."""
    try:
        bytes_of = sizes(year)
    except sqlite3.OperationalError:
        pytest.skip("this SQLite does not tell the size of a table")
    series_day = (bytes_of["series_days"] + bytes_of["series_hours"]) / (4 * TUBS * DAYS)
    tub_day = (bytes_of["tub_days"] + bytes_of["tub_hours"]) / (TUBS * DAYS)
    assert 365 * (40 * series_day + 10 * tub_day) < 10_000_000


def test_summing_a_day_writes_little(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Less than a megabyte for a day of 40 series (our own budget), by what two tubs cost."""
    monkeypatch.setattr("storage.year_store.sum_up", lambda *_: None)
    monkeypatch.setattr("storage.year_store.clean_up", lambda *_: None)
    monkeypatch.setattr("storage.year_store._spread", lambda *_: None)
    build(tmp_path, TUBS, 1, 1)
    before = written_bytes()
    assert sum_up(tmp_path, UTC, tubs_of(TUBS), []) == 1
    assert (written_bytes() - before) * 5 < 1_000_000


def written_bytes() -> int:
    """What this process has had written to the disk so far: proc(5), /proc/pid/io."""
    rows = Path("/proc/self/io").read_text(encoding="ascii").splitlines()
    return int(next(row for row in rows if row.startswith("write_bytes")).split()[1])
