"""Allowed or cut: the verdicts of a window as changes of each mat's state. While the program is down, it is cut."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from matwarden.core.record import HeatChange
from matwarden.sinks.store_time import START, Mark, Stretch

__all__ = ["NOT_RUNNING", "UNKNOWN", "heat_changes"]

NOT_RUNNING = "not-running"
UNKNOWN = "unknown"


def heat_changes(connection: sqlite3.Connection, line: Sequence[Stretch], since: Mark, until: Mark) -> list[HeatChange]:
    """Per enclosure the state in force at the window's start, then every change, on the window's elapsed time.

    Args:
        line: the window's stretches, laid out so that the window begins at elapsed 0.
    """
    stretches = {stretch.id: stretch for stretch in line}
    columns = "SELECT stretch, t_ms, enclosure, allowed, reason, operations, previous, id FROM verdicts WHERE"
    changes: list[HeatChange] = []
    in_force: dict[str, HeatChange] = {}
    start_wall_s = (line[0].wall_ms - line[0].elapsed_ms) / 1000

    def begin(enclosure: str, before: int | None, operations: int) -> None:
        row = connection.execute(f"{columns} id = ?", (before,)).fetchone() if before else None
        if row is None:
            state = HeatChange(0.0, start_wall_s, enclosure, False, UNKNOWN, operations)
        elif _run_of(connection, row[0]) != line[0].run or since == START:
            state = HeatChange(0.0, start_wall_s, enclosure, False, NOT_RUNNING, row[5])
        else:
            state = HeatChange(0.0, start_wall_s, enclosure, bool(row[3]), row[4], row[5])
        changes.append(state)
        in_force[enclosure] = state

    rows = connection.execute(f"{columns} id > ? AND id <= ? ORDER BY id", (since.verdict, until.verdict)).fetchall()
    for row in rows:
        if row[2] not in in_force:
            begin(row[2], row[6], row[5] - row[3])
    for enclosure, last, operations in connection.execute(
        "SELECT e.enclosure, v.id, v.operations FROM enclosures e JOIN verdicts v ON v.id = e.last_verdict"
    ):
        if enclosure not in in_force and last <= since.verdict:
            begin(enclosure, last, operations)
    changes.sort(key=lambda change: change.enclosure)

    ends = [(stretch, before) for before, stretch in zip(line, line[1:], strict=False) if stretch.run != before.run]
    for row in rows:
        while ends and row[0] >= ends[0][0].id:
            _stop(changes, in_force, ends.pop(0)[1])
        stretch = stretches[row[0]]
        change = HeatChange(
            max(0.0, (stretch.elapsed_ms + row[1]) / 1000),
            (stretch.wall_ms + row[1]) / 1000,
            row[2],
            bool(row[3]),
            row[4],
            row[5],
        )
        changes.append(change)
        in_force[row[2]] = change
    for _, before in ends:
        _stop(changes, in_force, before)
    return changes


def _stop(changes: list[HeatChange], in_force: dict[str, HeatChange], ended: Stretch) -> None:
    """While the program is down every relay is cut."""
    elapsed_s = max(0.0, (ended.elapsed_ms + ended.seen_ms) / 1000)
    wall_s = (ended.wall_ms + ended.seen_ms) / 1000
    for enclosure, state in in_force.items():
        if state.reason not in (NOT_RUNNING, UNKNOWN):
            stopped = HeatChange(elapsed_s, wall_s, enclosure, False, NOT_RUNNING, state.operations)
            changes.append(stopped)
            in_force[enclosure] = stopped


def _run_of(connection: sqlite3.Connection, stretch: int) -> int:
    row = connection.execute("SELECT run FROM stretches WHERE id = ?", (stretch,)).fetchone()
    return 0 if row is None else int(row[0])
