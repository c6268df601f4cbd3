"""Readings on the disk: numbered through, in tables of half a million each.

In tables, because old readings then go by dropping whole ones: that writes a few pages, where deleting the rows would
write every page of them once more. A reading's number is its row in its table plus how many lie in the tables before;
numbers are never used twice, also after the first tables are gone.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterable, Iterator
from typing import NamedTuple

__all__ = ["PART_ROWS", "Part", "add_readings", "begin_part", "last_number", "parts", "readings_between", "rows_in"]

# Some 9 MB: a day or two of a large shelf, a month of a small one.
PART_ROWS = 500_000
# So many readings to a statement halve the time a commit takes.
_AT_ONCE = 20


class Part(NamedTuple):
    """One table of readings.

    Attributes:
        before: the number of the last reading before its first.
        stretch, t_ms: when it was begun; all readings in earlier parts are from before that.
    """

    id: int
    before: int
    stretch: int
    t_ms: int

    @property
    def table(self) -> str:
        return f"readings_{self.id}"


def parts(connection: sqlite3.Connection) -> list[Part]:
    """All parts there are, oldest first."""
    return [Part._make(row) for row in connection.execute("SELECT id, before, stretch, t_ms FROM parts ORDER BY id")]


def begin_part(connection: sqlite3.Connection, id: int, before: int, stretch: int, t_ms: int) -> Part:
    """Make an empty part."""
    part = Part(id, before, stretch, t_ms)
    connection.execute(
        f"CREATE TABLE {part.table} (id INTEGER PRIMARY KEY, t_ms INTEGER, series INTEGER, milli INTEGER)"
    )
    connection.execute("INSERT INTO parts (id, before, stretch, t_ms) VALUES (?, ?, ?, ?)", part)
    return part


def rows_in(connection: sqlite3.Connection, part: Part) -> int:
    """How many readings the part has."""
    return int(connection.execute(f"SELECT coalesce(max(id), 0) FROM {part.table}").fetchone()[0])


def last_number(connection: sqlite3.Connection, part: Part | None = None) -> int:
    """The number of the newest reading, 0 before the first. `part`: the newest part, where it is known."""
    if part is None:
        there = parts(connection)
        if not there:
            return 0
        part = there[-1]
    return part.before + rows_in(connection, part)


def add_readings(connection: sqlite3.Connection, part: Part, numbers: list[int]) -> None:
    """Append readings to the newest part: `t_ms`, `series` and `milli` of each, one after the other."""
    one = f"INSERT INTO {part.table} (t_ms, series, milli) VALUES (?, ?, ?)"
    step = 3 * _AT_ONCE
    whole = len(numbers) - len(numbers) % step
    connection.executemany(
        one + ", (?, ?, ?)" * (_AT_ONCE - 1), (numbers[at : at + step] for at in range(0, whole, step))
    )
    connection.executemany(one, (numbers[at : at + 3] for at in range(whole, len(numbers), 3)))


def readings_between(
    connection: sqlite3.Connection, there: Iterable[Part], after: int, last: int, of: Collection[int] | None = None
) -> Iterator[sqlite3.Cursor]:
    """For each part concerned the `t_ms`, `series` and `milli` of the readings numbered above `after` up to `last`.

    Args:
        of: numbers of the series wanted; None: of all.
    """
    wanted = "" if of is None else f" AND series IN ({','.join(map(str, of))})"
    for part in there:
        yield connection.execute(
            f"SELECT t_ms, series, milli FROM {part.table} WHERE id > ? AND id <= ?{wanted}",
            (after - part.before, last - part.before),
        )
