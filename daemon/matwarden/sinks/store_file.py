"""Opening the record for the daemon: one writer, one file, and a fresh file when the old one is damaged."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from matwarden.sinks.store_schema import (
    DATABASE,
    StoreBusy,
    StoreError,
    StoreReplaced,
    connect,
    connect_read_only,
    explain,
    is_damage,
    migrations,
)

__all__ = ["Store", "open_store"]

LOCK = "matwarden.lock"

# A whole check reads every page: half a second for this much on a small board's card. Of a larger file only the tables
# are checked that a start depends on; damage elsewhere is found where it is met, and dealt with then.
_CHECKED_WHOLE_BYTES = 16 * 1024 * 1024
_NEEDED = ("memory", "outbox", "outbox_targets", "stretches", "parts", "series", "enclosures", "alarms", "digests")

Row = tuple[Any, ...]


def open_store(directory: Path, now_wall_s: float, *, power_safe: bool = True) -> Store:
    """Open the record in `directory`, making both when they are not there.

    A damaged file is renamed to `matwarden.db.damaged-<UTC time>`, what can be read of its memory is carried over, and
    `Store.notices` tells so.

    Args:
        power_safe: True: what is committed outlives a power cut. False: for a simulation, where it need not.

    Raises:
        StoreBusy: another matwarden is using the directory.
        StoreError: it cannot be made, opened or written; the text says why and what to do.
    """
    try:
        directory.mkdir(mode=0o750, parents=True, exist_ok=True)
        lock = os.open(directory / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
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
        try:
            self._db = _open(path, power_safe)
        except sqlite3.Error as error:
            if not is_damage(error):
                raise explain(error, path, "write") from error
            self._begin_anew(now_wall_s)

    @property
    def connection(self) -> sqlite3.Connection:
        """The connection itself, for queries."""
        return self._db.conn

    def remembered(self) -> dict[str, dict[str, Any]]:
        """Everything kept by `Remember` events, by key.

        Raises:
            StoreError: it cannot be read.
        """
        try:
            return {row["key"]: json.loads(row["json"]) for row in self._db.query("SELECT key, json FROM memory")}
        except sqlite3.Error as error:
            raise explain(error, self.path, "read") from error

    def write(self, work: Callable[[sqlite3.Connection], None], now_wall_s: float) -> None:
        """Do `work` in one transaction: all of it is on the disk afterwards, or nothing.

        Raises:
            StoreReplaced: the file was damaged; a new, empty one is open now and `work` is not done.
            StoreError: nothing was written.
        """
        connection = self._db.conn
        try:
            connection.execute("BEGIN IMMEDIATE")
            work(connection)
            connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._roll_back()
            if not is_damage(error):
                raise explain(error, self.path, "write") from error
            self._begin_anew(now_wall_s)
            raise StoreReplaced(" ".join(self.notices)) from error
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
        os.close(self._lock)

    def _roll_back(self) -> None:
        with contextlib.suppress(sqlite3.Error):
            if self._db.conn.in_transaction:
                self._db.conn.execute("ROLLBACK")

    def _begin_anew(self, now_wall_s: float) -> None:
        """Set the damaged file aside and open a fresh one with what could be saved."""
        with contextlib.suppress(AttributeError, sqlite3.Error):
            self._db.close()
        memory, pushes = _salvage(self.path)
        stamp = datetime.fromtimestamp(now_wall_s, UTC).strftime("%Y%m%dT%H%M%SZ")
        aside = self.path.with_name(f"{self.path.name}.damaged-{stamp}")
        try:
            for ending in ("", "-wal", "-shm"):
                if (part := Path(f"{self.path}{ending}")).exists():
                    part.rename(f"{aside}{ending}")
            self._db = _open(self.path, self._power_safe)
        except OSError as error:
            raise StoreError(
                f"the record {self.path} is damaged and cannot be set aside: {error.strerror}; move it away"
            ) from error
        except sqlite3.Error as error:
            raise explain(error, self.path, "write") from error
        kept = (
            f"{len(memory)} remembered states (trips, holds, alarms) were carried over"
            if memory is not None
            else "what it remembered could not be read: a trip or a hold may be forgotten, look at every mat now"
        )
        self.notices = (
            *self.notices,
            f"The record {self.path} is damaged. It was set aside as {aside.name} and a new one begun; {kept}.",
        )
        self.write(lambda connection: _restore(connection, memory or [], pushes), now_wall_s)


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
        for table in () if small else _NEEDED:
            _check(db, table)
    except BaseException:
        db.close()
        raise
    return db


def _check(db: Database, what: str) -> None:
    """Raise as SQLite does for a damaged file when its quick check finds anything. `what`: a table, or "1" for all."""
    found = db.conn.execute(f"PRAGMA quick_check({what})").fetchone()[0]
    if found != "ok":
        damage = sqlite3.DatabaseError(found)
        damage.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
        raise damage


def _salvage(path: Path) -> tuple[list[Row] | None, list[Row]]:
    """What a damaged file still gives: its memory (None: unreadable) and its undelivered pushes."""
    memory: list[Row] | None = None
    pushes: list[Row] = []
    with contextlib.suppress(sqlite3.Error, StoreError):
        connection = connect_read_only(path)
        try:
            memory = connection.execute("SELECT key, json FROM memory").fetchall()
            pushes = connection.execute(
                "SELECT key, title, body, priority, queued_wall_ms, waited_ms FROM outbox"
                " WHERE finished_wall_ms IS NULL"
            ).fetchall()
        finally:
            connection.close()
    return memory, pushes


def _restore(connection: sqlite3.Connection, memory: list[Row], pushes: list[Row]) -> None:
    connection.executemany("INSERT OR REPLACE INTO memory (key, json) VALUES (?, ?)", memory)
    connection.executemany(
        "INSERT OR IGNORE INTO outbox (key, title, body, priority, queued_wall_ms, waited_ms)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        pushes,
    )
