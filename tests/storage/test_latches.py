"""A trip that the record has no room for is known at the next start all the same."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from helpers_store import WALL_S, alarm, at, open_sink, readings, remember, started
from matwarden.sinks.store import StoreError, StoreSink, open_store
from matwarden.sinks.store_latches import LATCHES, Latches, kept_latches
from matwarden.sinks.store_read import Recorded
from matwarden.terms import AlarmState

_TRIPPED: dict[str, object] = {"tripped": True}
_RESET: dict[str, object] = {"tripped": False}


@pytest.fixture(params=["small_disk", "small_ext4"])
def disk(request: pytest.FixtureRequest) -> Path:
    """A small file system: in memory, and ext4 in a file."""
    found: Path = request.getfixturevalue(request.param)
    return found


def _fill(disk: Path) -> None:
    with (disk / "somebody-else").open("wb", buffering=0) as file:
        for size in (4096, 1):
            with contextlib.suppress(OSError):
                while True:
                    file.write(bytes(size))


def _killed(sink: StoreSink) -> None:
    """As a kill leaves it: the file and its lock let go of, nothing more written."""
    sink._store.close()


@pytest.fixture
def running(disk: Path) -> Iterator[StoreSink]:
    """A sink that has recorded an untripped oak; then the disk is filled."""
    sink = open_sink(disk / "record")
    sink.accept([started(at(0)), remember(at(0), "guard/oak", _RESET, True)])
    _fill(disk)
    yield sink
    _killed(sink)


def _trip(sink: StoreSink) -> None:
    with pytest.raises(StoreError, match="the disk is full"):
        sink.accept([remember(at(10), "guard/oak", _TRIPPED, True), alarm(at(10), AlarmState.UNACKNOWLEDGED)])


def test_a_trip_on_a_full_disk_outlives_a_kill(running: StoreSink, disk: Path) -> None:
    """The record could not take it; the next start knows it, though the disk is still full, and so does `status`."""
    _trip(running)
    _killed(running)
    assert Recorded(disk / "record").remembered()["guard/oak"]["tripped"] is True
    store = open_store(disk / "record", WALL_S)
    assert store.remembered()["guard/oak"]["tripped"] is True
    store.close()


def test_it_comes_into_the_record_when_there_is_room(running: StoreSink, disk: Path) -> None:
    """The first commit after the restart takes it over; from then on the record alone counts, also for the reset."""
    _trip(running)
    _killed(running)
    (disk / "somebody-else").unlink()
    sink = open_sink(disk / "record")
    sink.accept([started(at(900)), alarm(at(900), AlarmState.UNACKNOWLEDGED)])
    assert kept_latches(disk / "record" / LATCHES) == {}
    with closing(sqlite3.connect(disk / "record" / "matwarden.db")) as connection:
        (text,) = connection.execute("SELECT json FROM memory WHERE key = 'guard/oak'").fetchone()
    assert '"tripped": true' in text
    sink.accept([remember(at(901), "guard/oak", _RESET, True)])
    sink.close()
    assert Recorded(disk / "record").remembered() == {"guard/oak": _RESET}


def test_a_trip_while_another_program_holds_the_record_outlives_a_kill(tmp_path: Path) -> None:
    """Room or not: whatever keeps a commit from succeeding, the trip is kept."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0))])
    sink._store.connection.execute("PRAGMA busy_timeout = 1")
    with closing(sqlite3.connect(tmp_path / "matwarden.db", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="another program held it"):
            sink.accept([remember(at(1), "guard/oak", _TRIPPED, True)])
        _killed(sink)
    store = open_store(tmp_path, WALL_S)
    assert store.remembered() == {"guard/oak": _TRIPPED}
    store.close()


def test_a_sound_record_never_writes_beside_itself(tmp_path: Path) -> None:
    """Cards wear: the file is laid at the first start, and not written again while commits succeed."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0))])
    before = (tmp_path / LATCHES).stat()
    for second in range(1, 50):
        sink.accept([readings(at(second), 25.0), remember(at(second), "guard/oak", {"n": second}, True)])
    after = (tmp_path / LATCHES).stat()
    sink.close()
    assert (after.st_mtime_ns, after.st_size) == (before.st_mtime_ns, before.st_size)


def test_a_write_that_breaks_off_anywhere_leaves_the_one_before(tmp_path: Path) -> None:
    """After any number of bytes of the newest write, it says the newest or the one before, nothing else."""
    path = tmp_path / LATCHES
    latches = Latches(path, power_safe=True)
    assert latches.keep({"guard/oak": "1"})
    before = path.read_bytes()
    assert latches.keep({"guard/oak": "2", "guard/alder": "3"})
    latches.close()
    after = path.read_bytes()
    differing = [number for number in range(len(after)) if after[number] != before[number]]
    for cut in range(differing[0], differing[-1] + 1):
        path.write_bytes(after[:cut] + before[cut:])
        assert kept_latches(path) == {"guard/oak": "1"}
    path.write_bytes(after)
    assert kept_latches(path) == {"guard/oak": "2", "guard/alder": "3"}


@pytest.mark.parametrize("content", [b"", b"\xff" * 65536, b"{}", bytes(10)])
def test_junk_is_no_state_and_is_written_over(tmp_path: Path, content: bytes) -> None:
    """Whatever is in the file, a start reads nothing from it and the next trip is kept."""
    path = tmp_path / LATCHES
    path.write_bytes(content)
    latches = Latches(path, power_safe=True)
    assert latches.states == {}
    assert latches.keep({"guard/oak": "1"})
    latches.close()
    assert kept_latches(path) == {"guard/oak": "1"}
