"""Deleting what is older than it has to be kept, or what a filling disk has no room for; in slices short enough for
nobody to notice."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from matwarden.sinks.store_parts import Part, parts, rows_in
from matwarden.sinks.store_schema import DATABASE, connect, explain
from matwarden.sinks.store_sums import summed_mark
from matwarden.sinks.store_time import laid_out

__all__ = ["clean_up", "make_room"]

_SLICE_ROWS = 20_000
# Given back to the disk in one go: a megabyte.
_SLICE_PAGES = 256
# Longer than any reading does (the settings take no longer stale time).
_HOLDS_MS = 3_600_000


def clean_up(directory: Path, keep_raw_days: float) -> int:
    """Delete readings, refusals and verdicts older than `keep_raw_days` that are summed up; how many went.

    What is not in the sums yet (store_sums.py) stays whatever its age: sum up first.

    Readings go in whole parts (store_parts.py), so some stay a while longer. Age is counted on the record's own time
    line: a wrong wall clock deletes nothing. Alarms, digests, the newest part and the last verdict on every mat stay
    whatever their age. Any thread or process may do this while the daemon runs.

    Raises:
        StoreError: not everything was deleted; what was stays deleted.
    """
    path = directory / DATABASE
    try:
        with closing(connect(path)) as connection:
            return _clean_up(connection, round(keep_raw_days * 86_400_000))
    except sqlite3.Error as error:
        raise explain(error, path, "write") from error


def make_room(directory: Path, keep_free: int, free: int) -> int:
    """Drop the oldest parts of the readings until `keep_free` bytes of the disk are free; how many readings went.

    The newest part stays, and so does everything else: on a disk that somebody else fills this is not enough. Sum up
    first: as the last resort readings go too that are in no sum yet. Any thread or process may do this while the
    daemon runs.

    Args:
        free: bytes that are free on the disk now.

    Raises:
        StoreError: not everything was dropped; what was stays dropped.
    """
    path = directory / DATABASE
    try:
        with closing(connect(path)) as connection:
            return _make_room(connection, keep_free - free)
    except sqlite3.Error as error:
        raise explain(error, path, "write") from error


def _make_room(connection: sqlite3.Connection, short: int) -> int:
    page = _number(connection, "PRAGMA page_size")
    gone = 0
    there = parts(connection)
    # Pages that parts dropped before have left in the file are room as well.
    while len(there) > 1 and short > page * _number(connection, "PRAGMA freelist_count"):
        gone += _drop(connection, there.pop(0))
    returned = min(_number(connection, "PRAGMA freelist_count"), -(-max(0, short) // page))
    for _ in range(0, returned, _SLICE_PAGES):
        # As a script: it frees a page a step, and Python takes a statement without columns one step far only.
        connection.executescript(f"PRAGMA incremental_vacuum({_SLICE_PAGES})")
    if returned:
        # Only then is the file cut. Readers may be in the way: then it is the next checkpoint that does it.
        connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()
    return gone


def _drop(connection: sqlite3.Connection, part: Part) -> int:
    """Drop a part; how many readings went with it."""
    rows = rows_in(connection, part)
    connection.execute("BEGIN IMMEDIATE")
    connection.execute(f"DROP TABLE {part.table}")
    connection.execute("DELETE FROM parts WHERE id = ?", (part.id,))
    connection.execute("COMMIT")
    return rows


def _clean_up(connection: sqlite3.Connection, keep_ms: int) -> int:
    line = laid_out(connection)
    if not line:
        return 0
    mark = summed_mark(connection)
    # A reading from before the mark may still hold after it.
    summed_ms = next((each.elapsed_ms + mark.t_ms for each in line if each.id == mark.stretch), 0) - _HOLDS_MS
    cut_ms = min(line[-1].elapsed_ms + line[-1].seen_ms - keep_ms, summed_ms)
    begun_ms = {stretch.id: stretch.elapsed_ms for stretch in line}
    gone = 0
    there = parts(connection)
    for part, following in zip(there, there[1:], strict=False):
        if begun_ms[following.stretch] + following.t_ms > cut_ms:
            break
        gone += _drop(connection, part)
    old = [stretch for stretch in line if stretch.elapsed_ms <= cut_ms]
    if old:
        moment = (old[-1].id, old[-1].id, cut_ms - old[-1].elapsed_ms)
        gone += _delete(connection, "refusals", moment, "")
        gone += _delete(connection, "verdicts", moment, " AND id NOT IN (SELECT last_verdict FROM enclosures)")
    return gone


def _delete(connection: sqlite3.Connection, table: str, moment: tuple[int, int, int], but: str) -> int:
    """Delete the rows from before the moment, a slice at a time; never the newest, so no number is used twice."""
    limit = _number(
        connection,
        f"SELECT min((SELECT max(id) FROM {table}),"
        f" (SELECT max(id) + 1 FROM {table} WHERE stretch < ? OR (stretch = ? AND t_ms < ?)))",
        *moment,
    )
    gone = 0
    first = _number(connection, f"SELECT min(id) FROM {table} WHERE id < ?{but}", limit)
    while 0 < first < limit:
        first = min(first + _SLICE_ROWS, limit)
        gone += connection.execute(f"DELETE FROM {table} WHERE id < ?{but}", (first,)).rowcount
    return gone


def _number(connection: sqlite3.Connection, sql: str, *values: int) -> int:
    return int(connection.execute(sql, values).fetchone()[0] or 0)
