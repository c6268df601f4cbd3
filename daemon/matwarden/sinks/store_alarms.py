"""Reading the alarms of the last days out of the record, and how soon their pushes arrived.

Rows are found by the file's own indices: newest first until the window begins, then, of each alarm that stood there,
back to where it was normal. So a record of years costs no more than the window.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

from matwarden.core.alarm_table import ALARMS
from matwarden.core.record import AlarmLine
from matwarden.sinks.store_time import Stretch, laid_out
from matwarden.terms import AlarmState

__all__ = ["AlarmHistory", "alarm_history"]

_ROW = "SELECT id, stretch, t_ms, alarm, enclosure, previous, state, text, active_ms FROM alarms"
_CONDITIONS = frozenset(spec.condition for spec in ALARMS)

_Read = Callable[[Sequence[Any]], AlarmLine]


class AlarmHistory(NamedTuple):
    """Every transition of a time, on the record's own time line.

    Attributes:
        lines: oldest first. before: of the alarms that were not normal when it began, what led there.
        end_s: where the record ends. end_wall_s: the wall clock there. covers_s: so far back the record reaches, at
            most the time asked for.
        push_delays_s: of each push of an alarm, from its asking to the first target that had it.
        lost_n: pushes that were given up everywhere. waiting_n: that wait for all their targets.
    """

    lines: tuple[AlarmLine, ...]
    before: tuple[AlarmLine, ...]
    end_s: float
    end_wall_s: float
    covers_s: float
    push_delays_s: tuple[float, ...]
    lost_n: int
    waiting_n: int


def alarm_history(connection: sqlite3.Connection, days_s: float) -> AlarmHistory:
    """The last `days_s` seconds before the record's end.

    Raises:
        sqlite3.Error: it cannot be read.
    """
    stretches = laid_out(connection)
    if not stretches:
        return AlarmHistory((), (), 0.0, 0.0, 0.0, (), 0, 0)
    by_id = {stretch.id: stretch for stretch in stretches}
    last = stretches[-1]
    end_s, end_wall_s = (last.elapsed_ms + last.seen_ms) / 1000, (last.wall_ms + last.seen_ms) / 1000
    covers_s = min(end_s, days_s)

    def read(row: Sequence[Any]) -> AlarmLine:
        return _line(row, by_id)

    lines: list[AlarmLine] = []
    first_id = None
    for row in connection.execute(f"{_ROW} ORDER BY id DESC"):
        line = read(row)
        if line.elapsed_s < end_s - covers_s:
            break
        lines.append(line)
        first_id = row[0]
    before = _before(connection, first_id, read)
    delays, lost_n, waiting_n = _pushes(connection, end_wall_s - covers_s)
    return AlarmHistory(tuple(lines[::-1]), tuple(before), end_s, end_wall_s, covers_s, delays, lost_n, waiting_n)


def _before(connection: sqlite3.Connection, first_id: int | None, read: _Read) -> list[AlarmLine]:
    limit = first_id if first_id is not None else 2**62
    found: list[tuple[int, AlarmLine]] = []
    for alarm in _alarms(connection):
        for row in connection.execute(f"{_ROW} WHERE alarm = ? AND id < ? ORDER BY id DESC", (alarm, limit)):
            line = read(row)
            if line.state is AlarmState.NORMAL:
                break
            found.append((row[0], line))
    return [line for _, line in sorted(found, key=lambda each: each[0])]


def _alarms(connection: sqlite3.Connection) -> Iterator[str]:
    """Every alarm that ever changed, from one to the next in the index: DISTINCT would read all rows."""
    alarm = ""
    while row := connection.execute(
        "SELECT alarm FROM alarms WHERE alarm > ? ORDER BY alarm LIMIT 1", (alarm,)
    ).fetchone():
        alarm = row[0]
        yield alarm


def _line(row: Sequence[Any], stretches: dict[int, Stretch]) -> AlarmLine:
    _, stretch_id, t_ms, alarm, enclosure, previous, state, text, active_ms = row
    stretch = stretches[stretch_id]
    elapsed_s, wall_s = (stretch.elapsed_ms + t_ms) / 1000, (stretch.wall_ms + t_ms) / 1000
    return AlarmLine(
        elapsed_s, wall_s, alarm, enclosure, AlarmState(previous), AlarmState(state), text, active_ms / 1000
    )


def _pushes(connection: sqlite3.Connection, since_wall_s: float) -> tuple[tuple[float, ...], int, int]:
    # By the machine's own time where that is known; a clock that was set meanwhile makes the other kind worthless.
    columns = {row[1] for row in connection.execute("PRAGMA table_info(outbox_targets)")}
    took = "coalesce(t.took_ms, t.delivered_wall_ms - o.queued_wall_ms)"
    if "took_ms" not in columns:
        took = "t.delivered_wall_ms - o.queued_wall_ms"
    rows = connection.execute(
        f"SELECT o.key, o.finished_wall_ms, min({took}), count(t.given_up_wall_ms)"
        " FROM outbox o LEFT JOIN outbox_targets t ON t.key = o.key WHERE o.queued_wall_ms >= ? GROUP BY o.key",
        (round(since_wall_s * 1000),),
    )
    delays: list[float] = []
    lost_n = waiting_n = 0
    for key, finished_ms, took_ms, given_up_n in rows:
        if key.partition("/")[0] not in _CONDITIONS:
            continue  # a digest, or a word about the program itself
        if took_ms is not None:
            if took_ms >= 0:
                delays.append(took_ms / 1000)
        elif finished_ms is None:
            waiting_n += 1
        elif given_up_n:
            lost_n += 1
    return tuple(delays), lost_n, waiting_n
