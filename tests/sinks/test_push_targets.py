"""Who gets a push: priorities, first and second targets; and when: quiet hours. Time by hand."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from helpers_push_rig import HOUR_S, Rig
from helpers_store import WALL_S, push
from matwarden.sinks.outbox import Outbox
from matwarden.sinks.push_terms import PushTarget, QuietHours
from matwarden.sinks.store import open_store
from matwarden.terms import Priority, Recipients

AMSTERDAM = ZoneInfo("Europe/Amsterdam")
NIGHT = QuietHours(time(22), time(7), AMSTERDAM)
ALL = frozenset(Priority)


def local(day: str, clock: str, fold: int = 0) -> float:
    """UTC seconds of a local time of Amsterdam, by the standard library."""
    return datetime.fromisoformat(f"{day} {clock}").replace(tzinfo=AMSTERDAM, fold=fold).timestamp()


def at_local(rig: Rig, day: str, clock: str) -> None:
    rig.clock.wall_s = local(day, clock)


def test_each_target_gets_what_it_asked_for(tmp_path: Path) -> None:
    """A target of high ones alone gets no others; a second target only what is for the second ones or for all."""
    rig = Rig(
        tmp_path,
        PushTarget("phone", url="unused:"),
        PushTarget("horn", url="unused:", priorities=frozenset({Priority.HIGH})),
        PushTarget("friend", url="unused:", second=True),
    )
    for to in Recipients:
        for priority in Priority:
            rig.ask(f"{priority.value}-{to.value}", priority=priority, to=to)
    rig.run_on(60)
    assert rig.phones.got == {
        "phone": ["high-first", "medium-first", "low-first", "high-all", "medium-all", "low-all"],
        "horn": ["high-first", "high-all"],
        "friend": ["high-second", "medium-second", "low-second", "high-all", "medium-all", "low-all"],
    }
    rig.store.close()


def test_a_push_for_nobody_does_not_stay(tmp_path: Path) -> None:
    """One that fits no target is finished at once, and stays so over a restart."""
    rig = Rig(tmp_path, "phone")
    rig.ask("a", to=Recipients.SECOND)
    rig.settle()
    assert (rig.push.waiting_n, Outbox(tmp_path).undelivered()) == (0, [])
    rig.restart()
    rig.run_on(60)
    assert rig.phones.tries == []
    rig.store.close()


def test_who_it_is_for_outlives_a_restart(tmp_path: Path) -> None:
    """A push for the second targets that could not be delivered is after a restart still for them alone."""
    rig = Rig(tmp_path, "phone", PushTarget("friend", url="unused:", second=True))
    rig.phones.out = {"friend"}
    rig.ask("a", to=Recipients.SECOND)
    rig.run_on(60)
    rig.restart()
    rig.phones.out = set()
    rig.run_on(60)
    assert rig.phones.got == {"friend": ["a"]}
    rig.store.close()


def test_pushes_of_an_older_record_are_for_the_first_targets(tmp_path: Path) -> None:
    """A record of the first version is brought up to date at the start: nothing waiting is lost, all is for first."""
    open_store(tmp_path, WALL_S).close()
    with closing(sqlite3.connect(tmp_path / "matwarden.db")) as connection:
        connection.execute("ALTER TABLE outbox DROP COLUMN recipients")
        connection.execute("ALTER TABLE outbox_targets DROP COLUMN took_ms")
        connection.execute("DELETE FROM _sqlite_migrations WHERE name = 'whom_a_push_is_for'")
        row = ("k", "Oak: k", "b", "high", 1000, 0)
        columns = "key, title, body, priority, queued_wall_ms, waited_ms"
        connection.execute(f"INSERT INTO outbox ({columns}) VALUES (?, ?, ?, ?, ?, ?)", row)
        connection.commit()
    open_store(tmp_path, WALL_S).close()
    assert [(old.key, old.recipients) for old in Outbox(tmp_path).undelivered()] == [("k", Recipients.FIRST)]


def test_low_pushes_wait_for_the_morning_and_hold_up_nobody(tmp_path: Path) -> None:
    """Asked at 23:00, low ones come at 07:00 in their order; medium and high at once, past them."""
    rig = Rig(tmp_path, "phone", quiet=NIGHT)
    at_local(rig, "2027-11-14", "23:00")
    rig.ask("low-1", "low-2", priority=Priority.LOW)
    rig.ask("medium", priority=Priority.MEDIUM)
    rig.ask("high")
    rig.run_on(8 * HOUR_S - 60, pace_s=60.0)
    assert rig.phones.got == {"phone": ["medium", "high"]}
    rig.run_on(120)
    assert rig.phones.got == {"phone": ["medium", "high", "low-1", "low-2"]}
    rig.store.close()


def test_a_night_is_no_time_in_which_a_push_could_have_arrived(tmp_path: Path) -> None:
    """With one hour until a push is given up, a low one asked at 22:30 is still tried for an hour from 07:00 on."""
    rig = Rig(tmp_path, "phone", quiet=NIGHT)
    rig.terms = type(rig.terms)(rig.terms.targets, HOUR_S, 1000, NIGHT)
    rig.push = rig.sink()
    at_local(rig, "2027-11-14", "22:30")
    rig.phones.out = {"phone"}
    rig.ask("low", priority=Priority.LOW)
    rig.run_on(4 * HOUR_S, pace_s=60.0)
    rig.restart()
    rig.run_on(5 * HOUR_S, pace_s=60.0)
    assert rig.push.waiting_n == 1
    rig.run_on(0.6 * HOUR_S, pace_s=60.0)
    assert rig.push.waiting_n == 0
    assert any("given up" in notice for notice in rig.notices)
    rig.store.close()


def test_a_clock_set_in_the_night_neither_loses_nor_repeats(tmp_path: Path) -> None:
    """Set forward to the morning the low push goes within a minute; set back to the night it does not go again."""
    rig = Rig(tmp_path, "phone", quiet=NIGHT)
    at_local(rig, "2027-11-14", "23:00")
    rig.ask("low", priority=Priority.LOW)
    rig.settle()
    wait_s = rig.push.step()
    assert wait_s is not None
    assert wait_s <= 60
    at_local(rig, "2027-11-15", "09:00")
    rig.run_on(60)
    at_local(rig, "2027-11-14", "23:30")
    rig.run_on(10 * HOUR_S, pace_s=60.0)
    assert rig.phones.got == {"phone": ["low"]}
    rig.store.close()


@pytest.mark.parametrize(
    ("begins", "ends", "day", "clock", "fold", "left_s"),
    [
        (time(22), time(7), "2027-11-14", "21:59", 0, 0.0),
        (time(22), time(7), "2027-11-14", "22:00", 0, 9 * HOUR_S),
        (time(22), time(7), "2027-11-15", "06:59", 0, 60.0),
        (time(22), time(7), "2027-11-15", "07:00", 0, 0.0),
        (time(12), time(14), "2027-11-15", "13:00", 0, HOUR_S),
        (time(12), time(14), "2027-11-15", "23:00", 0, 0.0),
        # The clocks go forward at 02:00 on 28 March 2027 and back at 03:00 on 31 October 2027 (EU directive 2000/84).
        (time(22), time(7), "2027-03-27", "22:00", 0, 8 * HOUR_S),
        (time(22), time(7), "2027-10-30", "22:00", 0, 10 * HOUR_S),
        (time(22), time(2, 30), "2027-03-28", "01:59", 0, 60.0),
        (time(22), time(2, 30), "2027-03-28", "03:00", 0, 0.0),
        (time(22), time(2, 30), "2027-10-31", "02:29", 0, 60.0),
        (time(22), time(2, 30), "2027-10-31", "02:29", 1, 0.0),
    ],
)
def test_quiet_hours_go_by_the_local_clock(
    begins: time, ends: time, day: str, clock: str, fold: int, left_s: float
) -> None:
    """Seconds until the quiet hours end, over midnight, within a day, and in the nights in which the clocks change."""
    assert QuietHours(begins, ends, AMSTERDAM).left_s(local(day, clock, fold)) == left_s


def test_the_quiet_hours_of_a_year_are_those_of_each_local_night() -> None:
    """Every hour of 2027: quiet just when the clock on the wall says so (22:00 to 07:00, no change inside)."""
    first_s = datetime(2027, 1, 1, tzinfo=UTC).timestamp()
    for number in range(365 * 24):
        wall_s = first_s + 3600.0 * number
        hour = datetime.fromtimestamp(wall_s, AMSTERDAM).hour
        assert (NIGHT.left_s(wall_s) > 0) == (hour >= 22 or hour < 7)


def test_a_record_that_fails_at_night_loses_no_low_push(tmp_path: Path) -> None:
    """Asked while the record is away, a low push still comes in the morning, once."""
    rig = Rig(tmp_path, "phone", quiet=NIGHT)
    at_local(rig, "2027-11-14", "23:00")
    record, away = tmp_path / "matwarden.db", tmp_path / "away"
    record.rename(away)
    rig.push.accept([push(rig.clock(), "low", Priority.LOW)])
    rig.run_on(2 * HOUR_S, pace_s=60.0)
    away.rename(record)
    rig.run_on(7 * HOUR_S, pace_s=60.0)
    assert rig.phones.got == {"phone": ["low"]}
    rig.restart()
    rig.run_on(HOUR_S, pace_s=60.0)
    assert rig.phones.got == {"phone": ["low"]}
    rig.store.close()


def test_what_went_from_memory_is_not_sent_again_when_the_record_is_back(tmp_path: Path) -> None:
    """The record is away at a start; a push goes from memory; then the store writes it, too late: it went once."""
    rig = Rig(tmp_path, "phone")
    record, away = tmp_path / "matwarden.db", tmp_path / "away"
    record.rename(away)
    rig.push = rig.sink()
    asked = push(rig.clock(), "a")
    rig.push.accept([asked])
    rig.run_on(50)
    rig.clock.run_on(61)  # until just when the record is tried again
    away.rename(record)
    rig.store.accept([asked])
    rig.run_on(300)
    assert rig.phones.got == {"phone": ["a"]}
    assert Outbox(tmp_path).undelivered() == []
    rig.store.close()
