"""A day and a half on a simulated shelf, recorded by the real program: run as a process of its own, to be cut short.

    python story.py DIRECTORY power-safe|fast

A trip, alarms and their pushes, a hold, a reset, a digest, a step of the clock, two restarts, a clean-up, room made on
the disk, and parts so small that many are begun. After each batch that the store has accepted a line is added to
DIRECTORY/acks: from then on whoever asks is told that it is kept. judge.py reads them.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from unittest import mock
from zoneinfo import ZoneInfo

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from helpers_station import House, house
from matwarden import rehearsal
from matwarden.events import AlarmChanged, DigestMade, Event, Notice, PushAsked, Readings, Remember, VerdictChanged
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.sinks import store
from matwarden.sinks.store import Store, open_store
from matwarden.sinks.store_cleanup import clean_up, make_room
from matwarden.sinks.store_sums import sum_up
from matwarden.terms import At
from matwarden_hardware.twin import ROOM, Fault, FaultKind

__all__ = ["COMMIT_EVERY_S", "POLL_S", "Kept", "told_of"]

# The default of the settings; and a poll.
COMMIT_EVERY_S = 300.0
POLL_S = 10.0
PART_ROWS = 4000
_HOUR_S = 3600.0

# What one batch asks to be kept: a kind and its own words.
Kept = tuple[str, ...]


def told_of(event: Event) -> list[Kept]:
    """What the record owes for this event, in the words judge.py asks for."""
    if isinstance(event, Readings):
        kept: list[Kept] = []
        for reading in event.taken:
            kept.append(("reading", str(round(reading.temperature_c * 1000))))
            if reading.humidity_pct is not None:
                kept.append(("reading", str(round(reading.humidity_pct * 1000))))
        return kept
    if isinstance(event, AlarmChanged):
        return [("alarm", event.alarm, event.state.value)]
    if isinstance(event, VerdictChanged):
        return [("verdict", event.enclosure, event.verdict.reason.value)]
    if isinstance(event, PushAsked):
        return [("push", event.key)]
    if isinstance(event, Remember):
        return [("urgent" if event.urgent else "memory", event.key, json.dumps(event.value))]
    if isinstance(event, DigestMade):
        return [("digest", event.date)]
    return []


class _Acknowledging:
    """A sink behind the store's: writes down what the store has accepted."""

    name = "acknowledging"

    def __init__(self, path: Path) -> None:
        self._fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def accept(self, events: Sequence[Event]) -> None:
        for event in events:
            if isinstance(event, Notice) and event.warning:
                raise SystemExit(f"the story went wrong: {event.text}")
        kept = [each for event in events for each in told_of(event)]
        if kept:
            os.write(self._fd, json.dumps([events[-1].at.mono_s, kept]).encode() + b"\n")

    def close(self) -> None:
        """The process ends with it."""


class _Recorded(House):
    def _start(self) -> Rehearsal:
        acknowledging = _Acknowledging(self.settings.store.directory / "acks")
        return Rehearsal(self.settings, open_devices, [acknowledging], self.clock, self._devices)


def _tell(directory: Path) -> None:
    shelf = _Recorded(house(directory, heated=("oak", "alder"), mat="memory_min = 5", room="mean = 19.0"))

    def strike(kind: FaultKind, subject: str, hours: float, amount: float = 0.0) -> None:
        now_s = shelf.shelf.t_s
        shelf.shelf.inject(Fault(now_s, now_s + hours * _HOUR_S, kind, subject, amount))

    def call(verb: str) -> None:
        def act(at: At) -> list[Event]:
            guard = shelf.run.station.tubs["oak"].guard
            assert guard is not None
            return guard.reset(at)[0] if verb == "reset" else guard.hold(600.0, at)

        shelf.run.station.call(act)

    shelf.pass_time(1.5 * _HOUR_S)
    strike(FaultKind.RELAY_WELDED, "oak", 2.0)
    shelf.pass_time(4 * _HOUR_S)
    call("reset")
    strike(FaultKind.PROBE_DEAD, "alder-air", 0.5)
    shelf.pass_time(1.5 * _HOUR_S)
    shelf.restart()
    strike(FaultKind.ROOM_OFFSET, ROOM, 5.0, -15.0)
    shelf.pass_time(7 * _HOUR_S)
    sum_up(directory, ZoneInfo("UTC"), [], [])
    clean_up(directory, 0.2)
    shelf.clock.step_wall(1800.0)
    call("hold")
    shelf.pass_time(3 * _HOUR_S)
    shelf.restart()
    strike(FaultKind.PROBE_NOISE, "alder-wall", 1.0, 1.5)
    shelf.pass_time(2 * _HOUR_S)
    # Some parts' worth more than is free: they are dropped, and the file is cut.
    make_room(directory, 150_000, 0)
    shelf.pass_time(0.5 * _HOUR_S)
    shelf.close()


def _main(directory: Path, safe: bool) -> None:
    def opened(where: Path, now_wall_s: float, *, power_safe: bool) -> Store:
        return open_store(where, now_wall_s, power_safe=safe)

    # A rehearsal does not wait for the disk; here the disk is what matters.
    with mock.patch.object(rehearsal, "open_store", opened), mock.patch.object(store, "PART_ROWS", PART_ROWS):
        _tell(directory)


if __name__ == "__main__":
    _main(Path(sys.argv[1]), sys.argv[2] == "power-safe")
