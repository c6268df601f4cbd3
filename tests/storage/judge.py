"""What a record owes for a story told so far, and whether it pays: the real program judges what a cut has left."""

from __future__ import annotations

import json
import sqlite3
from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple

from helpers_store import alarm, remember, started
from matwarden.sinks.store import Store, StoreError, StoreSink, open_store
from matwarden.sinks.store_parts import last_number, parts
from matwarden.terms import AlarmState, At
from storage.disk import Call
from storage.story import COMMIT_EVERY_S, POLL_S, Kept

__all__ = ["Owed", "Told", "judge"]

# So many of the newest readings and verdicts are compared one by one.
_COMPARED = 400
_KINDS = ("reading", "alarm", "verdict", "push", "digest")


class Owed(NamedTuple):
    """How much of a story was accepted: by the cut, and so long before it that it is no part of the last batch."""

    told: Told
    accepted: int
    older: int


class Told:
    """Everything a story told, in order, batch by batch as the store accepted them."""

    def __init__(self, calls: Sequence[Call]) -> None:
        acks = [(number, call.data) for number, call in enumerate(calls) if call.path == "acks" and call.what == "W"]
        lines = [json.loads(data) for _, data in acks]
        self._calls = [number for number, _ in acks]
        self._mono_s: list[float] = [mono_s for mono_s, _ in lines]
        batches: list[list[Kept]] = [[tuple(each) for each in kept] for _, kept in lines]
        self.words = {kind: [each[1:] for batch in batches for each in batch if each[0] == kind] for kind in _KINDS}
        self._counts = {
            kind: list(accumulate((sum(each[0] == kind for each in batch) for batch in batches), initial=0))
            for kind in _KINDS
        }
        # By key: in which batch, whether urgent, and the value.
        self.memory: dict[str, list[tuple[int, bool, str]]] = {}
        for number, batch in enumerate(batches):
            for kind, *words in batch:
                if kind in ("urgent", "memory"):
                    self.memory.setdefault(words[0], []).append((number, kind == "urgent", words[1]))

    def owed(self, cut: int) -> Owed:
        """What the record owes when the power goes before call `cut`."""
        accepted = bisect_left(self._calls, cut)
        before_s = self._mono_s[accepted - 1] - COMMIT_EVERY_S - POLL_S if accepted else 0.0
        return Owed(self, accepted, bisect_left(self._mono_s, before_s, 0, accepted))

    def number(self, kind: str, batches: int) -> int:
        """How many of a kind were told in the first so many batches."""
        return self._counts[kind][batches]


class Judgement(NamedTuple):
    """What was found wrong, in words; and how many accepted readings are gone."""

    wrong: list[str]
    lost_readings: int


def judge(directory: Path, owed: Owed) -> Judgement:
    """Open the record as the program does when it starts, compare, and go on recording."""
    try:
        store = open_store(directory, 0.0)
    except StoreError as error:
        return Judgement([f"does not open: {error}"], 0)
    try:
        wrong = [f"set aside: {text}" for text in store.notices]
        lost = _compare(store, owed, wrong)
    except (sqlite3.Error, StoreError) as error:
        return Judgement([f"cannot be read: {error}"], 0)
    finally:
        store.close()
    return Judgement(wrong + _goes_on(directory), lost)


def _compare(store: Store, owed: Owed, wrong: list[str]) -> int:
    told, accepted, older = owed
    ask = store.connection.execute
    found = ask("PRAGMA integrity_check").fetchone()[0]
    if found != "ok":
        wrong.append(f"integrity: {found}")
    readings_n = last_number(store.connection)
    if readings_n < told.number("reading", older):
        wrong.append(f"{told.number('reading', older) - readings_n} readings older than one batch are gone")
    there = parts(store.connection)
    if there:
        newest = ask(f"SELECT id, milli FROM {there[-1].table} ORDER BY id DESC LIMIT {_COMPARED}").fetchall()
        if any(told.words["reading"][there[-1].before + id - 1] != (str(milli),) for id, milli in newest):
            wrong.append("readings are not those told, in that order")
    verdicts = ask(f"SELECT id, enclosure, reason FROM verdicts ORDER BY id DESC LIMIT {_COMPARED}").fetchall()
    if any(told.words["verdict"][id - 1] != (enclosure, reason) for id, enclosure, reason in verdicts):
        wrong.append("verdicts are not those told, in that order")
    if (verdicts[0][0] if verdicts else 0) < told.number("verdict", older):
        wrong.append("verdicts older than one batch are gone")
    alarms = ask("SELECT alarm, state FROM alarms ORDER BY id").fetchall()
    if alarms != told.words["alarm"][: len(alarms)] or len(alarms) < told.number("alarm", accepted):
        wrong.append(f"{told.number('alarm', accepted)} alarm changes were kept, found {len(alarms)}: {alarms[-3:]}")
    for kind, sql in (("push", "SELECT key FROM outbox"), ("digest", "SELECT date FROM digests")):
        missing = set(told.words[kind][: told.number(kind, accepted)]) - set(ask(sql).fetchall())
        if missing:
            wrong.append(f"{kind} gone: {sorted(missing)}")
    _compare_memory(store, owed, wrong)
    return max(0, told.number("reading", accepted) - readings_n)


def _compare_memory(store: Store, owed: Owed, wrong: list[str]) -> None:
    found = {key: json.dumps(value) for key, value in store.remembered().items()}
    for key, values in owed.told.memory.items():
        urgent = [at for at, (batch, urgent, _) in enumerate(values) if urgent and batch < owed.accepted]
        if urgent and found.get(key) not in [value for _, _, value in values[urgent[-1] :]]:
            wrong.append(f"{key} remembers {found.get(key)}, not {values[urgent[-1]][2]} or later")


def _goes_on(directory: Path) -> list[str]:
    """Start recording on what was left, end in order, and look whether that is there."""
    try:
        sink = StoreSink(open_store(directory, 0.0), COMMIT_EVERY_S)
        now = At(0.0, 0.0)
        changed = alarm(now, AlarmState.UNACKNOWLEDGED, name="after/the-cut")
        sink.accept([started(now), changed, remember(now, "after", {}, True)])
        sink.close()
        store = open_store(directory, 0.0)
        last = store.connection.execute("SELECT alarm FROM alarms ORDER BY id DESC LIMIT 1").fetchone()
        there = "after" in store.remembered()
        store.close()
    except (sqlite3.Error, StoreError) as error:
        return [f"cannot go on: {error}"]
    return [] if last == ("after/the-cut",) and there else ["what was recorded afterwards is gone"]
