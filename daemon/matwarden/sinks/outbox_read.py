"""What the outbox knows of every push, read beside a running daemon or when none runs."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from matwarden.sinks.store_schema import DATABASE, connect_read_only, explain
from matwarden.terms import Priority, Recipients

__all__ = ["Delivery", "KeptPush", "newest_pushes"]


class Delivery(NamedTuple):
    """One push at one target, as far as it was tried.

    Attributes:
        delivered_wall_s, given_up_wall_s: UTC seconds; both None: it is still tried.
        took_s: from the asking to the delivery, by the machine's own time; over a restart by the wall clock.
        error: why the last try that failed did; never an address.
    """

    target: str
    tries: int
    delivered_wall_s: float | None
    given_up_wall_s: float | None
    took_s: float | None
    error: str | None


class KeptPush(NamedTuple):
    """One push of the outbox. `finished`: no target is tried any more."""

    key: str
    title: str
    body: str
    priority: Priority
    recipients: Recipients
    queued_wall_s: float
    finished: bool
    deliveries: tuple[Delivery, ...]


def newest_pushes(directory: Path, at_most: int) -> list[KeptPush]:
    """The newest pushes of the record in `directory`, newest first.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    path = directory / DATABASE
    try:
        with closing(connect_read_only(path)) as connection:
            connection.row_factory = sqlite3.Row
            # Read in one go, so that no target's line is from another moment than its push.
            connection.execute("BEGIN")
            rows = connection.execute("SELECT * FROM outbox ORDER BY id DESC LIMIT ?", (at_most,)).fetchall()
            tried = {
                row["key"]: connection.execute(
                    "SELECT * FROM outbox_targets WHERE key = ? ORDER BY target", (row["key"],)
                ).fetchall()
                for row in rows
            }
    except sqlite3.Error as error:
        raise explain(error, path, "read") from error
    return [_push(row, tried[row["key"]]) for row in rows]


def _push(row: sqlite3.Row, tried: list[sqlite3.Row]) -> KeptPush:
    # A record that this version has not written to yet has no recipients.
    recipients = row["recipients"] if "recipients" in row.keys() else Recipients.FIRST  # noqa: SIM118 - a Row has values
    return KeptPush(
        row["key"],
        row["title"],
        row["body"],
        Priority(row["priority"]),
        Recipients(recipients),
        row["queued_wall_ms"] / 1000,
        row["finished_wall_ms"] is not None,
        tuple(_delivery(each, row["queued_wall_ms"]) for each in tried),
    )


def _delivery(row: sqlite3.Row, queued_ms: int) -> Delivery:
    delivered_ms = row["delivered_wall_ms"]
    took_ms = row["took_ms"] if "took_ms" in row.keys() else None  # noqa: SIM118
    if took_ms is None and delivered_ms is not None:
        took_ms = max(0, delivered_ms - queued_ms)
    return Delivery(
        row["target"],
        row["tries"],
        _seconds(delivered_ms),
        _seconds(row["given_up_wall_ms"]),
        _seconds(took_ms),
        row["last_error"],
    )


def _seconds(milliseconds: int | None) -> float | None:
    return None if milliseconds is None else milliseconds / 1000
