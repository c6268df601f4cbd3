"""Taking the sums of a damaged record into the fresh one: of what is kept for ever, whatever can still be read."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from matwarden.sinks.store_schema import StoreError, connect_read_only

__all__ = ["carry_sums"]

_TABLES = ("series_days", "series_hours", "tub_days", "tub_hours", "sum_days")


def carry_sums(damaged: Path, fresh: sqlite3.Connection) -> int:
    """Copy the sums day by day, inside the caller's transaction; how many days came over whole.

    The numbers of the series come with them, and stay what they were. The mark does not: the fresh record has readings
    of its own only. A day that cannot be read is left behind.
    """
    whole = 0
    # The old file may say anything: that it has no such table, that there is no such page.
    with contextlib.suppress(sqlite3.Error, StoreError), contextlib.closing(connect_read_only(damaged)) as old:
        series = old.execute("SELECT id, probe, quantity FROM series").fetchall()
        days = [row[0] for row in old.execute("SELECT begins_wall_ms FROM sum_days ORDER BY begins_wall_ms")]
        fresh.executemany("INSERT OR IGNORE INTO series (id, probe, quantity) VALUES (?, ?, ?)", series)
        for day in days:
            fresh.execute("SAVEPOINT day")
            try:
                for table in _TABLES:
                    _copy(old, fresh, table, day)
                whole += 1
            except sqlite3.Error:
                fresh.execute("ROLLBACK TO day")
            fresh.execute("RELEASE day")
    return whole


def _copy(old: sqlite3.Connection, fresh: sqlite3.Connection, table: str, day: int) -> None:
    rows = old.execute(f"SELECT * FROM {table} WHERE begins_wall_ms = ?", (day,))
    places = ", ".join("?" * len(rows.description))
    fresh.executemany(f"INSERT OR REPLACE INTO {table} VALUES ({places})", rows)
