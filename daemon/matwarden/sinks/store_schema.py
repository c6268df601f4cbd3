"""The record on disk: one SQLite file. What is in it, how it is reached, and what its errors mean to a keeper.

Time in the file. A *stretch* is a span of one run in which wall clock and monotonic clock agreed; a new one begins at
every start and at every step of the wall clock. A row carries milliseconds since its stretch began, so durations inside
a stretch are exact whatever the wall clock did, and its wall time is the stretch's own plus that.

Size of the file. Readings are in the order of their recording: a key that began with the series would dirty a
page per series and commit. They do not name their stretch: each stretch says which reading was its first. A stretch is
also ended after 24 days, because from then on its times would need six bytes a row instead of four.
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from matwarden.sinks.sqlite_lean import Database, Migrations

__all__ = [
    "DATABASE",
    "StoreBusy",
    "StoreError",
    "StoreReplaced",
    "connect",
    "connect_read_only",
    "explain",
    "is_damage",
    "is_read_only",
    "migrations",
]

DATABASE = "matwarden.db"

_BUSY_S = 5.0
# What is left of the write-ahead log after a long reader: two megabytes, not whatever it once grew to.
_LOG_BYTES = 2 * 1024 * 1024

migrations = Migrations("matwarden")


class StoreError(Exception):
    """The record cannot be written or read now. The text says which file, why, and what to do."""


class StoreBusy(StoreError):  # noqa: N818 - says what is the matter
    """Another matwarden is using this directory."""


class StoreReplaced(StoreError):  # noqa: N818 - says what happened
    """The file was found damaged while running and a new one was begun: what was remembered is to be written again."""


@migrations()
def first_tables(db: Database) -> None:
    """Version 1 of the file."""
    stretches = {"run": int, "began_wall_ms": int, "began_mono_ms": int, "seen_ms": int, "first_reading": int}
    db.table("stretches").create({"id": int, **stretches, "reason": str, "step_ms": int, "version": str}, pk="id")
    db.table("series").create({"id": int, "probe": str, "quantity": str}, pk="id")
    # The readings themselves: store_parts.py.
    db.table("parts").create({"id": int, "before": int, "stretch": int, "t_ms": int}, pk="id")
    # `previous` is the id of this enclosure's verdict before: no index has to be kept to find it.
    moment = {"id": int, "stretch": int, "t_ms": int}
    verdict = {
        "enclosure": str,
        "allowed": int,
        "reason": str,
        "operations": int,
        "sentence": str,
        "previous": int,
    }
    db.table("verdicts").create({**moment, **verdict}, pk="id")
    db.table("enclosures").create({"enclosure": str, "last_verdict": int}, pk="enclosure")
    alarm = {"alarm": str, "enclosure": str, "previous": str, "state": str, "priority": str, "text": str}
    db.table("alarms").create({**moment, **alarm, "active_ms": int}, pk="id").create_index(["alarm"])
    refusal = {"probe": str, "missing_n": int, "doubtful_n": int, "last_why": str}
    db.table("refusals").create({**moment, **refusal}, pk="id")
    db.table("memory").create({"key": str, "json": str}, pk="key")
    digest = {"date": str, "made_wall_ms": int, "mark": str, "text": str, "document": str}
    db.table("digests").create({"id": int, **digest}, pk="id").create_index(["date"], unique=True)
    push = {"key": str, "title": str, "body": str, "priority": str, "queued_wall_ms": int, "waited_ms": int}
    db.table("outbox").create({"id": int, **push, "finished_wall_ms": int}, pk="id").create_index(["key"], unique=True)
    delivery = {"tries": int, "delivered_wall_ms": int, "given_up_wall_ms": int, "last_error": str}
    db.table("outbox_targets").create({"key": str, "target": str, **delivery}, pk=("key", "target"))


@migrations()
def whom_a_push_is_for(db: Database) -> None:
    """Version 2: first and second targets; how long a delivery took by the machine's own time, NULL over a restart."""
    # Looked for first: a power cut may fall between a column and the note that this was done.
    if "recipients" not in db.table("outbox").columns_dict:
        db.execute("ALTER TABLE outbox ADD COLUMN recipients TEXT NOT NULL DEFAULT 'first'")
    if "took_ms" not in db.table("outbox_targets").columns_dict:
        db.execute("ALTER TABLE outbox_targets ADD COLUMN took_ms INTEGER")


@migrations()
def what_people_did(db: Database) -> None:
    """Version 3: each verb that a person used."""
    deed = {"id": int, "stretch": int, "t_ms": int, "by": str, "verb": str, "target": str, "ok": int, "text": str}
    db.table("deeds").create(deed, pk="id", if_not_exists=True)


@migrations()
def sums_kept_for_ever(db: Database) -> None:
    """Version 4: sums of hours and local days, kept when single readings have gone: store_sums.py."""
    for statement in (
        "sum_days (begins_wall_ms INTEGER PRIMARY KEY, lasts_ms INTEGER, date TEXT)",
        "series_days (begins_wall_ms INTEGER, series INTEGER, lowest INTEGER, lowest_wall_ms INTEGER,"
        " highest INTEGER, highest_wall_ms INTEGER, mean REAL, known_ms INTEGER,"
        " PRIMARY KEY (begins_wall_ms, series)) WITHOUT ROWID",
        "series_hours (begins_wall_ms INTEGER, series INTEGER, hours BLOB,"
        " PRIMARY KEY (begins_wall_ms, series)) WITHOUT ROWID",
        "tub_days (begins_wall_ms INTEGER, enclosure TEXT, low_c REAL, high_c REAL,"
        " lowest INTEGER, lowest_wall_ms INTEGER, highest INTEGER, highest_wall_ms INTEGER, mean REAL,"
        " below_ms INTEGER, in_band_ms INTEGER, above_ms INTEGER, missing_ms INTEGER, below_kh REAL, above_kh REAL,"
        " allowed_ms INTEGER, operations INTEGER, span_ms INTEGER,"
        " PRIMARY KEY (begins_wall_ms, enclosure)) WITHOUT ROWID",
        "tub_hours (begins_wall_ms INTEGER, enclosure TEXT, hours BLOB,"
        " PRIMARY KEY (begins_wall_ms, enclosure)) WITHOUT ROWID",
        "sums_mark (id INTEGER PRIMARY KEY CHECK (id = 1), mark TEXT, wall_ms INTEGER)",
    ):
        db.execute(f"CREATE TABLE IF NOT EXISTS {statement}")


@migrations()
def what_goes_with_a_push(db: Database) -> None:
    """Version 5: the path of the picture that goes with a push."""
    if "attachment" not in db.table("outbox").columns_dict:
        db.execute("ALTER TABLE outbox ADD COLUMN attachment TEXT")


def connect(path: Path, *, power_safe: bool = True) -> sqlite3.Connection:
    """Open for writing, without implicit transactions. Any thread may use it, one at a time.

    Args:
        power_safe: False in a simulation, where commits need not wait for the disk.

    Raises:
        sqlite3.Error: see `explain`.
    """
    connection = sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None, check_same_thread=False)
    try:
        if not (path.exists() and path.stat().st_size):
            # Before anything is written: so the room of dropped parts can be given back to the disk. Of a file that
            # has tables it would only write the same word again, at each opening.
            connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
        connection.execute("PRAGMA journal_mode = WAL")
        # FULL: a trip or an alarm that was committed outlives a power cut. It costs no more bytes than NORMAL.
        connection.execute(f"PRAGMA synchronous = {'FULL' if power_safe else 'OFF'}")
        # On in Debian's build; here it would only write zeros over readings nobody hides.
        connection.execute("PRAGMA secure_delete = OFF")
        connection.execute(f"PRAGMA journal_size_limit = {_LOG_BYTES}")
    except BaseException:
        connection.close()
        raise
    return connection


def connect_read_only(path: Path, untouched: bool = False) -> sqlite3.Connection:
    """Open for reading beside a running daemon, or when none runs.

    Args:
        untouched: without a log beside it read the file alone, so that not even the log's index is made there.

    Raises:
        StoreError: nothing was recorded there yet, or it cannot be read.
    """
    if not path.exists():
        raise StoreError(f"nothing is recorded in {path.parent} yet: {path.name} appears there once matwarden runs")
    address = path.absolute().as_uri()
    # With no log beside it, or an empty one, nobody writes; then a reader who cannot make the log's index, for want of
    # permission or of room, may read the file alone.
    log = path.with_name(path.name + "-wal")
    alone = "" if log.exists() and log.stat().st_size else "&immutable=1"
    last: sqlite3.Error | None = None
    for options in ("&immutable=1",) if untouched and not log.exists() else ("", alone):
        connection: sqlite3.Connection | None = None
        try:
            connection = sqlite3.connect(
                f"{address}?mode=ro{options}",
                uri=True,
                timeout=_BUSY_S,
                isolation_level=None,
                check_same_thread=False,
            )
            connection.execute("SELECT count(*) FROM stretches")
        except sqlite3.Error as error:
            if connection is not None:
                connection.close()
            last = error
            continue
        return connection
    assert last is not None
    raise explain(last, path, "read") from last


def is_damage(error: sqlite3.Error) -> bool:
    """True when the file itself is no sound database any more."""
    return _code(error) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def is_read_only(error: sqlite3.Error) -> bool:
    """True when this connection can only read."""
    return _code(error) == sqlite3.SQLITE_READONLY


def explain(error: sqlite3.Error, path: Path, doing: str) -> StoreError:
    """The same error in words for a keeper. `doing` is "read" or "write"."""
    code = _code(error)
    # Of what it maps, as the log's index, SQLite calls a lack of room an error of the disk.
    if code == sqlite3.SQLITE_FULL or (code == sqlite3.SQLITE_IOERR and _no_room(path.parent)):
        why, what = (
            "the disk is full",
            "free some space; warming goes on, and readings are kept in memory meanwhile",
        )
    elif code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN):
        why, what = (
            "no permission, or a read-only disk",
            "check who owns the directory and how the disk is mounted",
        )
    elif code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        why, what = f"another program held it for over {_BUSY_S:.0f} s", "end the program that has it open"
    elif code == sqlite3.SQLITE_IOERR:
        why, what = (
            "the disk reports an error",
            "a card that does this is near its end: copy what you need, replace it",
        )
    elif is_damage(error):
        why, what = (
            "the file is damaged",
            "restart matwarden: it sets a damaged file aside and begins a new one",
        )
    else:
        why, what = str(error), "if it stays, restart matwarden and look at the disk"
    return StoreError(f"cannot {doing} the record {path}: {why}; {what}")


def _no_room(directory: Path) -> bool:
    """Whether not even the smallest log fits any more."""
    try:
        disk = os.statvfs(directory)
    except OSError:
        return False
    return disk.f_bavail * disk.f_frsize < 64 * 1024


def _code(error: sqlite3.Error) -> int:
    """SQLite's primary result code, 0 when the error did not come from SQLite."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF
