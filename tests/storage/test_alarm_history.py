"""The alarms of the last days, out of a real record."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from helpers_store import WALL_S, alarm, at, open_sink, push, started, stepped
from matwarden.events import PersonDid, PushAsked
from matwarden.sinks.outbox import Outbox, delivered, finished, given_up
from matwarden.sinks.store_alarms import AlarmHistory, alarm_history
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import DATABASE
from matwarden.terms import AlarmState, Priority

S = AlarmState
DAY_S = 86_400.0


def history(directory: Path, days: float = 30.0) -> AlarmHistory:
    return Recorded(directory).alarm_history(days * DAY_S)


def test_the_window_ends_where_the_record_ends_and_begins_no_earlier_than_it(tmp_path: Path) -> None:
    """Of a record of two days two days are covered, and its two transitions are there in order."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0.0))])
    sink.accept([alarm(at(100.0), S.UNACKNOWLEDGED)])
    sink.accept([alarm(at(2 * DAY_S), S.NORMAL, S.UNACKNOWLEDGED)])
    sink.close()
    found = history(tmp_path)
    assert (found.covers_s, found.end_s, found.end_wall_s) == (2 * DAY_S, 2 * DAY_S, WALL_S + 2 * DAY_S)
    assert [(line.elapsed_s, line.state) for line in found.lines] == [
        (100.0, S.UNACKNOWLEDGED),
        (2 * DAY_S, S.NORMAL),
    ]
    assert found.before == ()


def test_of_what_stood_before_only_what_led_there_is_read(tmp_path: Path) -> None:
    """Of an alarm that came, went, came again and was seen before the window: the last time only."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0.0)), alarm(at(1.0), S.UNACKNOWLEDGED), alarm(at(2.0), S.NORMAL, S.UNACKNOWLEDGED)])
    sink.accept([alarm(at(3.0), S.UNACKNOWLEDGED), alarm(at(4.0), S.ACKNOWLEDGED, S.UNACKNOWLEDGED)])
    sink.accept([alarm(at(5.0), S.UNACKNOWLEDGED, name="hot/oak")])
    sink.accept([alarm(at(6.0), S.NORMAL, S.UNACKNOWLEDGED, name="hot/oak")])
    sink.accept([alarm(at(9 * DAY_S), S.NORMAL, S.ACKNOWLEDGED)])
    sink.close()
    found = history(tmp_path, 7.0)
    assert [line.elapsed_s for line in found.before] == [3.0, 4.0]
    assert [line.elapsed_s for line in found.lines] == [9 * DAY_S]


def test_a_clock_that_was_set_moves_nothing(tmp_path: Path) -> None:
    """A step of ten years ahead: the alarm of an hour ago is still of an hour ago."""
    sink = open_sink(tmp_path)
    ahead = 3650 * DAY_S
    sink.accept([started(at(0.0)), alarm(at(60.0), S.UNACKNOWLEDGED)])
    sink.accept([stepped(at(120.0, ahead), ahead), alarm(at(3660.0, ahead), S.NORMAL, S.UNACKNOWLEDGED)])
    sink.close()
    found = history(tmp_path)
    assert found.covers_s == 3660.0
    assert [line.elapsed_s for line in found.lines] == [60.0, 3660.0]


def test_delays_of_pushes_are_those_of_the_first_target_that_had_it(tmp_path: Path) -> None:
    """2 s and 90 s for one push: 2 s; one given up is lost, one waits; a digest is no alarm."""
    sink = open_sink(tmp_path)
    keys = ("cold/oak/unacknowledged/1", "hot/oak/unacknowledged/1", "blind/oak/unacknowledged/1", "digest/2027-11-15")
    sink.accept([started(at(0.0)), *(push(at(0.0), key) for key in keys)])
    sink.close()
    outbox = Outbox(tmp_path)
    outbox.write([delivered(keys[0], "phone", WALL_S + 2.0, 2.0), delivered(keys[0], "desk", WALL_S + 90.0, 90.0)])
    outbox.write([given_up(keys[1], "phone", WALL_S + 9.0), *finished(keys[1], WALL_S + 9.0, 100)])
    outbox.write([delivered(keys[3], "phone", WALL_S + 500.0, 500.0)])
    found = history(tmp_path)
    assert (found.push_delays_s, found.lost_n, found.waiting_n) == ((2.0,), 1, 1)


def test_a_delay_that_the_clock_made_negative_is_not_told(tmp_path: Path) -> None:
    """Delivered an hour before it was asked, and its true time not known: no figure rather than a wrong one."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0.0)), PushAsked(at(0.0), "cold/oak/unacknowledged/1", "t", "b", Priority.HIGH)])
    sink.close()
    Outbox(tmp_path).write([delivered("cold/oak/unacknowledged/1", "phone", WALL_S - 3600.0, None)])
    assert history(tmp_path)[-3:] == ((), 0, 0)


def test_who_did_what_is_there(tmp_path: Path) -> None:
    """An acknowledgement by a person of the machine."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0.0)), PersonDid(at(5.0), "keeper", "ack", "cold/oak", True, "Acknowledged: cold/oak.")])
    sink.close()
    assert [(d.by, d.verb, d.target) for d in Recorded(tmp_path).deeds()] == [("keeper", "ack", "cold/oak")]


def test_years_of_alarms_are_not_read_through(tmp_path: Path) -> None:
    """A hundred thousand older transitions add next to no work: counted in steps of SQLite's machine, not in time."""
    sink = open_sink(tmp_path)
    sink.accept([started(at(0.0)), alarm(at(1.0), S.UNACKNOWLEDGED), alarm(at(2.0), S.NORMAL, S.UNACKNOWLEDGED)])
    sink.accept([alarm(at(400 * DAY_S), S.UNACKNOWLEDGED)])
    sink.close()
    with closing(sqlite3.connect(tmp_path / DATABASE)) as connection:
        few = steps(connection)
        connection.execute("UPDATE alarms SET id = 200000 WHERE id = 3")
        connection.execute(
            "WITH RECURSIVE n(i) AS (SELECT 3 UNION ALL SELECT i + 1 FROM n WHERE i < 100000) INSERT INTO alarms"
            " SELECT i, 1, 2, 'cold/oak', 'oak', 'normal', 'normal', 'high', '', 0 FROM n"
        )
        many = steps(connection)
    assert few > 0
    assert many < 3 * few + 30


def steps(connection: sqlite3.Connection) -> int:
    """How much SQLite does for a history of 30 days, in tens of its instructions."""
    done = [0]

    def count() -> int:
        done[0] += 1
        return 0

    connection.set_progress_handler(count, 10)
    assert len(alarm_history(connection, 30 * DAY_S).lines) == 1
    connection.set_progress_handler(None, 10)
    return done[0]
