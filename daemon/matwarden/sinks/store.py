"""The sink that records: readings in batches, and what must not be lost at once.

Everything held is committed in one transaction when `commit_every_s` has passed, or as soon as a batch holds a durable
event: an alarm's transition, its push and the memory that goes with them are on the disk together or not at all. What
could not be committed is held and tried again with the next batch: readings and verdicts within bounds, durable events
always. While the disk is nearly full single readings are held too, and only what is durable or small is written.
"""

from __future__ import annotations

import json
import sqlite3
from array import array
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from matwarden.events import (
    AlarmChanged,
    ClockStepped,
    DigestMade,
    Event,
    PersonDid,
    PushAsked,
    Readings,
    Refused,
    Remember,
    Started,
    VerdictChanged,
)
from matwarden.sinks.outbox import INSERT_PUSH, push_row
from matwarden.sinks.store_file import Store, open_store
from matwarden.sinks.store_parts import PART_ROWS, Part, add_readings, begin_part, last_number, parts, rows_in
from matwarden.sinks.store_schema import StoreBusy, StoreError, StoreReplaced
from matwarden.sinks.store_space import Room
from matwarden.sinks.store_time import CONTINUED, STARTED, STEPPED, high_water
from matwarden.terms import At, Quality, Quantity

__all__ = ["Store", "StoreBusy", "StoreError", "StoreReplaced", "StoreSink", "open_store"]

# 24 bytes each while held. Beyond, the oldest go: a full disk must not fill the memory too.
HELD_READINGS = 100_000
HELD_VERDICTS = 10_000
# The times of a stretch stay below 2**31 ms, 24.8 days (store_schema.py says why).
LONGEST_STRETCH_S = 24 * 86400.0

_STRETCH = "INSERT INTO stretches VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_VERDICT = "INSERT INTO verdicts VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_HEAD = "INSERT OR REPLACE INTO enclosures (enclosure, last_verdict) VALUES (?, ?)"
_REFUSAL = "INSERT INTO refusals (stretch, t_ms, probe, missing_n, doubtful_n, last_why) VALUES (?, ?, ?, ?, ?, ?)"
_ALARM = (
    "INSERT INTO alarms (stretch, t_ms, alarm, enclosure, previous, state, priority, text, active_ms)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_DEED = "INSERT INTO deeds (stretch, t_ms, by, verb, target, ok, text) VALUES (?, ?, ?, ?, ?, ?, ?)"
_DIGEST = "INSERT OR REPLACE INTO digests (date, made_wall_ms, mark, text, document) VALUES (?, ?, ?, ?, ?)"

Row = tuple[Any, ...]


@dataclass(slots=True)
class _Stretch:
    """A stretch this run has begun, with the readings of it that are not on the disk yet: three numbers each."""

    id: int
    run: int
    began: At
    reason: str
    step_s: float
    version: str
    seen_ms: int = 0
    stored: bool = False
    rows: array[int] = field(default_factory=lambda: array("q"))

    def t_ms(self, mono_s: float) -> int:
        return round((mono_s - self.began.mono_s) * 1000)


class StoreSink:
    """Records events in a `Store`. Held to one thread at a time by its queue.

    Args:
        store: the open file; closed with the sink.
        commit_every_s: seconds between commits of readings, on the events' own monotonic time.
        room: asked at each commit whether readings may be written; None: always.
    """

    name = "store"

    def __init__(self, store: Store, commit_every_s: float, room: Room | None = None) -> None:
        self._store = store
        self._room_on_disk = room
        self._low = False
        self._commit_every_s = commit_every_s
        self._closed = False
        self._now = At(0.0, 0.0)
        self._committed_s = float("-inf")
        self._urgent = False
        self._stretches: list[_Stretch] = []
        self._verdicts: deque[Row] = deque()
        self._durable: list[tuple[str, Row]] = []
        self._refusals: dict[str, tuple[int, int, str]] = {}
        # Everything remembered, for the day the file is replaced; and the keys of it that are not on the disk yet.
        self._memory = {key: json.dumps(value) for key, value in store.remembered().items()}
        self._fresh_keys: set[str] = set(store.kept_beside)
        self._series: dict[str, tuple[int, int]] = {}
        self._fresh_series: list[Row] = []
        self._heads: dict[str, int] = {}
        query = store.connection.execute
        self._next_stretch, self._run = query(
            "SELECT coalesce(max(id), 0) + 1, coalesce(max(run), 0) FROM stretches"
        ).fetchone()
        self._next_verdict: int = query("SELECT coalesce(max(id), 0) + 1 FROM verdicts").fetchone()[0]
        self._next_series = 1
        for number, probe, quantity in query("SELECT id, probe, quantity FROM series"):
            temperature, humidity = self._series.get(probe, (0, 0))
            pair = (number, humidity) if quantity == Quantity.TEMPERATURE else (temperature, number)
            self._series[probe] = pair
            self._next_series = max(self._next_series, number + 1)
        for enclosure, last in query("SELECT enclosure, last_verdict FROM enclosures"):
            self._heads[enclosure] = last

    def accept(self, events: Sequence[Event]) -> None:
        """Hold the events; commit when it is time or one of them is durable.

        Raises:
            StoreError: nothing could be committed; what must not be lost is held and tried again with the next batch.
                Or the disk is nearly full, and readings are held.
        """
        for event in events:
            if isinstance(event, Readings):
                self._hold_readings(event)
            else:
                self._hold(event)
                if event.durable:
                    self._urgent = True
        if not events:
            return
        self._now = events[-1].at
        if self._committed_s == float("-inf"):
            self._committed_s = self._now.mono_s
        if self._urgent or self._now.mono_s - self._committed_s >= self._commit_every_s:
            self._low = self._room_on_disk is not None and not self._room_on_disk()
            self._commit()
        if self._low and self._room_on_disk is not None:
            raise StoreError(
                f"the disk of {self._store.path.parent} has only {self._room_on_disk.left / 1e6:.0f} MB left: readings "
                "are kept in memory, alarms are still recorded, warming goes on; free some space"
            )

    def close(self) -> None:
        """Commit what is held and release the file. Safe to call twice.

        Raises:
            StoreError: what was held could not be committed and is lost.
        """
        if self._closed:
            return
        self._closed = True
        try:
            if self._stretches:
                # If the disk is nearly full, what is durable first, and the readings if they still fit.
                if self._low:
                    self._commit()
                    self._low = False
                try:
                    self._commit()
                except StoreReplaced:
                    self._commit()
        finally:
            self._store.close()

    def _hold_readings(self, event: Readings) -> None:
        stretch = self._stretch(event.at)
        rows, zero_s, series = stretch.rows, stretch.began.mono_s, self._series
        last: At | None = None
        t_ms = 0
        for probe, at, temperature_c, humidity_pct in event.taken:
            temperature, humidity = series.get(probe) or self._new_series(probe, Quantity.TEMPERATURE)
            try:
                if at is not last:
                    t_ms, last = round((at[0] - zero_s) * 1000), at
                rows.extend((t_ms, temperature, round(temperature_c * 1000)))
                if humidity_pct is not None:
                    if not humidity:
                        humidity = self._new_series(probe, Quantity.HUMIDITY)[1]
                    rows.extend((t_ms, humidity, round(humidity_pct * 1000)))
            except (ValueError, OverflowError):
                # No number, or none that fits: the judge of samples lets none through, and no commit may fail by one.
                del rows[len(rows) // 3 * 3 :]

    def _hold(self, event: Event) -> None:
        if isinstance(event, Started):
            self._run += 1
            self._begin(event.at, STARTED, 0.0, event.version)
            return
        stretch = self._stretch(event.at)
        t_ms = stretch.t_ms(event.at.mono_s)
        if isinstance(event, Refused):
            missing_n, doubtful_n, _ = self._refusals.get(event.probe, (0, 0, ""))
            missing = event.quality is Quality.MISSING
            self._refusals[event.probe] = (missing_n + missing, doubtful_n + (not missing), event.why)
        elif isinstance(event, VerdictChanged):
            verdict = (event.enclosure, event.verdict.allowed, event.verdict.reason.value, event.operations)
            before = self._heads.get(event.enclosure)
            self._verdicts.append((self._next_verdict, stretch.id, t_ms, *verdict, event.sentence, before))
            self._heads[event.enclosure] = self._next_verdict
            self._next_verdict += 1
        elif isinstance(event, Remember):
            self._memory[event.key] = json.dumps(event.value)
            self._fresh_keys.add(event.key)
        elif isinstance(event, AlarmChanged):
            change = (
                event.alarm,
                event.enclosure,
                event.previous.value,
                event.state.value,
                event.priority.value,
            )
            row = (stretch.id, t_ms, *change, event.text, round(event.active_s * 1000))
            self._durable.append((_ALARM, row))
        elif isinstance(event, PushAsked):
            self._durable.append((INSERT_PUSH, push_row(event)))
        elif isinstance(event, PersonDid):
            did = (event.by, event.verb, event.target, event.ok, event.text)
            self._durable.append((_DEED, (stretch.id, t_ms, *did)))
        elif isinstance(event, DigestMade):
            mark = event.document.get("mark", "")
            document = json.dumps(event.document)
            made_ms = round(event.at.wall_s * 1000)
            self._durable.append((_DIGEST, (event.date, made_ms, mark, event.text, document)))
        elif isinstance(event, ClockStepped):
            self._begin(event.at, STEPPED, event.by_s, stretch.version)

    def _stretch(self, at: At) -> _Stretch:
        """The stretch `at` lies in."""
        if not self._stretches:
            self._run += 1
            return self._begin(at, STARTED, 0.0, "")
        stretch = self._stretches[-1]
        if at.mono_s - stretch.began.mono_s > LONGEST_STRETCH_S:
            return self._begin(at, CONTINUED, 0.0, stretch.version)
        return stretch

    def _begin(self, at: At, reason: str, step_s: float, version: str) -> _Stretch:
        if self._stretches and reason != STARTED:
            before = self._stretches[-1]
            before.seen_ms = max(before.seen_ms, before.t_ms(at.mono_s))
        stretch = _Stretch(self._next_stretch, self._run, at, reason, step_s, version)
        self._next_stretch += 1
        self._stretches.append(stretch)
        return stretch

    def _new_series(self, probe: str, quantity: Quantity) -> tuple[int, int]:
        number = self._next_series
        self._next_series += 1
        self._fresh_series.append((number, probe, quantity.value))
        temperature, humidity = self._series.get(probe, (0, 0))
        pair = (number, humidity) if quantity is Quantity.TEMPERATURE else (temperature, number)
        self._series[probe] = pair
        return pair

    def _commit(self) -> None:
        last = self._stretches[-1]
        last.seen_ms = max(last.seen_ms, last.t_ms(self._now.mono_s))
        try:
            self._store.write(self._write, self._now.wall_s)
        except StoreReplaced:
            self._keep_beside()
            self._write_all_again()
            raise
        except StoreError:
            self._keep_beside()
            self._shed()
            raise
        self._store.keep_beside({})
        self._stretches = [last]
        last.stored = True
        if self._low:
            self._shed()
        else:
            del last.rows[:]
        self._verdicts.clear()
        self._durable.clear()
        self._refusals.clear()
        self._fresh_keys.clear()
        self._fresh_series.clear()
        self._urgent = False
        self._committed_s = self._now.mono_s

    def _keep_beside(self) -> None:
        """A trip must be known after a kill or a power cut, also when the disk has no room for a commit."""
        guards = [key for key in sorted(self._fresh_keys) if key.startswith("guard/")]
        self._store.keep_beside({key: self._memory[key] for key in guards})

    def _write(self, connection: sqlite3.Connection) -> None:
        """Everything held, inside the caller's transaction."""
        execute, many = connection.execute, connection.executemany
        part = self._room(connection)
        # Of a file that took the place of a damaged one, some may be there with the sums, under the same numbers.
        many("INSERT OR IGNORE INTO series (id, probe, quantity) VALUES (?, ?, ?)", self._fresh_series)
        for stretch in self._stretches:
            if stretch.stored:
                execute("UPDATE stretches SET seen_ms = ? WHERE id = ?", (stretch.seen_ms, stretch.id))
            else:
                began_ms = (round(stretch.began.wall_s * 1000), round(stretch.began.mono_s * 1000))
                step_ms = round(stretch.step_s * 1000)
                about = (stretch.reason, step_ms, stretch.version)
                first = last_number(connection, part) + 1
                execute(_STRETCH, (stretch.id, stretch.run, *began_ms, stretch.seen_ms, first, *about))
            if not self._low:
                add_readings(connection, part, stretch.rows.tolist())
        if self._verdicts:
            many(_VERDICT, self._verdicts)
            many(_HEAD, {row[3]: row[0] for row in self._verdicts}.items())
        now = self._stretches[-1]
        for probe, counted in self._refusals.items():
            execute(_REFUSAL, (now.id, now.seen_ms, probe, *counted))
        fresh = [(key, self._memory[key]) for key in sorted(self._fresh_keys)]
        many("INSERT OR REPLACE INTO memory (key, json) VALUES (?, ?)", fresh)
        for sql, row in self._durable:
            execute(sql, row)
        if any(sql is _DIGEST for sql, _ in self._durable):
            # A digest that does not say where it ended ended here.
            execute("UPDATE digests SET mark = ? WHERE mark = ''", (str(high_water(connection)),))

    def _room(self, connection: sqlite3.Connection) -> Part:
        """The part that readings go to now."""
        there = parts(connection)
        now = self._stretches[-1]
        if not there:
            return begin_part(connection, 1, 0, now.id, now.seen_ms)
        if rows_in(connection, there[-1]) < PART_ROWS:
            return there[-1]
        return begin_part(connection, there[-1].id + 1, last_number(connection, there[-1]), now.id, now.seen_ms)

    def _shed(self) -> None:
        """Drop the oldest of what may be lost, so that a long failure stays within bounds."""
        excess = sum(len(stretch.rows) for stretch in self._stretches) // 3 - HELD_READINGS
        for stretch in self._stretches:
            if excess <= 0:
                break
            dropped = min(excess, len(stretch.rows) // 3)
            del stretch.rows[: 3 * dropped]
            excess -= dropped
        while len(self._verdicts) > HELD_VERDICTS:
            self._verdicts.popleft()

    def _write_all_again(self) -> None:
        """The file is new and empty: stretches, series and memory go into it with the next commit."""
        for stretch in self._stretches:
            stretch.stored = False
        self._fresh_keys.update(self._memory)
        quantities = (Quantity.TEMPERATURE, Quantity.HUMIDITY)
        self._fresh_series = [
            (number, probe, quantity.value)
            for probe, pair in self._series.items()
            for number, quantity in zip(pair, quantities, strict=True)
            if number
        ]
        self._urgent = True
