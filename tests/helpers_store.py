"""Shared by the tests of the record: events at given moments, and a sink on a real file."""

from __future__ import annotations

from pathlib import Path

from matwarden.events import (
    AlarmChanged,
    ClockStepped,
    DigestMade,
    PushAsked,
    Readings,
    Refused,
    Remember,
    Started,
    VerdictChanged,
)
from matwarden.sinks.store import StoreSink, open_store
from matwarden.terms import AlarmState, At, Priority, Quality, Reading, Reason, Verdict

# An evening in November 2027, UTC.
WALL_S = 1_826_300_000.0


def at(mono_s: float, ahead_s: float = 0.0) -> At:
    """The moment `mono_s` after the machine's start; `ahead_s`: how far the wall clock was set ahead since."""
    return At(mono_s, WALL_S + mono_s + ahead_s)


def open_sink(directory: Path, commit_every_s: float = 60.0) -> StoreSink:
    """A sink on the file in `directory`, as the daemon opens it."""
    return StoreSink(open_store(directory, WALL_S), commit_every_s)


def started(now: At) -> Started:
    return Started(now, "0.1.0")


def readings(now: At, *celsius: float, humidity_pct: float | None = None) -> Readings:
    """One reading each of the probes oak-1, oak-2, ..."""
    taken = tuple(Reading(f"oak-{number}", now, value, humidity_pct) for number, value in enumerate(celsius, 1))
    return Readings(now, taken)


def refused(now: At, probe: str, quality: Quality, why: str) -> Refused:
    return Refused(now, probe, quality, why)


def verdict(now: At, enclosure: str, allowed: bool, reason: Reason, operations: int) -> VerdictChanged:
    return VerdictChanged(now, enclosure, Verdict(allowed, reason), f"{enclosure}: {reason.value}", operations)


def alarm(now: At, state: AlarmState, previous: AlarmState = AlarmState.NORMAL, name: str = "cold/oak") -> AlarmChanged:
    return AlarmChanged(now, name, "oak", previous, state, Priority.HIGH, "Oak is cold.", 3600.0)


def push(now: At, key: str, priority: Priority = Priority.HIGH) -> PushAsked:
    return PushAsked(now, key, f"Oak: {key}", f"body of {key}", priority)


def remember(now: At, key: str, value: dict[str, object], urgent: bool) -> Remember:
    return Remember(now, key, value, urgent)


def stepped(now: At, by_s: float) -> ClockStepped:
    return ClockStepped(now, by_s)


def digest(now: At, date: str, **document: object) -> DigestMade:
    return DigestMade(now, date, "All well.", document)
