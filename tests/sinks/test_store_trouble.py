"""The record when things go wrong: kills, damage, a full disk, a second daemon. Real files and processes."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from helpers_store import WALL_S, alarm, at, open_sink, push, readings, remember, started, verdict
from matwarden.sinks.outbox import Outbox
from matwarden.sinks.store import StoreBusy, StoreError, StoreReplaced, open_store
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import migrations
from matwarden.terms import AlarmState, Quantity, Reason

OAK_1 = ("oak-1", Quantity.TEMPERATURE)

WRITER = """
import sys
from pathlib import Path
from helpers_store import alarm, at, open_sink, readings, remember, started
from matwarden.terms import AlarmState
sink = open_sink(Path(sys.argv[1]), commit_every_s=1e9)
sink.accept([started(at(0))])
for number in range(100_000):
    sink.accept([readings(at(number), number / 1000)])
    if number % 5 == 4:
        sink.accept([alarm(at(number), AlarmState.UNACKNOWLEDGED), remember(at(number), "n", {"n": number}, True)])
        print(number, flush=True)
"""


def test_what_was_acknowledged_before_a_kill_is_there_after_it(tmp_path: Path) -> None:
    """A process killed in the middle of writing has lost nothing of which it had said that it is kept."""
    with subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path)], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        for _ in range(40):
            acknowledged = int(child.stdout.readline())
        os.kill(child.pid, signal.SIGKILL)
        tail = child.stdout.read().split()
    last = int(tail[-1]) if tail else acknowledged
    store = open_store(tmp_path, WALL_S)
    assert store.notices == ()
    assert store.remembered()["n"]["n"] >= last
    store.close()
    recorded = Recorded(tmp_path)
    window = recorded.window(None, recorded.mark())
    assert len(window.alarms) >= (last + 1) // 5
    assert [point.value for point in window.series[OAK_1]][: last + 1] == [n / 1000 for n in range(last + 1)]


def test_a_power_cut_in_the_middle_of_a_write_leaves_whole_commits(tmp_path: Path) -> None:
    """Wherever the write-ahead log breaks off, what is left is all of the first so many batches and nothing else."""
    (tmp_path / "live").mkdir()
    sink = open_sink(tmp_path / "live", commit_every_s=1e9)
    sink.accept([started(at(0))])
    for n in range(1, 61):
        sink.accept(
            [
                readings(at(n), n),
                alarm(at(n), AlarmState.UNACKNOWLEDGED),
                push(at(n), f"k{n}"),
                remember(at(n), "n", {"n": n}, True),
            ]
        )
    log = (tmp_path / "live" / "matwarden.db-wal").read_bytes()
    left = []
    for length in range(len(log) // 3, len(log), len(log) // 23):
        after = tmp_path / f"after-{length}"
        after.mkdir()
        (after / "matwarden.db").write_bytes((tmp_path / "live" / "matwarden.db").read_bytes())
        (after / "matwarden.db-wal").write_bytes(log[:length])
        store = open_store(after, WALL_S)
        assert store.notices == ()
        n = store.remembered()["n"]["n"]
        store.close()
        window = Recorded(after).window(None, Recorded(after).mark())
        assert [point.value for point in window.series[OAK_1]] == list(range(1, n + 1))
        assert len(window.alarms) == len(Outbox(after).undelivered()) == n
        left.append(n)
    sink.close()
    assert left == sorted(left)
    assert 1 <= left[0] < left[-1] <= 60


def test_two_daemons_cannot_share_a_record(tmp_path: Path) -> None:
    """The second is told which process is there and why it may not; when the first has ended it may."""
    first = open_store(tmp_path, WALL_S)
    with pytest.raises(StoreBusy, match=rf"process {os.getpid()}\) is using .*stop it first"):
        open_store(tmp_path, WALL_S)
    first.close()
    open_store(tmp_path, WALL_S).close()


def test_the_lock_of_a_killed_daemon_is_gone(tmp_path: Path) -> None:
    """A lock file left behind keeps nobody out."""
    code = (
        "import sys,os\nfrom pathlib import Path\nfrom helpers_store import open_sink\nopen_sink(Path(sys.argv[1]))\n"
    )
    subprocess.run([sys.executable, "-c", code + "os.kill(os.getpid(), 9)", str(tmp_path)], check=False)
    assert (tmp_path / "matwarden.lock").exists()
    open_store(tmp_path, WALL_S).close()


@pytest.mark.parametrize("damage", ["not a database", "torn pages"])
def test_a_damaged_file_is_set_aside_and_told(tmp_path: Path, damage: str) -> None:
    """The daemon starts with a fresh record, keeps the old file under a name with the time, and says so."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0)), *(readings(at(second), 25.0, 26.0, 27.0) for second in range(3000))])
    sink.close()
    file = tmp_path / "matwarden.db"
    content = bytearray(file.read_bytes())
    torn = 0 if damage == "not a database" else len(content) // 2
    content[torn : torn + 40_000] = b"\x5a" * 40_000
    file.write_bytes(content)
    store = open_store(tmp_path, WALL_S)
    (notice,) = store.notices
    assert "matwarden.db.damaged-20271115T173320Z" in notice
    assert (tmp_path / "matwarden.db.damaged-20271115T173320Z").read_bytes() == content
    assert Recorded(tmp_path).mark().reading == 0
    store.close()


def test_a_trip_outlives_damage_elsewhere_in_the_file(tmp_path: Path) -> None:
    """What was remembered and the pushes not yet sent are carried into the fresh file when they can be read."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0)), remember(at(0), "guard/oak", {"tripped": True}, True), push(at(0), "trip/oak/1")])
    sink.accept([readings(at(second), 25.0, 26.0, 27.0) for second in range(3000)])
    sink.close()
    file = tmp_path / "matwarden.db"
    content = bytearray(file.read_bytes())
    content[-30_000:] = b"\x5a" * 30_000
    file.write_bytes(content)
    store = open_store(tmp_path, WALL_S)
    assert "1 remembered states" in store.notices[0]
    assert store.remembered() == {"guard/oak": {"tripped": True}}
    assert [old.key for old in Outbox(tmp_path).undelivered()] == ["trip/oak/1"]
    store.close()


def test_of_a_large_file_the_tables_a_start_needs_are_checked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A torn page among the remembered states is found at the start, however large the file."""
    monkeypatch.setattr("matwarden.sinks.store_file._CHECKED_WHOLE_BYTES", 0)
    sink = open_sink(tmp_path)
    sink.accept([started(at(0)), *(remember(at(0), f"guard/{n}", {"v": "q" * 500}, True) for n in range(200))])
    sink.close()
    open_store(tmp_path, WALL_S).close()
    file = tmp_path / "matwarden.db"
    content = bytearray(file.read_bytes())
    torn = content.rindex(b"qqqq") // 4096 * 4096
    content[torn : torn + 4096] = b"\x5a" * 4096
    file.write_bytes(content)
    store = open_store(tmp_path, WALL_S)
    assert "look at every mat now" in store.notices[0]
    store.close()


def test_when_memory_is_lost_the_keeper_is_sent_to_the_mats(tmp_path: Path) -> None:
    """A forgotten trip would let a mat heat again: the notice says to look."""
    (tmp_path / "matwarden.db").write_bytes(b"nothing like a database" * 1000)
    store = open_store(tmp_path, WALL_S)
    assert "look at every mat now" in store.notices[0]
    store.close()


def test_damage_found_while_running_begins_a_new_record(tmp_path: Path) -> None:
    """The failing batch is told once, and with the next one the fresh file has everything that must not be lost."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0)), readings(at(0), 25.0), remember(at(0), "guard/oak", {"tripped": True}, True)])
    sink._store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with (tmp_path / "matwarden.db").open("r+b") as file:
        file.seek(4096)
        file.write(b"\x5a" * 200_000)
    sink._store.connection.execute("PRAGMA cache_size = 0")
    with pytest.raises(StoreReplaced, match="damaged"):
        sink.accept([alarm(at(10), AlarmState.UNACKNOWLEDGED), readings(at(10), 24.0)])
    sink.accept([readings(at(20), 23.0)])
    sink.close()
    recorded = Recorded(tmp_path)
    window = recorded.window(None, recorded.mark())
    assert [point.value for point in window.series[OAK_1]] == [24.0, 23.0]
    assert len(window.alarms) == 1
    store = open_store(tmp_path, WALL_S)
    assert store.remembered() == {"guard/oak": {"tripped": True}}
    store.close()


def test_a_full_disk_is_told_and_nothing_that_matters_is_lost(tmp_path: Path) -> None:
    """While nothing can be written durable events wait; when there is room again they are written, in order."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0)), remember(at(0), "a", {}, True)])
    pages = sink._store.connection.execute("PRAGMA page_count").fetchone()[0]
    sink._store.connection.execute(f"PRAGMA max_page_count = {pages}")
    failures = []
    for second in range(10, 6000, 10):
        try:
            sink.accept([readings(at(second), 25.0), remember(at(second), f"k{second}", {"v": "x" * 100}, True)])
        except StoreError as error:
            failures.append(str(error))
    assert len(failures) > 100
    assert all("the disk is full; free some space" in text for text in failures)
    sink._store.connection.execute("PRAGMA max_page_count = 100000")
    sink.accept([readings(at(6000), 25.0)])
    assert len(sink._store.remembered()) == 600
    sink.close()
    recorded = Recorded(tmp_path)
    assert len(recorded.window(None, recorded.mark()).series[OAK_1]) == 600


def test_held_readings_stay_within_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When nothing can be written for long, the oldest readings and verdicts go and the newest stay."""
    monkeypatch.setattr("matwarden.sinks.store.HELD_READINGS", 100)
    monkeypatch.setattr("matwarden.sinks.store.HELD_VERDICTS", 10)
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0))])
    sink._store.connection.execute("PRAGMA busy_timeout = 0")
    other = sqlite3.connect(tmp_path / "matwarden.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    for second in range(500):
        with pytest.raises(StoreError, match="another program held it"):
            sink.accept([readings(at(second), second / 10), verdict(at(second), "oak", False, Reason.BLIND, second)])
    other.execute("COMMIT")
    other.close()
    sink.close()
    recorded = Recorded(tmp_path)
    window = recorded.window(None, recorded.mark())
    assert [point.value for point in window.series[OAK_1]] == [second / 10 for second in range(400, 500)]
    assert [change.operations for change in window.heat if change.reason == "blind"] == list(range(490, 500))


def test_a_file_another_program_holds_is_waited_for_then_told(tmp_path: Path) -> None:
    """A foreign lock delays the record, loses nothing, and is explained."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0))])
    sink._store.connection.execute("PRAGMA busy_timeout = 50")
    other = sqlite3.connect(tmp_path / "matwarden.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="another program held it"):
        sink.accept([alarm(at(1), AlarmState.UNACKNOWLEDGED)])
    other.execute("COMMIT")
    other.close()
    sink.accept([readings(at(2), 25.0)])
    assert [line.alarm for line in Recorded(tmp_path).active_alarms()] == ["cold/oak"]
    sink.close()


def test_a_directory_that_cannot_be_made_is_explained(tmp_path: Path) -> None:
    """The text names the directory and what to do."""
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match=r"cannot use .*/file/record for the record: .*choose a directory"):
        open_store(tmp_path / "file" / "record", WALL_S)


def test_the_directory_is_closed_to_strangers(tmp_path: Path) -> None:
    """A directory made for the record is readable by its owner and group only."""
    open_store(tmp_path / "a", WALL_S).close()
    assert (tmp_path / "a").stat().st_mode & 0o007 == 0


def test_a_record_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    """An older program does not write into a file whose tables it does not know."""
    open_store(tmp_path, WALL_S).close()
    connection = sqlite3.connect(tmp_path / "matwarden.db")
    sql = f"INSERT INTO {migrations.migrations_table} (migration_set, name) VALUES ('matwarden', 'second_tables')"
    connection.execute(sql)
    connection.commit()
    connection.close()
    with pytest.raises(StoreError, match="written by a newer matwarden"):
        open_store(tmp_path, WALL_S)


def test_commits_outlive_a_power_cut_as_far_as_the_disk_does(tmp_path: Path) -> None:
    """The settings that SQLite's own documentation asks for that: WAL with synchronous FULL, its number 2.

    Source: sqlite.org/pragma.html#pragma_synchronous and wal.html.
    """
    store = open_store(tmp_path, WALL_S)
    ask = store.connection.execute
    assert ask("PRAGMA journal_mode").fetchone() == ("wal",)
    assert ask("PRAGMA synchronous").fetchone() == (2,)
    assert ask("PRAGMA secure_delete").fetchone() == (0,)
    store.close()
