"""Opening the record for the daemon: one writer, one file, and a fresh file when the old one is damaged.

The fresh file is finished, with everything saved from the old one in it, before it takes the old one's place: whenever
the program is killed or the power goes, the next start finds what a trip left behind in one of the two.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NoReturn

from matwarden.lock_holder import LOCK
from matwarden.sinks.sqlite_lean import Database
from matwarden.sinks.store_latches import LATCHES, Latches
from matwarden.sinks.store_schema import (
    DATABASE,
    StoreBusy,
    StoreError,
    StoreReplaced,
    connect,
    connect_read_only,
    explain,
    is_damage,
    is_read_only,
    migrations,
)
from matwarden.sinks.store_sums_carry import carry_sums

__all__ = ["Store", "open_store"]

# A finished fresh file that is about to take the place of a damaged one, and one that is still being written.
_FRESH = ".fresh"
_UNFINISHED = ".unfinished"
_WITH_IT = ("-journal", "-wal", "-shm")
_LOOK = "a trip or a hold may be forgotten, look at every mat now"

# A whole check reads every page: half a second for this much on a small board's card. Of a larger file only the tables
# are checked that a start depends on; damage elsewhere is found where it is met, and dealt with then.
_CHECKED_WHOLE_BYTES = 16 * 1024 * 1024
_NEEDED = ("memory", "outbox", "outbox_targets", "stretches", "parts", "series", "enclosures", "alarms", "digests")
# And what summing up depends on: while it fails, no reading is ever cleaned up.
_SUMS = ("sums_mark", "sum_days", "series_days", "tub_days")

Row = tuple[Any, ...]


def open_store(directory: Path, now_wall_s: float, *, power_safe: bool = True) -> Store:
    """Open the record in `directory`, making both when they are not there.

    A damaged file is renamed to `matwarden.db.damaged-<UTC time>`, what can be read of its memory is carried over, and
    `Store.notices` tells so. A sound file that cannot be written now (a full or read-only disk) is read, so that the
    guard can begin with what it remembers, and taken up for writing as soon as that goes.

    Args:
        power_safe: True: what is committed outlives a power cut. False: for a simulation, where it need not.

    Raises:
        StoreBusy: another matwarden is using the directory.
        StoreError: it cannot be made or opened; the text says why and what to do.
    """
    try:
        directory.mkdir(mode=0o750, parents=True, exist_ok=True)
        lock = _open_lock(directory / LOCK)
    except OSError as error:
        raise StoreError(
            f"cannot use {directory} for the record: {error.strerror}; choose a directory matwarden may write to"
        ) from error
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.pread(lock, 20, 0).decode("ascii", "replace").strip() or "unknown"
            raise StoreBusy(
                f"another matwarden (process {holder}) is using {directory}; stop it first, or give this one a "
                "directory of its own: two would switch the same mats"
            ) from error
        # Only a hint for people: not worth a start on a full disk.
        with contextlib.suppress(OSError):
            os.ftruncate(lock, 0)
            os.pwrite(lock, f"{os.getpid()}\n".encode("ascii"), 0)
        return Store(directory / DATABASE, lock, now_wall_s, power_safe)
    except BaseException:
        os.close(lock)
        raise


class Store:
    """The open file. Made by `open_store`. One thread at a time may use it.

    Attributes:
        notices: what a keeper must know about the opening: warnings, each a sentence.
    """

    def __init__(self, path: Path, lock: int, now_wall_s: float, power_safe: bool) -> None:
        self.path = path
        self.notices: tuple[str, ...] = ()
        self._lock = lock
        self._power_safe = power_safe
        self._closed = False
        self._damaged = False
        self._read_only = False
        self._latches = Latches(path.with_name(LATCHES), power_safe)
        try:
            self._finish_replacing(now_wall_s)
            try:
                self._db = _open(path, power_safe)
            except sqlite3.Error as error:
                if is_damage(error):
                    self._begin_anew(now_wall_s)
                else:
                    self._only_read(error)
        except BaseException:
            self._latches.close()
            raise

    @property
    def connection(self) -> sqlite3.Connection:
        """The connection itself, for queries."""
        return self._db.conn

    def remembered(self) -> dict[str, dict[str, Any]]:
        """Everything kept by `Remember` events, by key; what could be kept beside the record only is newer than it.

        Raises:
            StoreError: it cannot be read.
        """
        try:
            kept = {row["key"]: row["json"] for row in self._db.query("SELECT key, json FROM memory")}
        except sqlite3.Error as error:
            raise explain(error, self.path, "read") from error
        return {key: json.loads(text) for key, text in {**kept, **self._latches.states}.items()}

    @property
    def kept_beside(self) -> frozenset[str]:
        """The keys of what is kept beside the record, because it could not be committed."""
        return frozenset(self._latches.states)

    def keep_beside(self, states: Mapping[str, str]) -> None:
        """Keep these JSON texts, by `Remember` key, for the next start: they could not be committed. Never raises.

        An empty mapping: everything is in the record again.
        """
        self._latches.keep(states)

    def write(self, work: Callable[[sqlite3.Connection], None], now_wall_s: float) -> None:
        """Do `work` in one transaction: all of it is on the disk afterwards, or nothing.

        Raises:
            StoreReplaced: the file was damaged; a new, empty one is open now and `work` is not done.
            StoreError: nothing was written.
        """
        try:
            if self._damaged:
                # Setting it aside failed the last time.
                self._replace(now_wall_s)
            if self._read_only:
                self._take_up()
            connection = self._db.conn
            connection.execute("BEGIN IMMEDIATE")
            work(connection)
            connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._roll_back()
            # SQLite opens what it may not write for reading, without a word, and such a connection stays so.
            self._read_only = self._read_only or is_read_only(error)
            if not is_damage(error):
                raise explain(error, self.path, "write") from error
            self._replace(now_wall_s)
        except BaseException:
            self._roll_back()
            raise

    def close(self) -> None:
        """Release file and lock. Safe to call twice."""
        if self._closed:
            return
        self._closed = True
        with contextlib.suppress(sqlite3.Error):
            self._db.close()
        self._latches.close()
        os.close(self._lock)

    def _roll_back(self) -> None:
        with contextlib.suppress(sqlite3.Error):
            if self._db.conn.in_transaction:
                self._db.conn.execute("ROLLBACK")

    def _only_read(self, error: sqlite3.Error) -> None:
        """Open the file for reading; raise what stands in the way of writing when that does not go either."""
        told = explain(error, self.path, "write")
        try:
            self._db = Database(connect_read_only(self.path), execute_plugins=False)
        except StoreError:
            raise told from error
        self._read_only = True
        self.notices = (f"{told}. What it remembers could be read; nothing is recorded until it can be written again.",)

    def _take_up(self) -> None:
        """Open for writing what could only be read before."""
        # Closed first: SQLite shares what it knows of a file within a process, and a connection that could only read
        # makes every later one so too, until it is gone.
        self._db.close()
        try:
            self._db = _open(self.path, self._power_safe)
        except BaseException:
            with contextlib.suppress(StoreError):
                self._db = Database(connect_read_only(self.path), execute_plugins=False)
            raise
        self._read_only = False

    def _replace(self, now_wall_s: float) -> NoReturn:
        """Begin anew, and tell so."""
        self._begin_anew(now_wall_s)
        raise StoreReplaced(" ".join(self.notices))

    def _begin_anew(self, now_wall_s: float) -> None:
        """Set the damaged file aside and open a fresh one with what could be saved."""
        self._damaged = True
        with contextlib.suppress(AttributeError, sqlite3.Error):
            self._db.close()
        memory, lost_n, pushes = _salvage(self.path)
        try:
            days_n = _lay_fresh(self.path, memory or [], pushes, self._power_safe)
            aside = _set_aside(self.path, now_wall_s)
            self._db = _open(self.path, self._power_safe)
        except OSError as error:
            raise StoreError(
                f"the record {self.path} is damaged and cannot be set aside: {error.strerror}; move it away"
            ) from error
        except sqlite3.Error as error:
            raise explain(error, self.path, "write") from error
        self._damaged = self._read_only = False
        kept = f"{len(memory or [])} remembered states (trips, holds, alarms) were carried over"
        if memory is None:
            kept = f"what it remembered could not be read: {_LOOK}"
        elif lost_n:
            kept += f", {lost_n} could not be read: {_LOOK}"
        if days_n:
            kept += f"; the sums of {days_n} days too"
        self.notices = (
            *self.notices,
            f"The record {self.path} is damaged. It was set aside as {aside} and a new one begun; {kept}.",
        )

    def _finish_replacing(self, now_wall_s: float) -> None:
        """What a kill or a power cut left of replacing a damaged file."""
        try:
            if Path(f"{self.path}{_FRESH}").exists():
                aside = _set_aside(self.path, now_wall_s)
                self.notices = (
                    f"The record {self.path} was damaged, and matwarden ended while replacing it. The old one was set "
                    f"aside as {aside}; of its memory not everything may have been saved: {_LOOK}.",
                )
        except OSError as error:
            raise StoreError(
                f"the record {self.path} is damaged and cannot be set aside: {error.strerror}; move it away"
            ) from error


def _open_lock(path: Path) -> int:
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError:
        # A disk that has become read-only: a lock can be held all the same.
        return os.open(path, os.O_RDONLY | os.O_CLOEXEC)


def _lay_fresh(path: Path, memory: list[Row], pushes: list[Row], power_safe: bool) -> int:
    """Write a fresh file with what was saved; how many days of sums that is. Once it bears its name it is whole."""
    unfinished = Path(f"{path}{_UNFINISHED}")
    for ending in ("", *_WITH_IT):
        Path(f"{unfinished}{ending}").unlink(missing_ok=True)
    with closing(_open(unfinished, power_safe)) as db:
        db.conn.execute("BEGIN IMMEDIATE")
        _restore(db.conn, memory, pushes)
        days_n = carry_sums(path, db.conn)
        db.conn.execute("COMMIT")
        # Everything in the one file, and no log beside it that would have to be renamed with it.
        db.conn.execute("PRAGMA journal_mode = DELETE")
    unfinished.rename(f"{path}{_FRESH}")
    _sync_names(path.parent)
    return days_n


def _set_aside(path: Path, now_wall_s: float) -> str:
    """Rename what there is of the old file and put the fresh one in its place; the old one's new name.

    The log goes first: a fresh file must never find it beside itself.
    """
    stamp = datetime.fromtimestamp(now_wall_s, UTC).strftime("%Y%m%dT%H%M%SZ")
    aside = f"{path.name}.damaged-{stamp}"
    for ending in (*_WITH_IT, ""):
        if (part := Path(f"{path}{ending}")).exists():
            part.rename(path.with_name(f"{aside}{ending}"))
    _sync_names(path.parent)
    Path(f"{path}{_FRESH}").rename(path)
    _sync_names(path.parent)
    return aside


def _sync_names(directory: Path) -> None:
    """Have the directory's own changes on the disk."""
    fd = os.open(directory, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def _open(path: Path, power_safe: bool) -> Database:
    """Connect, check, and bring the tables up to date."""
    db = Database(connect(path, power_safe=power_safe), execute_plugins=False)
    try:
        small = path.stat().st_size <= _CHECKED_WHOLE_BYTES
        if small:
            _check(db, "1")
        applied = {migration.name for migration in migrations.applied(db)}
        with closing(Database(memory=True, execute_plugins=False)) as empty:
            known = {migration.name for migration in migrations.pending(empty)}
        if newer := applied - known:
            raise StoreError(
                f"the record {path} was written by a newer matwarden ({', '.join(sorted(newer))}); install that one "
                "again, or move the file away to begin a new record"
            )
        migrations.apply(db)
        for table in () if small else (*_NEEDED, *_SUMS):
            _check(db, table)
        if _unreadable(db.conn.execute("SELECT key, json FROM memory").fetchall()):
            raise _damage("a remembered state cannot be read")
    except BaseException:
        db.close()
        raise
    return db


def _check(db: Database, what: str) -> None:
    """Raise as SQLite does for a damaged file when its quick check finds anything. `what`: a table, or "1" for all."""
    found = db.conn.execute(f"PRAGMA quick_check({what})").fetchone()[0]
    if found != "ok":
        raise _damage(found)


def _damage(what: str) -> sqlite3.DatabaseError:
    """The error SQLite raises for a damaged file."""
    error = sqlite3.DatabaseError(what)
    error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    return error


def _unreadable(memory: list[Row]) -> list[Row]:
    """The rows that are no JSON: no check of SQLite's finds a sector gone bad inside a text."""
    bad = []
    for row in memory:
        try:
            json.loads(row[1])
        except (TypeError, ValueError):
            bad.append(row)
    return bad


def _salvage(path: Path) -> tuple[list[Row] | None, int, list[Row]]:
    """What a damaged file still gives: memory (None: unreadable), how many of it are lost, undelivered pushes."""
    memory: list[Row] | None = None
    bad: list[Row] = []
    pushes: list[Row] = []
    with contextlib.suppress(sqlite3.Error, StoreError):
        connection = connect_read_only(path)
        try:
            found = connection.execute("SELECT key, json FROM memory").fetchall()
            bad = _unreadable(found)
            memory = [row for row in found if row not in bad]
            columns = [row[1] for row in connection.execute("PRAGMA table_info(outbox)")]
            # A file that was damaged before it was brought up to date.
            recipients = "recipients" if "recipients" in columns else "'first'"
            pushes = connection.execute(
                f"SELECT key, title, body, priority, queued_wall_ms, waited_ms, {recipients} FROM outbox"
                " WHERE finished_wall_ms IS NULL"
            ).fetchall()
        finally:
            connection.close()
    return memory, len(bad), pushes


def _restore(connection: sqlite3.Connection, memory: list[Row], pushes: list[Row]) -> None:
    connection.executemany("INSERT OR REPLACE INTO memory (key, json) VALUES (?, ?)", memory)
    connection.executemany(
        "INSERT OR IGNORE INTO outbox (key, title, body, priority, queued_wall_ms, waited_ms, recipients)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)",
        pushes,
    )
