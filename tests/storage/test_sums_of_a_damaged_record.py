"""What is kept for ever outlives a damaged file: the sums are carried into the fresh one as far as they can be read."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from matwarden.sinks.store import StoreReplaced, StoreSink, open_store
from matwarden.sinks.store_sums import sum_up
from matwarden.sinks.store_sums_read import Sums
from matwarden.terms import Quantity
from sums_examples import Recorder, oak, probe

UTC = ZoneInfo("UTC")
DAY_S = 86400.0
FOREVER = (0.0, 1e11)
# 2027-11-10 00:00 UTC
BEGIN_S = 1_825_804_800.0
OAK_1 = ("oak-1", Quantity.TEMPERATURE)


def record(directory: Path, begin_s: float, days: float) -> None:
    recorder = Recorder(directory, begin_s)
    recorder.readings(np.arange(0.0, days * DAY_S, 300.0).tolist(), lambda s: 20.0 + s % 7919 / 1000, lambda s: 24.0)
    recorder.close()
    sum_up(directory, UTC, [oak(probe(1, 900.0), probe(2, 900.0))], [])


def tear(file: Path, page: int) -> None:
    content = bytearray(file.read_bytes())
    content[page * 4096 : (page + 1) * 4096] = b"\x5a" * 4096
    file.write_bytes(content)


def test_whatever_page_is_torn_no_sum_is_changed(tmp_path: Path) -> None:
    """Each page in turn: a day's sums are there as they were, or not at all; and most pages cost none."""
    record(tmp_path / "whole", BEGIN_S, 12.5)
    before = {day.date: day for day in Sums(tmp_path / "whole").series_days(*FOREVER)[OAK_1]}
    hours = {hour.begins_wall_s: hour for hour in Sums(tmp_path / "whole").tub_hours("oak", *FOREVER)}
    pages = (tmp_path / "whole" / "matwarden.db").stat().st_size // 4096
    unharmed = 0
    for page in range(1, pages, 3):
        torn = tmp_path / f"torn-{page}"
        shutil.copytree(tmp_path / "whole", torn)
        tear(torn / "matwarden.db", page)
        open_store(torn, BEGIN_S + 13 * DAY_S).close()
        after = Sums(torn).series_days(*FOREVER).get(OAK_1, [])
        assert all(before[day.date] == day for day in after)
        assert all(hours[hour.begins_wall_s] == hour for hour in Sums(torn).tub_hours("oak", *FOREVER))
        unharmed += len(after) == 12
        shutil.rmtree(torn)
    assert unharmed > pages // 3 // 2


def test_recording_goes_on_beside_the_sums_of_before(tmp_path: Path) -> None:
    """Days of before the damage and days of the fresh record are one series."""
    record(tmp_path, BEGIN_S, 3.5)
    before = Sums(tmp_path).series_days(*FOREVER)
    (tmp_path / "matwarden.db-wal").unlink(missing_ok=True)
    tear(tmp_path / "matwarden.db", root_page(tmp_path))
    store = open_store(tmp_path, BEGIN_S + 4 * DAY_S)
    assert "the sums of 3 days too" in store.notices[0]
    store.close()
    record(tmp_path, BEGIN_S + 5 * DAY_S, 2.5)
    after = Sums(tmp_path).series_days(*FOREVER)
    assert after[OAK_1][:3] == before[OAK_1]
    assert [day.date[-2:] for day in after[OAK_1]] == ["10", "11", "12", "15", "16"]


def test_damage_found_while_running_keeps_the_series_numbers(tmp_path: Path) -> None:
    """The sink goes on with the series it knows, in the fresh file that has them with the sums."""
    record(tmp_path, BEGIN_S, 3.5)
    sink = StoreSink(open_store(tmp_path, BEGIN_S + 4 * DAY_S), 0.0)
    sink._store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    sink._store.connection.execute("PRAGMA cache_size = 0")
    page = root_page(tmp_path)
    with (tmp_path / "matwarden.db").open("r+b") as file:
        file.seek(page * 4096)
        file.write(b"\x5a" * 4096)
    recorder = Recorder.over(sink, BEGIN_S + 5 * DAY_S)
    with pytest.raises(StoreReplaced):
        recorder.readings([0.0, 1.0], lambda s: 21.0)
    recorder.readings(np.arange(2.0, 1.5 * DAY_S, 600.0).tolist(), lambda s: 21.0)
    recorder.close()
    sum_up(tmp_path, UTC, [oak(probe(1, 900.0))], [])
    days = Sums(tmp_path).series_days(*FOREVER)[OAK_1]
    assert [day.date[-2:] for day in days] == ["10", "11", "12", "15"]
    assert days[-1].mean == 21.0


def test_of_a_large_file_the_sums_are_checked_at_the_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else every summing up would fail, and no reading ever be cleaned up."""
    monkeypatch.setattr("matwarden.sinks.store_file._CHECKED_WHOLE_BYTES", 0)
    record(tmp_path, BEGIN_S, 3.5)
    tear(tmp_path / "matwarden.db", root_page(tmp_path, "tub_days"))
    store = open_store(tmp_path, BEGIN_S + 4 * DAY_S)
    assert "is damaged" in store.notices[0]
    store.close()
    assert sum_up(tmp_path, UTC, [], []) == 0


def root_page(directory: Path, table: str = "readings_1") -> int:
    """The root page of a table, counted from 0."""
    with closing(sqlite3.connect(directory / "matwarden.db")) as connection:
        root = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0]
    return int(root) - 1
