"""Deleting what is older than it has to be kept, in slices short enough for nobody to notice."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from matwarden.sinks.store_schema import DATABASE, connect, explain
from matwarden.sinks.store_time import laid_out

__all__ = ["clean_up"]

_SLICE_ROWS = 20_000
_LASTING = "SELECT last_verdict FROM enclosures"


def clean_up(directory: Path, keep_raw_days: float) -> int:
    """Delete readings, refusals and verdicts older than `keep_raw_days`; how many rows went.

    Age is counted on the record's own time line, so that a wrong wall clock deletes nothing. Alarms, digests and the
    last verdict on every mat stay whatever their age. Any thread or process may do this while the daemon runs.

    Raises:
        StoreError: not everything was deleted; what was stays deleted.
    """
    path = directory / DATABASE
    try:
        with closing(connect(path)) as connection:
            return _clean_up(connection, round(keep_raw_days * 86_400_000))
    except sqlite3.Error as error:
        raise explain(error, path, "write") from error


def _clean_up(connection: sqlite3.Connection, keep_ms: int) -> int:
    line = laid_out(connection)
    if not line:
        return 0
    cut_ms = line[-1].elapsed_ms + line[-1].seen_ms - keep_ms
    reached = [number for number, stretch in enumerate(line) if stretch.elapsed_ms <= cut_ms]
    if not reached:
        return 0
    stretch = line[reached[-1]]
    t_ms = cut_ms - stretch.elapsed_ms
    newest = _number(connection, "SELECT max(id) FROM readings")
    last = line[reached[-1] + 1].first_reading - 1 if reached[-1] + 1 < len(line) else newest
    # The newest reading stays, so that no number is used twice: marks and stretches point at them.
    limit = min(_first_from(connection, stretch.first_reading, last, t_ms), newest)
    gone = _delete(connection, "readings", limit, "")
    old = "WHERE stretch < ? OR (stretch = ? AND t_ms < ?)"
    for table, but in (("refusals", ""), ("verdicts", f" AND id NOT IN ({_LASTING})")):
        last_old = _number(connection, f"SELECT max(id) FROM {table} {old}", stretch.id, stretch.id, t_ms)
        newest = _number(connection, f"SELECT max(id) FROM {table}")
        gone += _delete(connection, table, min(last_old + 1, newest), but)
    return gone


def _first_from(connection: sqlite3.Connection, first: int, last: int, t_ms: int) -> int:
    """Number of the first reading in [first, last] taken at `t_ms` or later, in a few look-ups; last + 1 if none."""
    low, high = first, last + 1
    while low < high:
        middle = (low + high) // 2
        row = connection.execute(
            "SELECT t_ms FROM readings WHERE id >= ? AND id <= ? LIMIT 1", (middle, last)
        ).fetchone()
        if row is None or row[0] >= t_ms:
            high = middle
        else:
            low = middle + 1
    return low


def _delete(connection: sqlite3.Connection, table: str, limit: int, but: str) -> int:
    """Delete the rows numbered below `limit`, slice by slice."""
    gone = 0
    first = _number(connection, f"SELECT min(id) FROM {table} WHERE id < ?{but}", limit)
    while 0 < first < limit:
        first = min(first + _SLICE_ROWS, limit)
        gone += connection.execute(f"DELETE FROM {table} WHERE id < ?{but}", (first,)).rowcount
    return gone


def _number(connection: sqlite3.Connection, sql: str, *values: int) -> int:
    return int(connection.execute(sql, values).fetchone()[0] or 0)
