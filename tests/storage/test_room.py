"""A disk that fills: the oldest readings go, then single readings wait, and what must be kept is kept all along."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_store import alarm, at, open_sink, push, readings, remember, started, verdict
from matwarden.sinks.outbox import Outbox
from matwarden.sinks.store import StoreError, StoreSink, open_store
from matwarden.sinks.store_cleanup import make_room
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_space import FLOOR_BYTES, Room, free_bytes, has_room
from matwarden.terms import AlarmState, Quantity, Reason

_OAK_1 = ("oak-1", Quantity.TEMPERATURE)
_MB = 1_000_000


class _Disk:
    """Says how much is free."""

    def __init__(self, free: int) -> None:
        self.free = free

    def __call__(self) -> int:
        return self.free


def _values(directory: Path) -> list[float]:
    recorded = Recorded(directory)
    track = recorded.window(None, recorded.mark()).series.get(_OAK_1, ())
    return [point.value for point in track]


def test_there_is_room_down_to_the_floor_and_again_well_above_it() -> None:
    """Free space that wavers at the floor does not switch recording to and fro."""
    assert has_room(FLOOR_BYTES, True)
    assert not has_room(FLOOR_BYTES - 1, True)
    assert not has_room(FLOOR_BYTES + 9 * _MB, False)
    assert has_room(FLOOR_BYTES + 10 * _MB, False)


def test_free_space_is_the_file_systems_own(small_disk: Path) -> None:
    """What the function says is what can be written: a file of that size fits, one page more does not."""
    free = free_bytes(small_disk)
    with (small_disk / "all-of-it").open("wb", buffering=0) as file:
        assert file.write(bytes(free)) == free
        with pytest.raises(OSError, match="No space left"):
            file.write(b"x")


def test_a_disk_that_cannot_be_asked_counts_as_one_with_room(tmp_path: Path) -> None:
    """Not knowing is no reason to stop recording: the write itself will tell."""
    assert Room(lambda: free_bytes(tmp_path / "gone"))()


class TestNearlyFull:
    def test_single_readings_wait_and_everything_that_matters_is_written(self, tmp_path: Path) -> None:
        """Alarms, pushes, memory and verdicts are on the disk at once; readings are, when there is room again."""
        disk = _Disk(FLOOR_BYTES - 1)
        sink = StoreSink(open_store(tmp_path, 0.0), 0.0, Room(disk))
        with pytest.raises(StoreError, match="has only 50 MB left.*alarms are still recorded, warming goes on"):
            sink.accept([started(at(0)), readings(at(0), 1.0), verdict(at(0), "oak", False, Reason.BLIND, 1)])
        changed = alarm(at(1), AlarmState.UNACKNOWLEDGED)
        with pytest.raises(StoreError):
            sink.accept([readings(at(1), 2.0), changed, push(at(1), "k"), remember(at(1), "m", {"n": 1}, True)])
        recorded = Recorded(tmp_path)
        assert [line.alarm for line in recorded.active_alarms()] == ["cold/oak"]
        assert [each.enclosure for each in recorded.latest_verdicts()] == ["oak"]
        assert [each.key for each in Outbox(tmp_path).undelivered()] == ["k"]
        assert _values(tmp_path) == []
        disk.free = FLOOR_BYTES + 10 * _MB
        sink.accept([readings(at(2), 3.0)])
        assert _values(tmp_path) == [1.0, 2.0, 3.0]
        sink.close()

    def test_what_waits_is_bounded(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """On a disk that stays full the newest readings stay in memory, the oldest are given up."""
        monkeypatch.setattr("matwarden.sinks.store.HELD_READINGS", 50)
        disk = _Disk(0)
        sink = StoreSink(open_store(tmp_path, 0.0), 0.0, Room(disk))
        for second in range(200):
            with pytest.raises(StoreError):
                sink.accept([readings(at(second), float(second))])
        disk.free = FLOOR_BYTES * 2
        sink.accept([readings(at(200), 200.0)])
        sink.close()
        assert _values(tmp_path) == [float(second) for second in range(150, 201)]

    def test_an_orderly_end_writes_what_still_fits(self, tmp_path: Path) -> None:
        """Readings that waited when the program is stopped are written rather than lost."""
        sink = StoreSink(open_store(tmp_path, 0.0), 0.0, Room(_Disk(0)))
        with pytest.raises(StoreError):
            sink.accept([started(at(0)), readings(at(0), 1.0)])
        sink.close()
        assert _values(tmp_path) == [1.0]

    def test_it_is_failing_all_the_while(self, tmp_path: Path) -> None:
        """Between two commits, too, the sink says that readings wait: else it would seem mended every few seconds."""
        sink = StoreSink(open_store(tmp_path, 0.0), 60.0, Room(_Disk(0)))
        sink.accept([started(at(0))])
        for second in range(60, 200, 10):
            with pytest.raises(StoreError, match="free some space"):
                sink.accept([readings(at(second), 25.0)])
        sink.close()


class TestMakeRoom:
    @pytest.fixture(autouse=True)
    def small_parts(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Parts of some 90 kB."""
        monkeypatch.setattr("matwarden.sinks.store.PART_ROWS", 5000)

    def _recorded(self, directory: Path) -> StoreSink:
        sink = open_sink(directory, commit_every_s=5000.0)
        sink.accept([started(at(0)), alarm(at(0), AlarmState.UNACKNOWLEDGED), remember(at(0), "m", {"n": 1}, True)])
        for second in range(60_000):
            sink.accept([readings(at(second), second / 1000)])
        return sink

    def test_with_room_enough_nothing_goes(self, tmp_path: Path) -> None:
        """At or above the space that is to stay free, every reading stays."""
        self._recorded(tmp_path).close()
        assert make_room(tmp_path, 500 * _MB, 500 * _MB) == 0
        assert len(_values(tmp_path)) == 60_000

    def test_the_oldest_go_and_their_room_is_given_back(self, tmp_path: Path) -> None:
        """300 kB too few: the file is that much shorter afterwards, the newest readings, alarms and memory stay."""
        sink = self._recorded(tmp_path)
        sink.close()
        file = tmp_path / "matwarden.db"
        before = file.stat().st_size
        gone = make_room(tmp_path, 500 * _MB, 500 * _MB - 300_000)
        # Given back by the megabyte, or what there is of it: a part more at the most.
        assert 300_000 <= before - file.stat().st_size <= 400_000
        left = _values(tmp_path)
        assert left == [second / 1000 for second in range(gone, 60_000)]
        assert 10_000 < gone < 30_000
        assert [line.alarm for line in Recorded(tmp_path).active_alarms()] == ["cold/oak"]

    def test_the_newest_part_stays_whatever_happens(self, tmp_path: Path) -> None:
        """On a disk that somebody else has filled not everything is thrown away, and recording goes on."""
        sink = self._recorded(tmp_path)
        assert make_room(tmp_path, 500 * _MB, 0) >= 50_000
        assert make_room(tmp_path, 500 * _MB, 0) == 0
        left = len(_values(tmp_path))
        assert 0 < left <= 5000 + 5000
        sink.accept([readings(at(70_000), 25.0)])
        sink.close()
        assert _values(tmp_path)[-1] == 25.0

    def test_it_is_done_while_the_program_records(self, tmp_path: Path) -> None:
        """Beside an open record the room comes back at the latest when the program next writes out its log."""
        sink = self._recorded(tmp_path)
        make_room(tmp_path, 500 * _MB, 0)
        sink.accept([readings(at(70_000), 25.0), remember(at(70_000), "m", {"n": 2}, True)])
        sink.close()
        assert (tmp_path / "matwarden.db").stat().st_size < 400_000
        store = open_store(tmp_path, 0.0)
        assert store.connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert store.remembered() == {"m": {"n": 2}}
        store.close()
