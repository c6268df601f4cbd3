"""A disk that is full: the station goes on as if nothing were the matter, and the record comes back by itself."""

from __future__ import annotations

import contextlib
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from helpers_station import House, house
from helpers_store import WALL_S, alarm, at, open_sink, readings, remember, started
from matwarden.events import AlarmChanged, Notice, Readings, Remember, VerdictChanged
from matwarden.sinks.store import StoreError, StoreSink, open_store
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_space import free_bytes
from matwarden.terms import AlarmState
from matwarden_hardware.twin import ROOM, Fault, FaultKind

_HOUR_S = 3600.0


def _fill(disk: Path) -> None:
    with (disk / "somebody-else").open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(bytes(4096))
    assert free_bytes(disk) == 0


def _evening(directory: Path, disk: Path, trouble: Callable[[], object], relief: Callable[[], object]) -> House:
    """Seven hours with heat, a cold room and a relay that welds; trouble from the first to the fifth."""
    settings = house(directory, heated=("oak", "alder"), room="mean = 19.0")
    shelf = House(replace(settings, store=replace(settings.store, directory=disk / "record")))
    shelf.pass_time(_HOUR_S)
    trouble()
    now_s = shelf.shelf.t_s
    shelf.shelf.inject(Fault(now_s, now_s + 2 * _HOUR_S, FaultKind.RELAY_WELDED, "oak", 0.0))
    shelf.pass_time(1.5 * _HOUR_S)
    shelf.shelf.inject(Fault(shelf.shelf.t_s, None, FaultKind.ROOM_OFFSET, ROOM, -15.0))
    shelf.pass_time(2.5 * _HOUR_S)
    relief()
    shelf.pass_time(2 * _HOUR_S)
    return shelf


@pytest.fixture
def full(tmp_path: Path, small_disk: Path) -> House:
    """That evening on a disk that somebody else fills."""
    return _evening(tmp_path, small_disk, lambda: _fill(small_disk), lambda: (small_disk / "somebody-else").unlink())


def test_a_full_disk_changes_no_verdict(full: House, tmp_path: Path) -> None:
    """Every verdict comes at its time, also a trip; every cycle is made."""
    usual = _evening(tmp_path / "usual", tmp_path / "usual", lambda: None, lambda: None)
    full.close()
    usual.close()
    story: list[list[Any]] = [
        [(e.at.mono_s, e.enclosure, e.verdict, e.sentence) for e in each.told(VerdictChanged)] for each in (full, usual)
    ]
    assert len(story[1]) > 20
    assert story[0] == story[1]
    assert full.run.station.cycles == usual.run.station.cycles


def test_the_record_catches_up_when_there_is_room_again(full: House) -> None:
    """Of the hours in which nothing could be written each alarm, each state to remember and each reading is there."""
    full.close()
    recorded = Recorded(full.settings.store.directory)
    window = recorded.window(None, recorded.mark())
    told = [(e.alarm, e.state) for e in full.told(AlarmChanged)]
    assert len(told) >= 3
    assert [(line.alarm, line.state) for line in window.alarms] == told
    taken = sum(len(event.taken) for event in full.told(Readings))
    assert sum(len(points) for points in window.series.values()) == taken
    store = open_store(full.settings.store.directory, 0.0)
    last = {event.key: dict(event.value) for event in full.told(Remember)}
    assert store.remembered() == last
    store.close()


def test_the_keeper_is_told_of_the_disk_and_of_the_tubs(full: House, tmp_path: Path) -> None:
    """The log says once that the disk is full; the phone hears of trip and cold while it is."""
    full.close()
    (told,) = {event.text for event in full.told(Notice) if event.text.startswith("store: ")}
    assert "the disk is full" in told
    phone = (tmp_path / "phone.txt").read_text()
    assert "Oak: heat tripped" in phone
    assert "Alder: cold" in phone


def test_a_start_on_a_full_disk_knows_the_trip(small_disk: Path) -> None:
    """What must be remembered is read though nothing can be written; what is told meanwhile is kept when it can."""
    sink = open_sink(small_disk / "record")
    sink.accept([started(at(0)), remember(at(0), "guard/oak", {"tripped": True}, True)])
    sink.close()
    _fill(small_disk)
    store = open_store(small_disk / "record", WALL_S)
    assert "the disk is full; free some space" in store.notices[0]
    assert store.remembered() == {"guard/oak": {"tripped": True}}
    sink = StoreSink(store, 60.0)
    with pytest.raises(StoreError, match="the disk is full"):
        sink.accept([started(at(10)), readings(at(10), 25.0), alarm(at(10), AlarmState.UNACKNOWLEDGED)])
    (small_disk / "somebody-else").unlink()
    sink.accept([readings(at(20), 25.5)])
    sink.close()
    recorded = Recorded(small_disk / "record")
    assert [line.alarm for line in recorded.active_alarms()] == ["cold/oak"]
    assert recorded.mark().reading == 2


def test_a_start_on_a_read_only_disk_knows_the_trip(tmp_path: Path, small_disk: Path) -> None:
    """A card that has become read-only still tells what tripped, and is taken up when it can be written again."""
    sink = open_sink(small_disk / "record")
    sink.accept([started(at(0)), remember(at(0), "guard/oak", {"tripped": True}, True)])
    sink.close()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    store = open_store(small_disk / "record", WALL_S)
    sink = StoreSink(store, 60.0)
    assert "read-only disk" in store.notices[0]
    assert store.remembered() == {"guard/oak": {"tripped": True}}
    with pytest.raises(StoreError, match="read-only disk"):
        sink.accept([started(at(10)), alarm(at(10), AlarmState.UNACKNOWLEDGED)])
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    sink.accept([readings(at(20), 25.5)])
    sink.close()
    assert [line.alarm for line in Recorded(small_disk / "record").active_alarms()] == ["cold/oak"]


def test_a_state_that_cannot_be_read_sends_the_keeper_to_the_mats(tmp_path: Path) -> None:
    """A sector gone bad inside a remembered text passes SQLite's own checks; it is found at the start all the same."""
    sink = open_sink(tmp_path)
    kept: dict[str, dict[str, object]] = {f"guard/{name}": {"tripped": name == "oak"} for name in ("oak", "alder")}
    sink.accept([started(at(0)), *(remember(at(0), key, value, True) for key, value in kept.items())])
    sink.close()
    with closing(sqlite3.connect(tmp_path / "matwarden.db")) as connection, connection:
        connection.execute("UPDATE memory SET json = '{\"trip' WHERE key = 'guard/oak'")
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    store = open_store(tmp_path, WALL_S)
    assert "1 could not be read: a trip or a hold may be forgotten, look at every mat now" in store.notices[0]
    assert store.remembered() == {"guard/alder": {"tripped": False}}
    store.close()
