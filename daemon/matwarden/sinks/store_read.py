"""Reading the record: from any thread or process, while the daemon runs and when it does not."""

from __future__ import annotations

import json
import sqlite3
from array import array
from collections.abc import Collection, Iterator, Sequence
from contextlib import closing, contextmanager
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple, overload

from matwarden.core.record import AlarmLine, Point, RefusalCount, SeriesKey, Window
from matwarden.sinks.store_alarms import AlarmHistory, alarm_history
from matwarden.sinks.store_heat import heat_changes
from matwarden.sinks.store_latches import LATCHES, kept_latches
from matwarden.sinks.store_parts import parts, readings_between
from matwarden.sinks.store_schema import DATABASE, StoreError, connect_read_only, explain
from matwarden.sinks.store_time import START, STARTED, STEPPED, Mark, Stretch, high_water, laid_out
from matwarden.terms import AlarmState, Quantity

__all__ = ["Deed", "KeptDigest", "LatestReading", "LatestVerdict", "Mark", "Recorded", "Track"]

# How many rows back a series' latest reading is looked for: hours, at any size of shelf.
_LATEST_ROWS = 50_000


class LatestReading(NamedTuple):
    """The newest recorded reading of one series."""

    probe: str
    quantity: Quantity
    wall_s: float
    value: float


class LatestVerdict(NamedTuple):
    """The newest recorded verdict on one mat, and the sentence with the numbers that made it."""

    enclosure: str
    wall_s: float
    allowed: bool
    reason: str
    operations: int
    sentence: str


class Deed(NamedTuple):
    """What a person did, and the answer they were given. `ok`: it was done."""

    wall_s: float
    by: str
    verb: str
    target: str
    ok: bool
    text: str


class KeptDigest(NamedTuple):
    """A digest as it was recorded."""

    date: str
    made_wall_s: float
    text: str
    document: dict[str, Any]


class Track(Sequence[Point]):
    """The points of one series, kept as three whole numbers each: a night of a full shelf must fit a small board."""

    __slots__ = ("_elapsed_ms", "_milli", "_wall_ms")

    def __init__(self, elapsed_ms: array[int], wall_ms: array[int], milli: array[int]) -> None:
        self._elapsed_ms = elapsed_ms
        self._wall_ms = wall_ms
        self._milli = milli

    @property
    def columns(self) -> tuple[array[int], array[int], array[int]]:
        """Of all points: elapsed and wall time in milliseconds, value in thousandths."""
        return self._elapsed_ms, self._wall_ms, self._milli

    def __len__(self) -> int:
        return len(self._milli)

    def __iter__(self) -> Iterator[Point]:
        # Past the named tuple's own constructor: a night is a million points, and each is made several times.
        new = tuple.__new__
        for elapsed_ms, wall_ms, milli in zip(self._elapsed_ms, self._wall_ms, self._milli, strict=True):
            yield new(Point, (elapsed_ms / 1000, wall_ms / 1000, milli / 1000))

    @overload
    def __getitem__(self, index: int) -> Point: ...
    @overload
    def __getitem__(self, index: slice) -> Track: ...
    def __getitem__(self, index: int | slice) -> Point | Track:
        if isinstance(index, slice):
            return Track(self._elapsed_ms[index], self._wall_ms[index], self._milli[index])
        return Point(self._elapsed_ms[index] / 1000, self._wall_ms[index] / 1000, self._milli[index] / 1000)


class Recorded:
    """The record in `directory`, read only. Each call opens the file, sees one moment of it, and lets go.

    Args:
        untouched: leaves no file beside the record, as SQLite else may.
    """

    def __init__(self, directory: Path, untouched: bool = False) -> None:
        self._path = directory / DATABASE
        self._untouched = untouched

    def last_seen(self) -> float | None:
        """UTC seconds when something was last recorded; None when nothing ever was."""
        with self._moment() as connection:
            row = connection.execute(
                "SELECT began_wall_ms + seen_ms FROM stretches ORDER BY id DESC LIMIT 1"
            ).fetchone()
        return None if row is None else row[0] / 1000

    def remembered(self) -> dict[str, dict[str, Any]]:
        """Everything kept by `Remember` events, by key."""
        with self._moment() as connection:
            kept = dict(connection.execute("SELECT key, json FROM memory").fetchall())
        kept |= kept_latches(self._path.with_name(LATCHES))
        return {key: json.loads(text) for key, text in kept.items()}

    def latest_readings(self) -> list[LatestReading]:
        """The newest reading of every series that had one lately."""
        found: dict[int, LatestReading] = {}
        with self._moment() as connection:
            names = {row[0]: (row[1], Quantity(row[2])) for row in connection.execute("SELECT * FROM series")}
            stretches = laid_out(connection)[::-1]
            rows = (
                (part.before + number, t_ms, series, milli)
                for part in parts(connection)[::-1]
                for number, t_ms, series, milli in connection.execute(
                    f"SELECT id, t_ms, series, milli FROM {part.table} ORDER BY id DESC"
                )
            )
            for number, t_ms, series, milli in islice(rows, _LATEST_ROWS):
                if series in found:
                    continue
                stretch = next(stretch for stretch in stretches if stretch.first_reading <= number)
                found[series] = LatestReading(*names[series], (stretch.wall_ms + t_ms) / 1000, milli / 1000)
                if len(found) == len(names):
                    break
        return sorted(found.values())

    def latest_verdicts(self) -> list[LatestVerdict]:
        """The newest verdict on every mat."""
        with self._moment() as connection:
            rows = connection.execute(
                "SELECT v.enclosure, s.began_wall_ms + v.t_ms, v.allowed, v.reason, v.operations, v.sentence"
                " FROM enclosures e JOIN verdicts v ON v.id = e.last_verdict JOIN stretches s ON s.id = v.stretch"
                " ORDER BY v.enclosure"
            ).fetchall()
        return [
            LatestVerdict(enclosure, wall_ms / 1000, bool(allowed), *rest)
            for enclosure, wall_ms, allowed, *rest in rows
        ]

    def active_alarms(self, since: Mark | None = None) -> list[AlarmLine]:
        """The newest transition of every alarm that is not back to normal, oldest first.

        Args:
            since: `elapsed_s` is counted as in the window that begins there: before it, it is negative. None: as in
                the window of everything.
        """
        with self._moment() as connection:
            rows = connection.execute(
                "SELECT a.stretch, a.t_ms, a.alarm, a.enclosure, a.previous, a.state, a.text, a.active_ms FROM alarms a"
                " WHERE a.id IN (SELECT max(id) FROM alarms GROUP BY alarm) AND a.state != ? ORDER BY a.id",
                (AlarmState.NORMAL.value,),
            ).fetchall()
            line = laid_out(connection)
        start_ms = _start_ms(line, since or START)
        stretches = {each.id: each._replace(elapsed_ms=each.elapsed_ms - start_ms) for each in line}
        return [_alarm_line(row, stretches[row[0]]) for row in rows]

    def deeds(self, since_wall_s: float = float("-inf")) -> list[Deed]:
        """The verbs that people used since then, oldest first."""
        with self._moment() as connection:
            # An older record has no such table until the program next runs on it.
            if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'deeds'").fetchone():
                return []
            rows = connection.execute(
                "SELECT s.began_wall_ms + d.t_ms, d.by, d.verb, d.target, d.ok, d.text"
                " FROM deeds d JOIN stretches s ON s.id = d.stretch ORDER BY d.id"
            ).fetchall()
        found = [Deed(wall_ms / 1000, by, verb, target, bool(ok), text) for wall_ms, by, verb, target, ok, text in rows]
        return [deed for deed in found if deed.wall_s >= since_wall_s]

    def alarm_history(self, days_s: float) -> AlarmHistory:
        """Every transition of an alarm within so many seconds before the record's end, and how its pushes fared."""
        with self._moment() as connection:
            return alarm_history(connection, days_s)

    def digest(self, date: str) -> KeptDigest | None:
        """The digest of a local date, None when there is none."""
        with self._moment() as connection:
            row = connection.execute(
                "SELECT date, made_wall_ms, text, document FROM digests WHERE date = ?", (date,)
            ).fetchone()
        return None if row is None else KeptDigest(row[0], row[1] / 1000, row[2], json.loads(row[3]))

    def digest_dates(self) -> list[str]:
        """The dates that have a digest, in the order they were made."""
        with self._moment() as connection:
            return [date for (date,) in connection.execute("SELECT date FROM digests ORDER BY id")]

    def digest_parts(self, part: str, last_n: int) -> list[Any]:
        """One part of the documents of the last digests, oldest first; those that have no such part are left out."""
        with self._moment() as connection:
            rows = connection.execute(
                "SELECT json_extract(document, ?) FROM digests ORDER BY id DESC LIMIT ?", (f"$.{part}", last_n)
            ).fetchall()
        return [json.loads(text) for (text,) in reversed(rows) if text is not None]

    def digest_mark(self) -> Mark | None:
        """Where the newest digest ended: the next one's window begins there. None before the first."""
        with self._moment() as connection:
            row = connection.execute("SELECT mark FROM digests ORDER BY id DESC LIMIT 1").fetchone()
        return None if row is None else Mark.parse(row[0])

    def mark(self) -> Mark:
        """Where the record stands now."""
        with self._moment() as connection:
            return high_water(connection)

    def window(self, since: Mark | None, until: Mark, probes: Collection[str] | None = None) -> Window:
        """Everything recorded after `since` (None: from the beginning) up to `until`.

        Args:
            probes: readings of these only; None: of all.

        Raises:
            StoreError: it cannot be read, or nothing was ever recorded.
        """
        since = since or START
        with self._moment() as connection:
            line = [stretch for stretch in laid_out(connection) if since.stretch <= stretch.id <= until.stretch]
            if not line:
                raise StoreError(f"nothing is recorded in {self._path} between the two moments asked for")
            first, last = line[0], line[-1]
            start_ms = _start_ms(line, since)
            line = [stretch._replace(elapsed_ms=stretch.elapsed_ms - start_ms) for stretch in line]
            begun = [stretch for stretch in line if stretch.id > since.stretch]
            if since == START:
                begun = begun[1:]
            return Window(
                start_elapsed_s=0.0,
                end_elapsed_s=(line[-1].elapsed_ms + until.t_ms) / 1000,
                start_wall_s=(first.wall_ms - line[0].elapsed_ms) / 1000,
                end_wall_s=(last.wall_ms + until.t_ms) / 1000,
                series=_series(connection, line, since, until, probes),
                heat=heat_changes(connection, line, since, until),
                alarms=_alarms(connection, line, since, until),
                refusals=_refusals(connection, since, until),
                restarts=sum(stretch.reason == STARTED for stretch in begun),
                clock_steps=tuple(stretch.step_ms / 1000 for stretch in begun if stretch.reason == STEPPED),
            )

    @contextmanager
    def _moment(self) -> Iterator[sqlite3.Connection]:
        """A connection that sees one moment, whatever is written meanwhile."""
        with closing(connect_read_only(self._path, self._untouched)) as connection:
            try:
                connection.execute("BEGIN")
                yield connection
            except sqlite3.Error as error:
                raise explain(error, self._path, "read") from error


def _start_ms(line: Sequence[Stretch], since: Mark) -> int:
    """Where on this time line the window begins that `since` begins."""
    first = next((stretch for stretch in line if stretch.id >= since.stretch), None)
    if first is None:
        return 0
    return first.elapsed_ms + (since.t_ms if first.id == since.stretch else 0)


def _series(
    connection: sqlite3.Connection, line: Sequence[Stretch], since: Mark, until: Mark, probes: Collection[str] | None
) -> dict[SeriesKey, Track]:
    names = {row[0]: (row[1], Quantity(row[2])) for row in connection.execute("SELECT * FROM series")}
    if probes is not None:
        names = {number: name for number, name in names.items() if name[0] in probes}
    of = None if probes is None else list(names)
    there = parts(connection)
    columns = {number: (array("q"), array("q"), array("q")) for number in names}
    adders = {number: tuple(column.append for column in three) for number, three in columns.items()}
    for stretch, following in zip(line, [*line[1:], None], strict=True):
        low = max(since.reading, stretch.first_reading - 1)
        high = until.reading if following is None else min(until.reading, following.first_reading - 1)
        elapsed_ms, wall_ms = stretch.elapsed_ms, stretch.wall_ms
        for rows in readings_between(connection, there, low, high, of):
            for t_ms, number, milli in rows:
                add_elapsed, add_wall, add_milli = adders[number]
                # A capture told only after the window's start may have been taken a moment before it.
                add_elapsed(max(0, elapsed_ms + t_ms))
                add_wall(wall_ms + t_ms)
                add_milli(milli)
    return {names[number]: Track(*three) for number, three in columns.items() if three[0]}


def _alarms(connection: sqlite3.Connection, line: Sequence[Stretch], since: Mark, until: Mark) -> list[AlarmLine]:
    stretches = {stretch.id: stretch for stretch in line}
    # Told only after the window's start, one may have happened a moment before it.
    return [
        (found := _alarm_line(row, stretches[row[0]]))._replace(elapsed_s=max(0.0, found.elapsed_s))
        for row in connection.execute(
            "SELECT stretch, t_ms, alarm, enclosure, previous, state, text, active_ms FROM alarms"
            " WHERE id > ? AND id <= ? ORDER BY id",
            (since.alarm, until.alarm),
        )
    ]


def _alarm_line(row: Sequence[Any], stretch: Stretch) -> AlarmLine:
    _, t_ms, alarm, enclosure, previous, state, text, active_ms = row
    elapsed_s = (stretch.elapsed_ms + t_ms) / 1000
    wall_s = (stretch.wall_ms + t_ms) / 1000
    states = (AlarmState(previous), AlarmState(state))
    return AlarmLine(elapsed_s, wall_s, alarm, enclosure, *states, text, active_ms / 1000)


def _refusals(connection: sqlite3.Connection, since: Mark, until: Mark) -> list[RefusalCount]:
    rows = connection.execute(
        # With exactly one max() SQLite takes the bare column from the row that has it.
        "SELECT probe, sum(missing_n), sum(doubtful_n), last_why, max(id) FROM refusals"
        " WHERE id > ? AND id <= ? GROUP BY probe ORDER BY probe",
        (since.refusal, until.refusal),
    )
    return [RefusalCount(probe, missing_n, doubtful_n, why) for probe, missing_n, doubtful_n, why, _ in rows]
