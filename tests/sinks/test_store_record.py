"""What is told to the record is in it, in batches, and what must not be lost at once. Real SQLite files."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers_store import alarm, at, digest, open_sink, push, readings, refused, remember, started, verdict
from matwarden.core.record import RefusalCount
from matwarden.events import Event, Readings
from matwarden.sinks.store import StoreSink, open_store
from matwarden.sinks.store_read import Recorded
from matwarden.terms import AlarmState, Quality, Quantity, Reading, Reason


@pytest.fixture
def sink(tmp_path: Path) -> Iterator[StoreSink]:
    sink = open_sink(tmp_path)
    sink.accept([started(at(0))])
    yield sink
    sink.close()


def rows(directory: Path, sql: str) -> list[tuple[object, ...]]:
    """What another process sees committed now, read with nothing of ours."""
    connection = sqlite3.connect(directory / "matwarden.db")
    try:
        return connection.execute(sql).fetchall()
    finally:
        connection.close()


def test_readings_commit_at_most_once_per_interval(sink: StoreSink, tmp_path: Path) -> None:
    """Readings every 10 s for an hour reach the disk in 60 commits when one a minute is asked."""
    seen = []
    for second in range(0, 3601, 10):
        sink.accept([readings(at(second), 25.0)])
        seen.append(Recorded(tmp_path).mark().reading)
    assert len(set(seen) - {0}) == 60
    assert seen[-1] == 361


@pytest.mark.parametrize(
    "durable",
    [
        alarm(at(11), AlarmState.UNACKNOWLEDGED),
        push(at(11), "cold/oak/1"),
        remember(at(11), "guard/oak", {"tripped": True}, urgent=True),
        digest(at(11), "2027-11-15"),
    ],
    ids=lambda event: type(event).__name__,
)
def test_a_durable_event_commits_all_that_is_held(sink: StoreSink, tmp_path: Path, durable: Event) -> None:
    """After a durable event is accepted it is on the disk, and every reading before it too."""
    sink.accept([readings(at(10), 25.0)])
    assert Recorded(tmp_path).mark().reading == 0
    sink.accept([durable])
    assert Recorded(tmp_path).mark().reading == 1


def test_an_alarm_its_push_and_its_memory_are_one_transaction(sink: StoreSink, tmp_path: Path) -> None:
    """When one of the three cannot be written, none of them is there; with the next batch all are."""
    sink._store.connection.execute(
        "CREATE TEMP TRIGGER refuse BEFORE INSERT ON memory BEGIN SELECT raise(ABORT, 'refused'); END"
    )
    batch: list[Event] = [
        alarm(at(10), AlarmState.UNACKNOWLEDGED),
        push(at(10), "k"),
        remember(at(10), "alarm/cold", {}, True),
    ]
    with pytest.raises(Exception, match="refused"):
        sink.accept(batch)
    count = "SELECT (SELECT count(*) FROM alarms), (SELECT count(*) FROM outbox), (SELECT count(*) FROM memory)"
    assert rows(tmp_path, count) == [(0, 0, 0)]
    sink._store.connection.execute("DROP TRIGGER refuse")
    sink.accept([readings(at(20), 25.0)])
    assert rows(tmp_path, count) == [(1, 1, 1)]


def test_memory_that_is_not_urgent_waits_for_the_next_commit(sink: StoreSink, tmp_path: Path) -> None:
    """An on-delay that only ran on costs no commit of its own."""
    sink.accept([remember(at(10), "alarm/cold/oak", {"pending_s": 10}, urgent=False)])
    assert rows(tmp_path, "SELECT key FROM memory") == []
    sink.accept([readings(at(60), 25.0)])
    assert rows(tmp_path, "SELECT key FROM memory") == [("alarm/cold/oak",)]


def test_what_was_remembered_last_is_there_after_a_restart(sink: StoreSink, tmp_path: Path) -> None:
    """A key's newest value replaces the older one, across runs."""
    sink.accept([remember(at(1), "guard/oak", {"tripped": False}, urgent=True)])
    sink.accept([remember(at(2), "guard/oak", {"tripped": True, "since": [1, None]}, urgent=False)])
    sink.close()
    store = open_store(tmp_path, 0.0)
    assert store.remembered() == {"guard/oak": {"tripped": True, "since": [1, None]}}
    store.close()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(min_value=-1e9, max_value=1e9) | st.integers(-(10**9), 10**9),
            st.none() | st.floats(min_value=0, max_value=100),
        ),
        min_size=1,
        max_size=200,
    )
)
def test_every_reading_comes_back_within_half_a_thousandth(values: list[tuple[float, float | None]]) -> None:
    """A recorded value differs from the reading by rounding to a thousandth only, in the order it was read."""
    with TemporaryDirectory() as directory:
        sink = open_sink(Path(directory))
        for second, (celsius, humidity_pct) in enumerate(values):
            now = at(second)
            sink.accept([Readings(now, (Reading("oak-1", now, celsius, humidity_pct),))])
        sink.close()
        recorded = Recorded(Path(directory))
        window = recorded.window(None, recorded.mark())
    warm = [point.value for point in window.series["oak-1", Quantity.TEMPERATURE]]
    moist = [point.value for point in window.series.get(("oak-1", Quantity.HUMIDITY), ())]
    assert warm == pytest.approx([celsius for celsius, _ in values], abs=0.0005 + 1e-6, rel=1e-15)
    assert moist == pytest.approx([pct for _, pct in values if pct is not None], abs=0.0005001)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf"), 1e300])
def test_a_reading_that_is_no_number_is_left_out(sink: StoreSink, tmp_path: Path, bad: float) -> None:
    """One impossible value neither becomes a row nor keeps the others from the disk."""
    sink.accept([readings(at(10), 25.0, bad, 26.0), alarm(at(10), AlarmState.UNACKNOWLEDGED)])
    assert rows(tmp_path, "SELECT milli FROM readings_1 ORDER BY id") == [(25000,), (26000,)]


def test_refusals_are_counted_per_probe_and_commit(sink: StoreSink, tmp_path: Path) -> None:
    """A dead probe costs one row a commit, with how often it failed and why last."""
    for second in range(10, 120, 10):
        quality = Quality.DOUBTFUL if second == 30 else Quality.MISSING
        sink.accept([refused(at(second), "oak-2", quality, f"no answer at {second}")])
    sink.close()
    recorded = Recorded(tmp_path)
    window = recorded.window(None, recorded.mark())
    assert window.refusals == [RefusalCount("oak-2", 10, 1, "no answer at 110")]
    assert len(rows(tmp_path, "SELECT * FROM refusals")) == 2


def test_the_newest_verdict_on_every_mat_can_be_asked(sink: StoreSink, tmp_path: Path) -> None:
    """When the daemon is down, why a mat is cut is still answered from the record."""
    sink.accept([verdict(at(1), "oak", False, Reason.PROVING, 7), verdict(at(1), "alder", False, Reason.HELD, 3)])
    sink.accept([verdict(at(9), "oak", True, Reason.BELOW_SETPOINT, 8)])
    sink.close()
    alder, oak = Recorded(tmp_path).latest_verdicts()
    assert (alder.enclosure, alder.reason, alder.operations) == ("alder", "held", 3)
    assert (oak.allowed, oak.sentence, oak.wall_s) == (True, "oak: below-setpoint", at(9).wall_s)


def test_an_alarm_is_active_until_it_is_normal_again(sink: StoreSink, tmp_path: Path) -> None:
    """Only the newest transition of an alarm counts."""
    sink.accept([alarm(at(1), AlarmState.UNACKNOWLEDGED), alarm(at(2), AlarmState.UNACKNOWLEDGED, name="hot/oak")])
    assert [line.alarm for line in Recorded(tmp_path).active_alarms()] == ["cold/oak", "hot/oak"]
    sink.accept([alarm(at(3), AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED)])
    assert [line.alarm for line in Recorded(tmp_path).active_alarms()] == ["hot/oak"]


def test_a_digest_is_kept_by_its_date(sink: StoreSink, tmp_path: Path) -> None:
    """Text and document come back; a second one of the same date replaces the first."""
    sink.accept([digest(at(1), "2027-11-15", tubs=1), digest(at(2), "2027-11-16", tubs=2)])
    sink.accept([digest(at(3), "2027-11-15", tubs=4)])
    recorded = Recorded(tmp_path)
    kept = recorded.digest("2027-11-15")
    assert kept is not None
    assert (kept.document, kept.text, kept.made_wall_s) == ({"tubs": 4}, "All well.", at(3).wall_s)
    assert recorded.digest("2027-11-17") is None
    assert recorded.digest_dates() == ["2027-11-16", "2027-11-15"]
