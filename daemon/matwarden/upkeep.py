"""What was done for a tub, kept among the deeds of persons; and what follows from it.

A deed's verb is `done TASK DAY`, or `undo TASK DAY` for one that was taken back. The running station records it or,
while none runs, whoever may write the record.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

from matwarden.core.upkeep import Done, Due, Task, due_for, newest
from matwarden.events import Event, PersonDid
from matwarden.report.units import date_text
from matwarden.report.upkeep_text import due_lines
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_read import Deed, Recorded
from matwarden.sinks.store_schema import DATABASE, StoreError, connect, explain
from matwarden.terms import At, Enclosure

__all__ = ["UPKEEP_VERBS", "due_of", "lines_of", "record_deed", "told_last", "upkeep_deed", "worded"]

UPKEEP_VERBS = ("done", "undo")
_SAID = {
    Task.SUBSTRATE: "substrate changed",
    Task.SPLIT: "substrate split, its old half kept",
    Task.DISCARD: "old half looked through and discarded",
    Task.FOOD: "fed",
    Task.CHECK: "probes checked",
}


def upkeep_deed(
    verb: str, request: Mapping[str, Any], enclosure: Enclosure, by: str, at: At
) -> tuple[list[Event], dict[str, Any]]:
    """One of `UPKEEP_VERBS`, in the running station: nothing but a line in the record."""
    try:
        task, day = Task(str(request["task"])), date.fromisoformat(str(request["day"]))
    except (KeyError, ValueError):
        return [], {"ok": False, "text": "what was done, and on which day (YYYY-MM-DD), was expected"}
    text = worded(verb, enclosure.name, task, day)
    return [PersonDid(at, by, f"{verb} {task} {day}", enclosure.id, True, text)], {"ok": True, "text": text}


def worded(verb: str, name: str, task: Task, day: date) -> str:
    """What was told, as the person hears it back."""
    if verb == "undo":
        return f"{name}: taken back that on {date_text(day)} it was {_SAID[task]}."
    return f"{name}: {_SAID[task]} on {date_text(day)}."


def record_deed(directory: Path, deed: Deed) -> None:
    """Write a deed while no station runs.

    Raises:
        StoreError: nothing was ever recorded there, or it cannot be written.
    """
    path = directory / DATABASE
    if not path.exists():
        raise StoreError(f"nothing is recorded in {directory} yet: {path.name} appears there once matwarden runs")
    try:
        with closing(connect(path)) as connection:
            row = connection.execute("SELECT id, began_wall_ms FROM stretches ORDER BY id DESC LIMIT 1").fetchone()
            if row is None:
                raise StoreError(f"nothing is recorded in {directory} yet: run matwarden first")
            connection.execute(
                "INSERT INTO deeds (stretch, t_ms, by, verb, target, ok, text) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (row[0], round(deed.wall_s * 1000) - row[1], *deed[1:]),
            )
    except sqlite3.Error as error:
        raise explain(error, path, "write") from error


def due_of(settings: Settings) -> list[Due]:
    """Everything that will be due one day.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    done = newest(_done(Recorded(settings.store.directory).deeds()))
    checked = {}
    for enclosure in settings.enclosures:
        days = [probe.checked_on for probe in enclosure.probes]
        if days and None not in days:
            checked[enclosure.id] = min(day for day in days if day is not None)
    return due_for([each.id for each in settings.enclosures], done, checked, settings.upkeep)


def lines_of(settings: Settings, today: date) -> tuple[str, ...]:
    """What the digest says is due.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    return due_lines({each.id: each.name for each in settings.enclosures}, due_of(settings), today)


def told_last(settings: Settings, enclosure: str, task: Task) -> date | None:
    """The day of what was told last of a task, which an undo takes back; None: nothing was.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    days: list[date] = []
    for each in _done(Recorded(settings.store.directory).deeds()):
        if each.enclosure == enclosure and each.task is task:
            if not each.undone:
                days.append(each.day)
            elif days:
                days.pop()
    return days[-1] if days else None


def _done(deeds: Iterable[Deed]) -> Iterable[Done]:
    for deed in deeds:
        verb, _, rest = deed.verb.partition(" ")
        task, _, day = rest.partition(" ")
        if deed.ok and verb in UPKEEP_VERBS:
            try:
                yield Done(deed.target, Task(task), date.fromisoformat(day), verb == "undo")
            except ValueError:
                continue  # of a later version
