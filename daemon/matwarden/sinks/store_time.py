"""The record's time line: stretches laid end to end, so that elapsed time never jumps. And marks, positions on it.

Across a step of the wall clock time is continuous: the monotonic clock ran on. Across a restart the time that passed is
the difference of the wall clocks when that is positive; otherwise it is not known and counts as none.
"""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

from matwarden.sinks.store_parts import last_number

__all__ = ["CONTINUED", "STARTED", "START", "STEPPED", "Mark", "Stretch", "high_water", "laid_out"]

# Why a stretch began: the program started, the wall clock was stepped, or the stretch before had become long.
STARTED = "started"
STEPPED = "stepped"
CONTINUED = "continued"


class Mark(NamedTuple):
    """A position in the record: the highest row of each kind, and the moment. Kept with a digest as where it ended."""

    reading: int
    verdict: int
    alarm: int
    refusal: int
    stretch: int
    t_ms: int

    def __str__(self) -> str:
        return ".".join(str(number) for number in self)

    @classmethod
    def parse(cls, text: str) -> Mark:
        """The mark written as `text`.

        Raises:
            ValueError: it is none.
        """
        numbers = [int(part) for part in text.split(".")]
        if len(numbers) != len(cls._fields):
            raise ValueError(f"not a mark: {text!r}")
        return cls(*numbers)


# Before everything recorded.
START = Mark(0, 0, 0, 0, 0, 0)


class Stretch(NamedTuple):
    """One stretch, in milliseconds, on the time line.

    Attributes:
        elapsed_ms: where on the time line it begins; 0 for the oldest one.
        seen_ms: how long it had lasted when something was last recorded in it.
    """

    id: int
    run: int
    wall_ms: int
    mono_ms: int
    seen_ms: int
    first_reading: int
    reason: str
    step_ms: int
    elapsed_ms: int


def laid_out(connection: sqlite3.Connection) -> list[Stretch]:
    """All stretches, oldest first, on one time line."""
    line: list[Stretch] = []
    for row in connection.execute(
        "SELECT id, run, began_wall_ms, began_mono_ms, seen_ms, first_reading, reason, step_ms"
        " FROM stretches ORDER BY id"
    ):
        here = Stretch._make((*row, 0))
        if line:
            before = line[-1]
            if here.run == before.run:
                passed_ms = here.mono_ms - before.mono_ms
            else:
                passed_ms = before.seen_ms + max(0, here.wall_ms - before.wall_ms - before.seen_ms)
            here = here._replace(elapsed_ms=before.elapsed_ms + passed_ms)
        line.append(here)
    return line


def high_water(connection: sqlite3.Connection) -> Mark:
    """Where the record stands: everything recorded so far is before this mark."""
    highest = [
        connection.execute(f"SELECT coalesce(max(id), 0) FROM {table}").fetchone()[0]
        for table in ("verdicts", "alarms", "refusals")
    ]
    last = connection.execute("SELECT id, seen_ms FROM stretches ORDER BY id DESC LIMIT 1").fetchone() or (
        0,
        0,
    )
    return Mark(last_number(connection), *highest, *last)
