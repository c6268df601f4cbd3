"""Reading the sums: any question over a year, from any process, while the daemon runs and when it does not.

A day or hour belongs to a range when it begins in it. Where the clock was set back, a day holds more seconds than it
lasts; where nothing was recorded, there is no sum at all: absent is missing.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from matwarden.core.exposure import Extreme
from matwarden.core.record import SeriesKey
from matwarden.core.sums import SeriesSum, TubSum
from matwarden.core.sums_of import HOUR_MS, NOT_READ
from matwarden.sinks.store_moments import reading_before
from matwarden.sinks.store_parts import parts
from matwarden.sinks.store_schema import DATABASE, connect_read_only, explain
from matwarden.sinks.store_sums import summed_mark
from matwarden.sinks.store_sums_pack import unpacked_series, unpacked_tub
from matwarden.sinks.store_time import laid_out
from matwarden.terms import Quantity

__all__ = ["Sums"]

# Of one series the lowest and the highest: value and wall time each, in thousandths and milliseconds.
_Outer = tuple[int, int, int, int]
# Above every time within a stretch: store_schema.py.
_HALF = 2**31


class Sums:
    """The sums in the record of `directory`, read only. Every method raises StoreError when it cannot be read."""

    def __init__(self, directory: Path) -> None:
        self._path = directory / DATABASE

    def summed_to_wall_s(self) -> float | None:
        """Where the sums end, by the wall clock of then: from there on readings are to be asked. None: no sums yet."""
        with self._moment() as connection:
            if connection is None:
                return None
            row = connection.execute("SELECT wall_ms FROM sums_mark").fetchone()
        return None if row is None else row[0] / 1000

    def series_days(
        self, since_wall_s: float, until_wall_s: float, keys: Collection[SeriesKey] | None = None
    ) -> dict[SeriesKey, list[SeriesSum]]:
        """The days of each series, oldest first. `keys`: only of these; None: of all."""
        found: dict[SeriesKey, list[SeriesSum]] = {}
        with self._moment() as connection:
            if connection is None:
                return found
            for key, number in _numbers(connection, keys):
                # Day by day, so that of a large shelf only the rows of this series are looked at.
                rows = connection.execute(
                    "SELECT d.date, d.begins_wall_ms, d.lasts_ms, s.lowest, s.lowest_wall_ms, s.highest,"
                    " s.highest_wall_ms, s.mean, s.known_ms FROM sum_days d CROSS JOIN series_days s"
                    " ON s.begins_wall_ms = d.begins_wall_ms AND s.series = ?"
                    " WHERE d.begins_wall_ms >= ? AND d.begins_wall_ms < ? ORDER BY d.begins_wall_ms",
                    (number, *_range(since_wall_s, until_wall_s)),
                ).fetchall()
                if rows:
                    found[key] = [
                        SeriesSum(
                            date,
                            begins_ms / 1000,
                            lasts_ms / 1000,
                            _extreme(low, low_ms),
                            _extreme(high, high_ms),
                            mean,
                            known_ms / 1000,
                        )
                        for date, begins_ms, lasts_ms, low, low_ms, high, high_ms, mean, known_ms in rows
                    ]
        return found

    def series_hours(
        self, keys: Collection[SeriesKey] | None, since_wall_s: float, until_wall_s: float
    ) -> dict[SeriesKey, list[SeriesSum]]:
        """The hours of each series, oldest first; those in which nothing was known are left out."""
        since_ms, until_ms = _range(since_wall_s, until_wall_s)
        found: dict[SeriesKey, list[SeriesSum]] = {}
        with self._moment() as connection:
            if connection is None:
                return found
            for key, number in _numbers(connection, keys):
                sums = []
                for date, day_ms, lasts_ms, blob in connection.execute(
                    "SELECT d.date, d.begins_wall_ms, d.lasts_ms, h.hours FROM sum_days d CROSS JOIN series_hours h"
                    " ON h.begins_wall_ms = d.begins_wall_ms AND h.series = ?"
                    " WHERE d.begins_wall_ms > ? AND d.begins_wall_ms < ? ORDER BY d.begins_wall_ms",
                    (number, since_ms - 26 * HOUR_MS, until_ms),
                ):
                    for hour, each in unpacked_series(blob, day_ms).items():
                        begins_ms = day_ms + hour * HOUR_MS
                        if since_ms <= begins_ms < until_ms:
                            sums.append(
                                SeriesSum(
                                    date,
                                    begins_ms / 1000,
                                    min(HOUR_MS, lasts_ms - hour * HOUR_MS) / 1000,
                                    _extreme(each.lowest, each.lowest_ms),
                                    _extreme(each.highest, each.highest_ms),
                                    each.weighted / each.known_ms / 1000,
                                    each.known_ms / 1000,
                                )
                            )
                if sums:
                    found[key] = sums
        return found

    def tub_days(
        self, since_wall_s: float, until_wall_s: float, enclosure: str | None = None
    ) -> dict[str, list[TubSum]]:
        """The days of each tub, oldest first. `enclosure`: only of this one."""
        found: dict[str, list[TubSum]] = {}
        with self._moment() as connection:
            if connection is None:
                return found
            for row in connection.execute(
                "SELECT t.enclosure, d.date, d.begins_wall_ms, d.lasts_ms, t.lowest, t.lowest_wall_ms, t.highest,"
                " t.highest_wall_ms, t.mean, t.below_ms, t.in_band_ms, t.above_ms, t.missing_ms, t.below_kh,"
                " t.above_kh, t.allowed_ms, t.operations FROM sum_days d CROSS JOIN tub_days t"
                " ON t.begins_wall_ms = d.begins_wall_ms AND (? IS NULL OR t.enclosure = ?)"
                " WHERE d.begins_wall_ms >= ? AND d.begins_wall_ms < ? ORDER BY d.begins_wall_ms",
                (enclosure, enclosure, *_range(since_wall_s, until_wall_s)),
            ):
                tub, date, begins_ms, lasts_ms, low, low_ms, high, high_ms, mean, *times, below_kh, above_kh = row[:15]
                below_s, in_band_s, above_s, missing_s = (each / 1000 for each in times)
                allowed_ms, operations = row[15:]
                found.setdefault(tub, []).append(
                    TubSum(
                        date,
                        begins_ms / 1000,
                        lasts_ms / 1000,
                        _extreme(low, low_ms),
                        _extreme(high, high_ms),
                        mean,
                        below_s,
                        in_band_s,
                        above_s,
                        missing_s,
                        below_kh,
                        above_kh,
                        None if allowed_ms is None else allowed_ms / 1000,
                        operations,
                    )
                )
        return found

    def tub_hours(self, enclosure: str, since_wall_s: float, until_wall_s: float) -> list[TubSum]:
        """The hours of one tub, oldest first; those that the record does not touch are left out."""
        since_ms, until_ms = _range(since_wall_s, until_wall_s)
        found: list[TubSum] = []
        with self._moment() as connection:
            if connection is None:
                return found
            for date, day_ms, lasts_ms, mat, blob in connection.execute(
                "SELECT d.date, d.begins_wall_ms, d.lasts_ms, t.allowed_ms IS NOT NULL, h.hours"
                " FROM sum_days d CROSS JOIN tub_hours h"
                " ON h.begins_wall_ms = d.begins_wall_ms AND h.enclosure = ?"
                " JOIN tub_days t ON t.begins_wall_ms = d.begins_wall_ms AND t.enclosure = h.enclosure"
                " WHERE d.begins_wall_ms > ? AND d.begins_wall_ms < ? ORDER BY d.begins_wall_ms",
                (enclosure, since_ms - 26 * HOUR_MS, until_ms),
            ):
                for hour, each in unpacked_tub(blob, day_ms).items():
                    begins_ms = day_ms + hour * HOUR_MS
                    if since_ms <= begins_ms < until_ms:
                        found.append(
                            TubSum(
                                date,
                                begins_ms / 1000,
                                min(HOUR_MS, lasts_ms - hour * HOUR_MS) / 1000,
                                _extreme(each.lowest, each.lowest_ms),
                                _extreme(each.highest, each.highest_ms),
                                each.weighted / each.known_ms / 1000 if each.known_ms else None,
                                each.below_ms / 1000,
                                each.in_band_ms / 1000,
                                each.above_ms / 1000,
                                each.missing_ms / 1000,
                                each.below_kh,
                                each.above_kh,
                                each.allowed_ms / 1000 if mat else None,
                                each.operations if mat else None,
                            )
                        )
        return found

    def series_extremes(
        self, since_wall_s: float, until_wall_s: float, keys: Collection[SeriesKey] | None = None
    ) -> dict[SeriesKey, tuple[Extreme, Extreme]]:
        """Lowest and highest of each series with the times they were first read, up to what was recorded last.

        Of whole days from their sums, of whole hours of the other days likewise; the rest from the readings, where
        they are still there.
        """
        since_ms, until_ms = _range(since_wall_s, until_wall_s)
        with self._moment() as connection:
            if connection is None:
                return {}
            outer: dict[int, _Outer] = {}
            days = connection.execute(
                "SELECT begins_wall_ms, lasts_ms FROM sum_days WHERE begins_wall_ms + lasts_ms > ?"
                " AND begins_wall_ms < ? ORDER BY begins_wall_ms",
                (since_ms, until_ms),
            ).fetchall()
            whole = [day for day in days if since_ms <= day[0] and day[0] + day[1] <= until_ms]
            numbers = _numbers(connection, keys)
            if whole:
                _days_into(outer, connection, whole[0][0], whole[-1][0], {number for _, number in numbers})
            pieces: list[tuple[int, int]] = []
            for day in days:
                if day not in whole:
                    pieces += _hours_into(outer, connection, day, since_ms, until_ms)
            wanted = [number for _, number in numbers]
            mark = summed_mark(connection)
            for low_ms, high_ms in pieces:
                _readings_into(outer, connection, wanted, low_ms, high_ms, 0, mark.reading)
            _readings_into(outer, connection, wanted, since_ms, until_ms, mark.reading, None)
        return {
            key: (Extreme(found[0] / 1000, found[1] / 1000), Extreme(found[2] / 1000, found[3] / 1000))
            for key, number in numbers
            if (found := outer.get(number)) is not None
        }

    @contextmanager
    def _moment(self) -> Iterator[sqlite3.Connection | None]:
        """A connection that sees one moment; None for a record from before there were sums."""
        with closing(connect_read_only(self._path)) as connection:
            try:
                connection.execute("BEGIN")
                there = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'sums_mark'").fetchone()
                yield connection if there else None
            except sqlite3.Error as error:
                raise explain(error, self._path, "read") from error


def _numbers(connection: sqlite3.Connection, keys: Collection[SeriesKey] | None) -> list[tuple[SeriesKey, int]]:
    rows = connection.execute("SELECT probe, quantity, id FROM series ORDER BY id")
    named = [((probe, Quantity(quantity)), number) for probe, quantity, number in rows]
    return [pair for pair in named if keys is None or pair[0] in keys]


def _days_into(
    outer: dict[int, _Outer], connection: sqlite3.Connection, first_ms: int, last_ms: int, wanted: Collection[int]
) -> None:
    days = "FROM series_days WHERE begins_wall_ms BETWEEN ? AND ? AND lowest IS NOT NULL GROUP BY series"
    # With exactly one min() or max() SQLite takes the bare columns from the row that has it: the first of several.
    lows = {
        row[0]: row[1:]
        for row in connection.execute(f"SELECT series, min(lowest), lowest_wall_ms {days}", (first_ms, last_ms))
    }
    for number, high, high_ms in connection.execute(
        f"SELECT series, max(highest), highest_wall_ms {days}", (first_ms, last_ms)
    ):
        if number in wanted:
            _into(outer, number, (*lows[number], high, high_ms))


def _hours_into(
    outer: dict[int, _Outer], connection: sqlite3.Connection, day: tuple[int, int], since_ms: int, until_ms: int
) -> list[tuple[int, int]]:
    """Take the hours of a day that lie wholly in the range; what is left of it, at most two pieces of hours."""
    day_ms, lasts_ms = day
    count = -(-lasts_ms // HOUR_MS)
    spans = [(day_ms + k * HOUR_MS, min(day_ms + (k + 1) * HOUR_MS, day_ms + lasts_ms)) for k in range(count)]
    inside = {k for k, (begins_ms, ends_ms) in enumerate(spans) if since_ms <= begins_ms and ends_ms <= until_ms}
    for number, blob in connection.execute(
        "SELECT series, hours FROM series_hours WHERE begins_wall_ms = ?", (day_ms,)
    ):
        for k, each in unpacked_series(blob, day_ms).items():
            if k in inside and each.lowest_ms != NOT_READ:
                _into(outer, number, each[:4])
    return [
        (max(begins_ms, since_ms), min(ends_ms, until_ms))
        for k, (begins_ms, ends_ms) in enumerate(spans)
        if k not in inside and begins_ms < until_ms and ends_ms > since_ms
    ]


def _readings_into(
    outer: dict[int, _Outer],
    connection: sqlite3.Connection,
    wanted: Iterable[int],
    from_wall_ms: int,
    to_wall_ms: int,
    after: int,
    last: int | None,
) -> None:
    """Take the readings of a range of the wall clock, numbered above `after` up to `last`."""
    of = ",".join(map(str, wanted))
    there = parts(connection)
    line = laid_out(connection)
    for stretch, following in zip(line, [*line[1:], None], strict=True):
        from_ms, to_ms = from_wall_ms - stretch.wall_ms, to_wall_ms - stretch.wall_ms
        if to_ms <= 0 or from_ms > stretch.seen_ms:
            continue
        first = max(after, reading_before(connection, stretch, following, from_ms))
        end = reading_before(connection, stretch, following, to_ms)
        end = end if last is None else min(end, last)
        for part in there:
            if part.before >= end or first >= end:
                continue
            # Value and time in one number, so that one reading of the table finds both, and of equal values the first.
            for number, low, high in connection.execute(
                f"SELECT series, min(milli * {2 * _HALF} + {_HALF} + t_ms), max(milli * {2 * _HALF} + {_HALF} - t_ms)"
                f" FROM {part.table} WHERE id > ? AND id <= ? AND series IN ({of}) GROUP BY series",
                (first - part.before, end - part.before),
            ):
                low_milli, late_ms = divmod(low, 2 * _HALF)
                high_milli, early_ms = divmod(high, 2 * _HALF)
                low_wall_ms = stretch.wall_ms + late_ms - _HALF
                _into(outer, number, (low_milli, low_wall_ms, high_milli, stretch.wall_ms + _HALF - early_ms))


def _into(outer: dict[int, _Outer], number: int, more: _Outer) -> None:
    now = outer.get(number)
    if now is None:
        outer[number] = more
        return
    low = min((now[0], now[1]), (more[0], more[1]))
    high = min((-now[2], now[3]), (-more[2], more[3]))
    outer[number] = (*low, -high[0], high[1])


def _extreme(milli: int | None, wall_ms: int | None) -> Extreme | None:
    if milli is None or wall_ms is None or wall_ms == NOT_READ:
        return None
    return Extreme(milli / 1000, wall_ms / 1000)


def _range(since_wall_s: float, until_wall_s: float) -> tuple[int, int]:
    """In milliseconds, within what SQLite's whole numbers hold."""
    return (
        round(max(since_wall_s, -1e12) * 1000),
        round(min(until_wall_s, 1e12) * 1000),
    )
