"""Wall-clock times as positions in the record, and readings one after the other: for questions about any range.

Where the wall clock was set back, a time comes twice: a range begins with its first coming and ends with its last.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from matwarden.sinks.store_parts import Part, parts
from matwarden.sinks.store_schema import DATABASE, connect_read_only, explain
from matwarden.sinks.store_time import START, Mark, Stretch, high_water, laid_out
from matwarden.terms import Quantity

__all__ = ["RecordedReading", "marks_between", "reading_before", "readings_in"]

# So many readings are held at a time; between them the file is let go, so that a long export stops no writer's log.
_CHUNK_ROWS = 20_000


class RecordedReading(NamedTuple):
    """One reading as it was recorded: UTC seconds as believed then; degrees Celsius or percent relative humidity."""

    wall_s: float
    probe: str
    quantity: Quantity
    value: float


def marks_between(directory: Path, since_wall_s: float | None, until_wall_s: float | None) -> tuple[Mark | None, Mark]:
    """The positions of two times in the record; None: its beginning, or its end.

    Raises:
        StoreError: nothing was recorded there yet, or it cannot be read.
    """
    path = directory / DATABASE
    with closing(connect_read_only(path)) as connection:
        try:
            connection.execute("BEGIN")
            line = laid_out(connection)
            end = high_water(connection)
            since = None if since_wall_s is None else _mark_at(connection, line, round(since_wall_s * 1000), False)
            until = (
                end if until_wall_s is None else _mark_at(connection, line, round(until_wall_s * 1000), True) or START
            )
        except sqlite3.Error as error:
            raise explain(error, path, "read") from error
    return since, until


def readings_in(
    directory: Path,
    since_wall_s: float,
    until_wall_s: float,
    probes: Collection[str] | None = None,
    untouched: bool = False,
) -> Iterator[RecordedReading]:
    """Every reading of a range, in the order of recording; memory does not grow with the range.

    Args:
        since_wall_s: belongs to the range. until_wall_s: does not. probes: only of these; None: of all.
        untouched: leaves no file beside the record, as SQLite else may.

    Raises:
        StoreError: nothing was recorded there yet, or it cannot be read.
    """
    path = directory / DATABASE
    with closing(connect_read_only(path, untouched)) as connection:
        try:
            names = {row[0]: (row[1], Quantity(row[2])) for row in connection.execute("SELECT * FROM series")}
            wanted = [number for number, (probe, _) in names.items() if probes is None or probe in probes]
            line = laid_out(connection)
            for stretch, following in zip(line, [*line[1:], None], strict=True):
                low, high = round(since_wall_s * 1000) - stretch.wall_ms, round(until_wall_s * 1000) - stretch.wall_ms
                last = None if following is None else following.first_reading - 1
                for t_ms, number, milli in _rows(connection, wanted, stretch.first_reading - 1, last, low, high):
                    yield RecordedReading((stretch.wall_ms + t_ms) / 1000, *names[number], milli / 1000)
        except sqlite3.Error as error:
            raise explain(error, path, "read") from error


def _rows(
    connection: sqlite3.Connection, wanted: list[int], after: int, last: int | None, low_ms: int, high_ms: int
) -> Iterator[tuple[int, int, int]]:
    if not wanted or high_ms <= 0:
        return
    of = f" AND series IN ({','.join(map(str, wanted))})"
    for part in parts(connection):
        end = 2**62 if last is None else last - part.before
        at = after - part.before
        while at < end:
            try:
                rows = connection.execute(
                    f"SELECT id, t_ms, series, milli FROM {part.table} WHERE id > ? AND id <= ?"
                    f" AND t_ms >= ? AND t_ms < ?{of} ORDER BY id LIMIT {_CHUNK_ROWS}",
                    (at, end, low_ms, high_ms),
                ).fetchall()
            except sqlite3.OperationalError:
                if any(each.id == part.id for each in parts(connection)):
                    raise
                break  # cleaned up meanwhile
            yield from (row[1:] for row in rows)
            if len(rows) < _CHUNK_ROWS:
                break
            at = rows[-1][0]


def _mark_at(connection: sqlite3.Connection, line: list[Stretch], wall_ms: int, last: bool) -> Mark | None:
    """Everything before the mark was recorded before this time. None: so was nothing."""
    begun = [stretch for stretch in line if stretch.wall_ms <= wall_ms]
    if not begun:
        return None
    # A beginning is in the first stretch in which the clock showed it; in a gap of the record, at the end before it.
    first = next((each for each in begun if wall_ms <= each.wall_ms + each.seen_ms), begun[-1])
    stretch = begun[-1] if last else first
    t_ms = min(wall_ms - stretch.wall_ms, stretch.seen_ms)
    following = next((each for each in line if each.id > stretch.id), None)
    reading = reading_before(connection, stretch, following, t_ms)
    moment = (stretch.id, stretch.id, t_ms)
    verdict, alarm, refusal = (
        connection.execute(
            f"SELECT coalesce(max(id), 0) FROM {table} WHERE stretch < ? OR (stretch = ? AND t_ms < ?)", moment
        ).fetchone()[0]
        for table in ("verdicts", "alarms", "refusals")
    )
    return Mark(reading, verdict, alarm, refusal, stretch.id, t_ms)


def reading_before(connection: sqlite3.Connection, stretch: Stretch, following: Stretch | None, t_ms: int) -> int:
    """The number of the last reading of the stretch from before `t_ms`: by halves, since times only grow in it."""
    there = parts(connection)
    low = stretch.first_reading - 1
    high = following.first_reading - 1 if following is not None else high_water(connection).reading
    if there:
        low = max(low, there[0].before)
    while low < high:
        middle = (low + high + 1) // 2
        if _t_ms(connection, there, middle) < t_ms:
            low = middle
        else:
            high = middle - 1
    return low


def _t_ms(connection: sqlite3.Connection, there: list[Part], number: int) -> int:
    part = next(each for each in reversed(there) if each.before < number)
    row = connection.execute(f"SELECT t_ms FROM {part.table} WHERE id = ?", (number - part.before,)).fetchone()
    return 0 if row is None else int(row[0])
