"""The outbox: pushes on the disk from the moment they are asked until each target has them, or they are given up.

It lies in the record's file, so that an alarm's transition and its push are committed together (store.py). Everything
here opens the file for a moment only: pushes are rare, and a file that was replaced is found again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

from matwarden.events import PushAsked
from matwarden.sinks.store_schema import DATABASE, StoreError, connect, connect_read_only, explain
from matwarden.terms import Priority, Recipients

__all__ = ["INSERT_PUSH", "Outbox", "Statement", "Undelivered", "push_row"]

INSERT_PUSH = (
    "INSERT OR IGNORE INTO outbox (key, title, body, priority, queued_wall_ms, recipients, attachment, waited_ms)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, 0)"
)

# One SQL statement and its values.
Statement = tuple[str, tuple[Any, ...]]


class Undelivered(NamedTuple):
    """A push that some target may still lack.

    Attributes:
        waited_s: how long it had waited while the program ran, quiet hours not counted.
        done: targets that have it, or that it was given up for.
    """

    key: str
    title: str
    body: str
    priority: Priority
    recipients: Recipients
    attachment: Path | None
    waited_s: float
    done: frozenset[str]


def push_row(push: PushAsked) -> tuple[Any, ...]:
    """The values for `INSERT_PUSH`."""
    about = (push.key, push.title, push.body, push.priority.value)
    return (*about, round(push.at.wall_s * 1000), push.recipients.value, _text(push.attachment))


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)


class Outbox:
    """The outbox in the record of `directory`."""

    def __init__(self, directory: Path) -> None:
        self._path = directory / DATABASE

    def undelivered(self) -> list[Undelivered]:
        """Every push that is not finished, in the order they were asked.

        Raises:
            StoreError: it cannot be read.
        """
        try:
            with closing(connect_read_only(self._path)) as connection:
                done: dict[str, set[str]] = {}
                for key, target in connection.execute(
                    "SELECT key, target FROM outbox_targets"
                    " WHERE delivered_wall_ms IS NOT NULL OR given_up_wall_ms IS NOT NULL"
                ):
                    done.setdefault(key, set()).add(target)
                rows = connection.execute(
                    "SELECT key, title, body, priority, recipients, attachment, waited_ms FROM outbox"
                    " WHERE finished_wall_ms IS NULL ORDER BY id"
                ).fetchall()
        except sqlite3.Error as error:
            raise explain(error, self._path, "read") from error
        return [
            Undelivered(
                key,
                title,
                body,
                Priority(priority),
                Recipients(recipients),
                None if attachment is None else Path(attachment),
                waited_ms / 1000,
                frozenset(done.get(key, ())),
            )
            for key, title, body, priority, recipients, attachment, waited_ms in rows
        ]

    def finished(self, key: str) -> bool | None:
        """True: this push is finished, never push it again. False: it waits here. None: it is not here.

        Raises:
            StoreError: it cannot be read.
        """
        try:
            with closing(connect_read_only(self._path)) as connection:
                row = connection.execute("SELECT finished_wall_ms FROM outbox WHERE key = ?", (key,)).fetchone()
        except sqlite3.Error as error:
            raise explain(error, self._path, "read") from error
        return None if row is None else row[0] is not None

    def write(self, statements: Sequence[Statement]) -> None:
        """Do the statements in one transaction.

        Raises:
            StoreError: none of them is done.
        """
        if not self._path.exists():
            raise StoreError(f"there is no record at {self._path}")
        try:
            with closing(connect(self._path)) as connection:
                connection.execute("BEGIN IMMEDIATE")
                for sql, values in statements:
                    connection.execute(sql, values)
                connection.execute("COMMIT")
        except sqlite3.Error as error:
            raise explain(error, self._path, "write") from error


def tried(key: str, target: str, error: str) -> Statement:
    """One more attempt failed."""
    return (
        "INSERT INTO outbox_targets (key, target, tries, last_error) VALUES (?, ?, 1, ?)"
        " ON CONFLICT (key, target) DO UPDATE SET tries = tries + 1, last_error = excluded.last_error",
        (key, target, error),
    )


def delivered(key: str, target: str, wall_s: float, took_s: float | None) -> Statement:
    """The target has it, `took_s` after it was asked; None: that was in an earlier run."""
    return (
        "INSERT INTO outbox_targets (key, target, tries, delivered_wall_ms, took_ms) VALUES (?, ?, 1, ?, ?)"
        " ON CONFLICT (key, target) DO UPDATE SET tries = tries + 1, delivered_wall_ms = excluded.delivered_wall_ms,"
        " took_ms = excluded.took_ms",
        (key, target, round(wall_s * 1000), None if took_s is None else round(took_s * 1000)),
    )


def given_up(key: str, target: str, wall_s: float) -> Statement:
    """It will not be tried again for this target."""
    return (
        "INSERT INTO outbox_targets (key, target, tries, given_up_wall_ms) VALUES (?, ?, 0, ?)"
        " ON CONFLICT (key, target) DO UPDATE SET given_up_wall_ms = excluded.given_up_wall_ms",
        (key, target, round(wall_s * 1000)),
    )


def waited(key: str, waited_s: float) -> Statement:
    """So long it has waited by now."""
    return "UPDATE outbox SET waited_ms = ? WHERE key = ?", (round(waited_s * 1000), key)


def finished(key: str, wall_s: float, keep: int) -> tuple[Statement, ...]:
    """Every target is done with it; of the finished ones only the newest `keep` stay."""
    old = "(SELECT key FROM outbox WHERE finished_wall_ms IS NOT NULL AND id <= (SELECT max(id) FROM outbox) - ?)"
    return (
        ("UPDATE outbox SET finished_wall_ms = ? WHERE key = ?", (round(wall_s * 1000), key)),
        (f"DELETE FROM outbox_targets WHERE key IN {old}", (keep,)),
        (f"DELETE FROM outbox WHERE key IN {old}", (keep,)),
    )
