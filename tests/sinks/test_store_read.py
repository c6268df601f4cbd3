"""Reading the record beside the daemon, after it, and cleaning it up."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import pytest

from helpers_store import WALL_S, alarm, at, open_sink, readings, refused, started, stepped, verdict
from matwarden.core.record import Point
from matwarden.sinks.store import StoreError, open_store
from matwarden.sinks.store_cleanup import clean_up
from matwarden.sinks.store_read import LatestReading, Recorded
from matwarden.sinks.store_sums import sum_up
from matwarden.terms import AlarmState, At, Quality, Quantity, Reason

OAK_1 = ("oak-1", Quantity.TEMPERATURE)
DAY_S = 86400.0


def test_reading_goes_on_beside_writing(tmp_path: Path) -> None:
    """Windows read while the sink writes see whole commits, never fail, and never stop a commit."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0)), readings(at(0), 0.0, 0.0)])
    done = threading.Event()
    problems: list[tuple[int, int]] = []
    lengths: list[int] = []

    def read() -> None:
        recorded = Recorded(tmp_path)
        while not done.is_set():
            window = recorded.window(None, recorded.mark())
            one, two = (window.series[name, Quantity.TEMPERATURE] for name in ("oak-1", "oak-2"))
            lengths.append(len(one))
            if len(one) != len(two) or [point.value for point in one] != [n / 1000 for n in range(len(one))]:
                problems.append((len(one), len(two)))

    reader = threading.Thread(target=read)
    reader.start()
    for second in range(1, 600):
        sink.accept([readings(at(second), second / 1000, second / 1000)])
    done.set()
    reader.join()
    sink.close()
    assert problems == []
    assert lengths == sorted(lengths)
    assert lengths[-1] > lengths[0]


def test_latest_readings_are_one_per_series(tmp_path: Path) -> None:
    """The newest value of each, with the wall time believed when it was taken; nothing of silent probes is made up."""
    sink = open_sink(tmp_path, commit_every_s=0)
    sink.accept([started(at(0)), readings(at(0), 20.0, 21.0, 22.0)])
    sink.accept([readings(at(10), 23.5, 24.5, humidity_pct=81.25)])
    sink.accept([stepped(at(15, 3600), 3600.0), readings(at(20, 3600), 25.5)])
    sink.close()
    recorded = Recorded(tmp_path)
    assert recorded.latest_readings() == [
        LatestReading("oak-1", Quantity.HUMIDITY, at(10).wall_s, 81.25),
        LatestReading("oak-1", Quantity.TEMPERATURE, at(20, 3600).wall_s, 25.5),
        LatestReading("oak-2", Quantity.HUMIDITY, at(10).wall_s, 81.25),
        LatestReading("oak-2", Quantity.TEMPERATURE, at(10).wall_s, 24.5),
        LatestReading("oak-3", Quantity.TEMPERATURE, at(0).wall_s, 22.0),
    ]
    assert recorded.last_seen() == at(20, 3600).wall_s


def test_before_the_first_run_reading_says_so(tmp_path: Path) -> None:
    """An empty directory is no failure of a disk."""
    with pytest.raises(StoreError, match="nothing is recorded in .* yet"):
        Recorded(tmp_path).last_seen()


def test_a_record_opened_but_never_written_is_empty(tmp_path: Path) -> None:
    """Nothing seen, nothing latest, no digest."""
    open_store(tmp_path, WALL_S).close()
    recorded = Recorded(tmp_path)
    assert recorded.last_seen() is None
    assert recorded.latest_readings() == []
    assert recorded.digest_mark() is None
    with pytest.raises(StoreError, match="nothing is recorded"):
        recorded.window(None, recorded.mark())


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user to try this")
@pytest.mark.parametrize("running", [True, False])
def test_a_reader_needs_no_permission_to_write(running: bool) -> None:
    """Another user who may only read the directory reads the record, while the daemon runs and when it is down."""
    code = "import sys; from pathlib import Path; from matwarden.sinks.store_read import Recorded\n"
    code += "import os, urllib.request; os.setuid(65534); print(Recorded(Path(sys.argv[1])).latest_readings()[0].value)"
    with TemporaryDirectory() as name:
        directory = Path(name)
        sink = open_sink(directory, commit_every_s=0)
        sink.accept([started(at(0)), readings(at(0), 25.25)])
        if not running:
            sink.close()
        for file in directory.iterdir():
            file.chmod(0o644)
        directory.chmod(0o755)
        told = subprocess.run([sys.executable, "-c", code, name], capture_output=True, text=True, check=False)
        sink.close()
    assert (told.stdout, told.returncode) == ("25.25\n", 0), told.stderr


def test_a_track_is_a_sequence_of_points(tmp_path: Path) -> None:
    """Length, index, slice and iteration agree."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0)), *(readings(at(second), 20 + second) for second in range(5))])
    sink.close()
    recorded = Recorded(tmp_path)
    track = recorded.window(None, recorded.mark()).series[OAK_1]
    assert list(track) == [Point(float(s), WALL_S + s, 20.0 + s) for s in range(5)]
    assert track[-1] == list(track)[4]
    assert list(track[1:3]) == list(track)[1:3]
    assert len(track) == 5


class TestCleanUp:
    @pytest.fixture(autouse=True)
    def small_parts(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Parts of a day, when there is a reading an hour."""
        monkeypatch.setattr("matwarden.sinks.store.PART_ROWS", 24)

    def test_only_what_is_too_old_goes(self, tmp_path: Path) -> None:
        """Ten days kept of thirty: readings of the last ten stay, and at most a part more."""
        sink = open_sink(tmp_path, commit_every_s=0)
        sink.accept([started(at(0))])
        for hour in range(30 * 24 + 1):
            now = at(hour * 3600)
            sink.accept([readings(now, hour / 10), refused(now, "oak-2", Quality.MISSING, "absent")])
        sum_up(tmp_path, ZoneInfo("UTC"), [], [])
        gone = clean_up(tmp_path, 10)
        sink.close()
        recorded = Recorded(tmp_path)
        window = recorded.window(None, recorded.mark())
        left = [point.value for point in window.series[OAK_1]]
        assert left == [hour / 10 for hour in range(721 - len(left), 721)]
        assert 241 <= len(left) <= 241 + 24
        assert window.refusals[0].missing_n == 241
        assert gone == (721 - len(left)) + 480

    def test_what_stays_whatever_its_age(self, tmp_path: Path) -> None:
        """Alarms and the last verdict on each mat are never too old."""
        sink = open_sink(tmp_path, commit_every_s=0)
        sink.accept([started(at(0)), verdict(at(0), "oak", False, Reason.HELD, 1)])
        sink.accept([verdict(at(1), "oak", False, Reason.BLIND, 1), alarm(at(1), AlarmState.UNACKNOWLEDGED)])
        sink.accept([verdict(at(20 * DAY_S), "alder", False, Reason.BLIND, 1)])
        sum_up(tmp_path, ZoneInfo("UTC"), [], [])
        assert clean_up(tmp_path, 1) == 1
        recorded = Recorded(tmp_path)
        assert [verdict.enclosure for verdict in recorded.latest_verdicts()] == ["alder", "oak"]
        assert [alarm.alarm for alarm in recorded.active_alarms()] == ["cold/oak"]
        sink.close()

    def test_numbers_are_not_used_twice(self, tmp_path: Path) -> None:
        """After everything old is gone new readings lie after every mark made before."""
        sink = open_sink(tmp_path, commit_every_s=0)
        sink.accept([started(at(0)), *(readings(at(second), 25.0) for second in range(100))])
        sink.close()
        recorded = Recorded(tmp_path)
        mark = recorded.mark()
        sink = open_sink(tmp_path, commit_every_s=0)
        sink.accept([started(At(0.0, WALL_S + 500 * DAY_S)), readings(At(1.0, WALL_S + 500 * DAY_S + 1), 21.0)])
        sum_up(tmp_path, ZoneInfo("UTC"), [], [])
        assert clean_up(tmp_path, 1) == 100
        sink.accept([readings(At(2.0, WALL_S + 500 * DAY_S + 2), 22.0)])
        sink.close()
        window = recorded.window(mark, recorded.mark())
        assert [point.value for point in window.series[OAK_1]] == [21.0, 22.0]

    def test_a_wrong_wall_clock_deletes_nothing(self, tmp_path: Path) -> None:
        """A clock that says 2099 for a while, or 1970, makes no reading older than it is."""
        sink = open_sink(tmp_path, commit_every_s=0)
        sink.accept([started(at(0)), *(readings(at(0), 25.0) for _ in range(24))])
        for second, by_s in ((10, 2.2e9), (20, -2.2e9), (30, -1.8e9)):
            sink.accept([stepped(at(second, by_s), by_s), *(readings(at(second, by_s), 25.0) for _ in range(24))])
            sum_up(tmp_path, ZoneInfo("UTC"), [], [])
            assert clean_up(tmp_path, 1) == 0
        sink.close()

    def test_deleting_a_day_writes_little(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """A day of 40 series, 345 600 rows, goes for less than a megabyte written (our own budget)."""
        monkeypatch.setattr("matwarden.sinks.store.PART_ROWS", 345_600)
        sink = open_sink(tmp_path, commit_every_s=3600)
        sink.accept([started(at(0))])
        for cycle in range(2 * 8640):
            sink.accept([readings(at(cycle * 10.0), *([25.0] * 40))])
        before = written_bytes()
        sum_up(tmp_path, ZoneInfo("UTC"), [], [])
        assert clean_up(tmp_path, 0.5) == pytest.approx(345_600, rel=0.05)
        assert written_bytes() - before < 1_000_000
        sink.close()


def written_bytes() -> int:
    """What this process has written so far, by the kernel's count."""
    return int(Path("/proc/self/io").read_text().split("wchar: ")[1].split()[0])
