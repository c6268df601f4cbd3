"""The record of a run, read anew: plain sqlite3, csv and tomllib, and no code of the program.

What the program says of itself is held to this. Temperatures are degrees Celsius, times UTC seconds since 1970.
"""

from __future__ import annotations

import csv
import json
import sqlite3
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

__all__ = [
    "AlarmRow",
    "DigestRow",
    "alarms",
    "cold_alarm",
    "digests",
    "mean_room_c",
    "physics",
    "pushes",
    "series",
    "switchings",
]

Readings = Sequence[tuple[float, float]]


class AlarmRow(NamedTuple):
    """One told transition."""

    wall_s: float
    alarm: str
    previous: str
    state: str


class DigestRow(NamedTuple):
    """One kept digest."""

    date: str
    made_s: float
    text: str
    document: dict[str, Any]


def series(database: Path) -> dict[tuple[str, str], list[tuple[float, float]]]:
    """Every recorded reading as (time, value), by probe and quantity, in the order it was recorded."""
    with _open(database) as connection:
        names = {number: (probe, quantity) for number, probe, quantity in connection.execute("SELECT * FROM series")}
        stretches = connection.execute("SELECT first_reading, began_wall_ms FROM stretches ORDER BY id DESC").fetchall()
        found: dict[int, list[tuple[float, float]]] = {number: [] for number in names}
        for part, before in connection.execute("SELECT id, before FROM parts ORDER BY id").fetchall():
            # A row's times count from the stretch it lies in: the newest one that began with it or earlier.
            for row, t_ms, number, milli in connection.execute(f"SELECT * FROM readings_{part} ORDER BY id"):
                wall_ms = next(wall_ms for first, wall_ms in stretches if first <= before + row)
                found[number].append(((wall_ms + t_ms) / 1000, milli / 1000))
    return {names[number]: readings for number, readings in found.items()}


def alarms(database: Path) -> list[AlarmRow]:
    """Every told transition of every alarm, oldest first."""
    with _open(database) as connection:
        return [
            AlarmRow(wall_ms / 1000, *rest)
            for wall_ms, *rest in connection.execute(
                "SELECT s.began_wall_ms + a.t_ms, a.alarm, a.previous, a.state FROM alarms a"
                " JOIN stretches s ON s.id = a.stretch ORDER BY a.id"
            )
        ]


def pushes(database: Path) -> list[tuple[float, str]]:
    """Every push that was asked for, as (time, title)."""
    with _open(database) as connection:
        rows = connection.execute("SELECT queued_wall_ms, title FROM outbox ORDER BY id").fetchall()
    return [(wall_ms / 1000, title) for wall_ms, title in rows]


def digests(database: Path) -> list[DigestRow]:
    """Every kept digest, oldest first."""
    with _open(database) as connection:
        return [
            DigestRow(date, wall_ms / 1000, text, json.loads(document))
            for date, wall_ms, text, document in connection.execute(
                "SELECT date, made_wall_ms, text, document FROM digests ORDER BY id"
            )
        ]


def switchings(record: Path, tub: str) -> list[tuple[float, bool]]:
    """What the tub's relay did, as (seconds since the start, allowed), from the relay's own record."""
    lines = (line.split() for line in record.read_text(encoding="ascii").splitlines())
    return [(float(at), level == "allow") for at, level, name in lines if name == tub]


def physics(settings: Path, tub: str) -> dict[str, float]:
    """The tub's table in the settings file, as written."""
    tables: list[dict[str, Any]] = tomllib.loads(settings.read_text(encoding="utf-8"))["twin"]
    table = next(table for table in tables if table["enclosure"] == tub)
    return {key: value for key, value in table.items() if key != "enclosure"}


def mean_room_c(room: Path, start_s: float, end_s: float) -> float:
    """Mean of the recorded room over a time: straight lines between its rows (trapezoids), the last one held."""
    with room.open(encoding="utf-8", newline="") as file:
        rows = [(datetime.fromisoformat(time).timestamp(), float(value)) for time, value in list(csv.reader(file))[1:]]
    assert rows[0][0] == start_s
    rows.append((end_s, rows[-1][1]))
    area = sum((b_s - a_s) * (a_c + b_c) / 2.0 for (a_s, a_c), (b_s, b_c) in zip(rows, rows[1:], strict=False))
    return area / (end_s - start_s)


def cold_alarm(
    readings: Readings, sets_c: float, clears_above_c: float, on_delay_s: float, off_delay_s: float
) -> list[tuple[float, str]]:
    """When a cold alarm is to be told, worked out from scratch, as (time, "starts" or "returns").

    It is cold from the first reading at or under `sets_c` to the first one above `clears_above_c`. The alarm starts
    when it has been cold for `on_delay_s` without a break and the reading is out then, and returns after `off_delay_s`
    without cold.
    """
    told: list[tuple[float, str]] = []
    cold = standing = False
    since_s = 0.0
    for at_s, value_c in readings:
        now_cold = value_c <= (clears_above_c if cold else sets_c)
        if now_cold != cold:
            cold, since_s = now_cold, at_s
        if cold and not standing and at_s - since_s >= on_delay_s and value_c <= sets_c:
            standing = True
            told.append((at_s, "starts"))
        elif standing and not cold and at_s - since_s >= off_delay_s:
            standing = False
            told.append((at_s, "returns"))
    return told


@contextmanager
def _open(database: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)) as connection:
        yield connection
