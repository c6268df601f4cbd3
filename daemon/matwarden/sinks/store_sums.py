"""Summing up: every complete local day of the record made into sums, which stay when the readings go.

The record is gone through in *pieces*: stretches of time in which the wall clock ran straight and no local midnight
fell. A piece is added to the sums of its hours and its day in one transaction, together with the mark where the next
one begins: a kill at any moment loses nothing and counts nothing twice. A clock set back over midnight thus adds to a
day that is there already. Days are those of the zone in which they were summed.
"""

from __future__ import annotations

import sqlite3
from array import array
from collections.abc import Callable, Sequence
from contextlib import closing
from datetime import time, timedelta
from pathlib import Path
from typing import NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from matwarden.core.dates import instant, local_date
from matwarden.core.inside import inside_probes
from matwarden.core.record import HeatChange, Point
from matwarden.core.sums_of import SeriesTally, TubTally, heat_tally, hours_within, series_tally, tub_tally
from matwarden.sinks.store_heat import heat_changes
from matwarden.sinks.store_moments import reading_before
from matwarden.sinks.store_parts import parts, readings_between
from matwarden.sinks.store_schema import DATABASE, StoreError, connect, connect_read_only, explain
from matwarden.sinks.store_space import free_bytes, has_room
from matwarden.sinks.store_sums_pack import packed_series, packed_tub, unpacked_series, unpacked_tub
from matwarden.sinks.store_time import START, Mark, Stretch, laid_out
from matwarden.terms import Enclosure, ProbeTerms, Quantity

__all__ = ["sum_up", "summed_mark"]

# How long a reading of a probe holds that the settings no longer name: six polls of the usual ten seconds.
_UNKNOWN_HOLD_S = 60.0
# Readings are told within seconds of their capture: so far around a moment they may stand in another order.
_SLACK_MS = 60_000
_MIDNIGHT = time(0, 0)
_Tally = TypeVar("_Tally", SeriesTally, TubTally)


class _Piece(NamedTuple):
    """Times in milliseconds; elapsed ones on the record's line. `last`: the stretch ends with it."""

    stretch: Stretch
    following: Stretch | None
    from_ms: int
    to_ms: int
    day_begins_ms: int
    day_lasts_ms: int
    date: str

    @property
    def wall_ms(self) -> int:
        return self.stretch.wall_ms + self.from_ms - self.stretch.elapsed_ms


def sum_up(
    directory: Path,
    zone: ZoneInfo,
    enclosures: Sequence[Enclosure],
    room_probes: Sequence[ProbeTerms],
    go_on: Callable[[], bool] = lambda: True,
) -> int:
    """Sum up every local day of the record that is over and not summed yet; how many pieces were added.

    Works beside the running daemon; memory is that of one day's readings. Of the probes and tubs given the stale times
    and bands count; of other probes the series are summed all the same.

    Args:
        go_on: asked before each piece; when it says no, the next call goes on from there.

    Raises:
        StoreError: not everything was summed; what was stays so, and the next call goes on from there.
    """
    path = directory / DATABASE
    holds = {probe.id: probe.stale_s for each in enclosures for probe in each.probes}
    holds |= {probe.id: probe.stale_s for probe in room_probes}
    # Which makes no file where none is, and says so in the record's own words.
    connect_read_only(path).close()
    # On a nearly full disk readings are held in memory: of a day that lacks them no sums are made.
    if not has_room(free_bytes(directory), False):
        raise StoreError(f"the disk of {directory} is nearly full, so no days are summed up: free some space")
    try:
        with closing(connect(path)) as connection:
            pass_ = _Pass(connection, zone, enclosures, holds)
            done = 0
            while go_on() and pass_.one():
                done += 1
            return done
    except sqlite3.Error as error:
        raise explain(error, path, "write") from error


def summed_mark(connection: sqlite3.Connection) -> Mark:
    """Everything before is in the sums; `START` when nothing is."""
    if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'sums_mark'").fetchone():
        return START
    row = connection.execute("SELECT mark FROM sums_mark").fetchone()
    return START if row is None else Mark.parse(row[0])


class _Pass:
    """One going through what is not summed yet."""

    def __init__(
        self,
        connection: sqlite3.Connection,
        zone: ZoneInfo,
        enclosures: Sequence[Enclosure],
        holds: dict[str, float],
    ) -> None:
        self._connection = connection
        self._zone = zone
        self._enclosures = enclosures
        self._holds = holds
        self._look_back_ms = round(max([_UNKNOWN_HOLD_S, *holds.values()]) * 1000) + _SLACK_MS

    def one(self) -> bool:
        """Add the next piece, if there is a complete one."""
        query = self._connection.execute
        query("BEGIN")
        mark = summed_mark(self._connection)
        line = laid_out(self._connection)
        piece = self._next(line, mark)
        if piece is None:
            query("COMMIT")
            return False
        hours = hours_within(
            piece.day_begins_ms, piece.day_lasts_ms, piece.wall_ms, piece.wall_ms + piece.to_ms - piece.from_ms
        )
        t_ms = piece.to_ms - piece.stretch.elapsed_ms
        until = self._mark_at(mark, piece, t_ms)
        names, columns = self._columns(line, piece)
        series = self._series(names, columns, piece, hours)
        tubs = self._tubs(names, columns, line, piece, hours, mark, until)
        query("COMMIT")
        query("BEGIN IMMEDIATE")
        try:
            # Another process may have summed the same meanwhile.
            if summed_mark(self._connection) == mark:
                self._add(piece, series, tubs, until)
            query("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                query("ROLLBACK")
            raise
        return True

    def _next(self, line: list[Stretch], mark: Mark) -> _Piece | None:
        """The piece that begins at the mark, unless the day it is of is still going on."""
        if not line:
            return None
        from_ms = max(_elapsed_ms(line, mark), self._readings_begin_ms(line))
        piece = self._piece(line, from_ms)
        # A later piece of another day tells that this one's day is over.
        following = piece
        while following is not None and piece is not None and following.day_begins_ms == piece.day_begins_ms:
            following = self._piece(line, following.to_ms)
        return None if following is None else piece

    def _readings_begin_ms(self, line: list[Stretch]) -> int:
        """Where the first reading is that is still there."""
        there = parts(self._connection)
        if not there or not there[0].before:
            return 0
        return next((each.elapsed_ms + there[0].t_ms for each in line if each.id == there[0].stretch), 0)

    def _piece(self, line: list[Stretch], from_ms: int) -> _Piece | None:
        for stretch, following in zip(line, [*line[1:], None], strict=True):
            end_ms = stretch.elapsed_ms + stretch.seen_ms if following is None else following.elapsed_ms
            if end_ms <= from_ms:
                continue
            wall_ms = stretch.wall_ms + from_ms - stretch.elapsed_ms
            date = local_date(wall_ms / 1000, self._zone)
            begins_ms = round(instant(date, _MIDNIGHT, self._zone) * 1000)
            ends_ms = begins_ms
            after = date
            while ends_ms <= wall_ms:
                after += timedelta(days=1)
                ends_ms = round(instant(after, _MIDNIGHT, self._zone) * 1000)
            to_ms = min(end_ms, from_ms + ends_ms - wall_ms)
            return _Piece(stretch, following, from_ms, to_ms, begins_ms, ends_ms - begins_ms, date.isoformat())
        return None

    def _mark_at(self, before: Mark, piece: _Piece, t_ms: int) -> Mark:
        reading = reading_before(self._connection, piece.stretch, piece.following, t_ms)
        stretch, at_ms = piece.stretch.id, t_ms
        if piece.following is not None and piece.to_ms == piece.following.elapsed_ms:
            stretch, at_ms = piece.following.id, 0
        return Mark(reading, self._verdict_before(before.verdict, stretch, at_ms), 0, 0, stretch, at_ms)

    def _verdict_before(self, least: int, stretch: int, t_ms: int) -> int:
        row = self._connection.execute(
            "SELECT coalesce(max(id), ?) FROM verdicts WHERE id > ? AND (stretch < ? OR (stretch = ? AND t_ms < ?))",
            (least, least, stretch, stretch, t_ms),
        ).fetchone()
        return int(row[0])

    def _columns(
        self, line: list[Stretch], piece: _Piece
    ) -> tuple[dict[int, tuple[str, str]], dict[int, tuple[array[int], array[int]]]]:
        """Of each series the times and values that count in the piece, from those before that may hold into it."""
        names = {row[0]: (row[1], row[2]) for row in self._connection.execute("SELECT id, probe, quantity FROM series")}
        columns = {number: (array("i"), array("i")) for number in names}
        adders = {number: (times.append, values.append) for number, (times, values) in columns.items()}
        there = parts(self._connection)
        early_ms = piece.from_ms - self._look_back_ms
        length_ms = piece.to_ms - piece.from_ms
        for stretch, following in zip(line, [*line[1:], None], strict=True):
            if stretch.elapsed_ms > piece.to_ms or (following is not None and following.elapsed_ms < early_ms):
                continue
            after = reading_before(self._connection, stretch, following, early_ms - stretch.elapsed_ms)
            last = reading_before(self._connection, stretch, following, piece.to_ms + _SLACK_MS - stretch.elapsed_ms)
            shift_ms = stretch.elapsed_ms - piece.from_ms
            for rows in readings_between(self._connection, there, after, last):
                for t_ms, number, milli in rows:
                    at_ms = t_ms + shift_ms
                    if at_ms < length_ms:
                        add_time, add_value = adders[number]
                        add_time(at_ms)
                        add_value(milli)
        return names, columns

    def _series(
        self,
        names: dict[int, tuple[str, str]],
        columns: dict[int, tuple[array[int], array[int]]],
        piece: _Piece,
        hours: Sequence[tuple[int, int, int]],
    ) -> dict[int, dict[int, SeriesTally]]:
        found = {}
        for number, (times_ms, milli) in columns.items():
            hold_ms = round(self._holds.get(names[number][0], _UNKNOWN_HOLD_S) * 1000)
            tallies = {
                hour: tally
                for hour, from_ms, to_ms in hours
                if (tally := series_tally(times_ms, milli, hold_ms, from_ms, to_ms, piece.wall_ms)) is not None
            }
            if tallies:
                found[number] = tallies
        return found

    def _tubs(
        self,
        names: dict[int, tuple[str, str]],
        columns: dict[int, tuple[array[int], array[int]]],
        line: list[Stretch],
        piece: _Piece,
        hours: Sequence[tuple[int, int, int]],
        since: Mark,
        until: Mark,
    ) -> dict[str, dict[int, TubTally]]:
        numbers = {probe: number for number, (probe, quantity) in names.items() if quantity == Quantity.TEMPERATURE}
        wall_ms, from_ms = piece.wall_ms, piece.from_ms
        seen_ms = piece.stretch.elapsed_ms + piece.stretch.seen_ms
        down = piece.following is not None and piece.following.run != piece.stretch.run
        ran_until_ms = min(piece.to_ms, seen_ms) - from_ms if down else piece.to_ms - from_ms
        if from_ms > _elapsed_ms(line, since):
            # What lay between has gone.
            moment = (piece.stretch.id, from_ms - piece.stretch.elapsed_ms)
            since = Mark(0, self._verdict_before(since.verdict, *moment), 0, 0, *moment)
        here = piece.stretch._replace(elapsed_ms=piece.stretch.elapsed_ms - from_ms)
        changes: dict[str, list[HeatChange]] = {}
        for change in heat_changes(self._connection, [here], since, until):
            changes.setdefault(change.enclosure, []).append(change)
        found = {}
        for enclosure in self._enclosures:
            series = []
            for probe in inside_probes(enclosure):
                times_ms, milli = columns.get(numbers.get(probe.id, 0), ((), ()))
                points = [
                    Point(t_ms / 1000, (wall_ms + t_ms) / 1000, value / 1000)
                    for t_ms, value in zip(times_ms, milli, strict=True)
                ]
                series.append((points, probe.stale_s))
            tallies = tub_tally(series, enclosure.band, hours)
            heat = heat_tally(changes.get(enclosure.id, []), hours, max(0, ran_until_ms))
            found[enclosure.id] = {
                hour: tally._replace(allowed_ms=heat[hour][0], operations=heat[hour][1])
                for hour, tally in tallies.items()
            }
        return found

    def _add(
        self,
        piece: _Piece,
        series: dict[int, dict[int, SeriesTally]],
        tubs: dict[str, dict[int, TubTally]],
        until: Mark,
    ) -> None:
        """Add a piece to what is kept of its day, inside the caller's transaction."""
        execute, day = self._connection.execute, piece.day_begins_ms
        execute("INSERT OR IGNORE INTO sum_days VALUES (?, ?, ?)", (day, piece.day_lasts_ms, piece.date))
        for number, tallies in sorted(series.items()):
            row = execute(
                "SELECT hours FROM series_hours WHERE begins_wall_ms = ? AND series = ?", (day, number)
            ).fetchone()
            for hour, kept in ({} if row is None else unpacked_series(row[0], day)).items():
                tallies[hour] = kept.plus(tallies[hour]) if hour in tallies else kept
            whole = _whole(list(tallies.values()))
            execute(
                "INSERT OR REPLACE INTO series_days VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (day, number, *_shown(whole), whole.weighted / whole.known_ms / 1000, whole.known_ms),
            )
            execute("INSERT OR REPLACE INTO series_hours VALUES (?, ?, ?)", (day, number, packed_series(tallies, day)))
        for enclosure in self._enclosures:
            add = tubs[enclosure.id]
            row = execute(
                "SELECT hours FROM tub_hours WHERE begins_wall_ms = ? AND enclosure = ?", (day, enclosure.id)
            ).fetchone()
            for hour, before in ({} if row is None else unpacked_tub(row[0], day)).items():
                add[hour] = before.plus(add[hour]) if hour in add else before
            tub = _whole(list(add.values()))
            heat = (None, None) if enclosure.mat is None else (tub.allowed_ms, tub.operations)
            execute(
                f"INSERT OR REPLACE INTO tub_days VALUES ({', '.join('?' * 18)})",
                (
                    day,
                    enclosure.id,
                    enclosure.band.low_c,
                    enclosure.band.high_c,
                    *_shown(tub),
                    tub.weighted / tub.known_ms / 1000 if tub.known_ms else None,
                    *tub[5:11],
                    *heat,
                    tub.span_ms,
                ),
            )
            execute("INSERT OR REPLACE INTO tub_hours VALUES (?, ?, ?)", (day, enclosure.id, packed_tub(add, day)))
        wall_ms = piece.wall_ms + piece.to_ms - piece.from_ms
        execute("INSERT OR REPLACE INTO sums_mark VALUES (1, ?, ?)", (str(until), wall_ms))


def _whole(tallies: Sequence[_Tally]) -> _Tally:
    whole = tallies[0]
    for each in tallies[1:]:
        whole = whole.plus(each)
    return whole


def _shown(tally: SeriesTally | TubTally) -> tuple[int | None, ...]:
    """Lowest and highest with their times, as a person reads them in the table."""
    low = (None, None) if tally.lowest_ms < 0 else (tally.lowest, tally.lowest_ms)
    return (*low, *((None, None) if tally.highest_ms < 0 else (tally.highest, tally.highest_ms)))


def _elapsed_ms(line: Sequence[Stretch], mark: Mark) -> int:
    return next((each.elapsed_ms + mark.t_ms for each in line if each.id == mark.stretch), 0)
