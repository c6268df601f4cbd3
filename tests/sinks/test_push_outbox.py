"""The outbox: each push once to each target, in order, tried again until it is there or given up. Time by hand."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers_push_rig import HOUR_S, Rig
from helpers_store import push
from matwarden.sinks.outbox import Outbox
from matwarden.sinks.push_terms import PushTerms
from matwarden.terms import At, Priority


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    rig = Rig(tmp_path, "phone", "mail")
    yield rig
    rig.push.close()
    rig.store.close()


def test_every_target_gets_every_push_once_in_order(rig: Rig) -> None:
    """Three pushes, two targets: three each, in the order they were asked; nothing more however long it runs."""
    rig.ask("a", "b")
    rig.ask("c")
    rig.run_on(HOUR_S)
    assert rig.phones.got == {"phone": ["a", "b", "c"], "mail": ["a", "b", "c"]}
    assert rig.push.waiting_n == 0


def test_the_same_key_is_pushed_once_in_its_life(rig: Rig) -> None:
    """Asked again in the same run, or after a restart, it is not sent again."""
    rig.ask("a")
    rig.ask("a")
    rig.settle()
    rig.ask("a")
    rig.settle()
    rig.restart()
    rig.ask("a")
    rig.run_on(60)
    assert rig.phones.got == {"phone": ["a"], "mail": ["a"]}


def test_a_target_that_fails_does_not_hold_up_another(rig: Rig) -> None:
    """While the phone is out the mail goes; when the phone is back it gets all of them, in order."""
    rig.phones.out = {"phone"}
    rig.ask("a", "b", "c")
    rig.run_on(600)
    assert rig.phones.got == {"mail": ["a", "b", "c"]}
    rig.phones.out = set()
    rig.run_on(900)
    assert rig.phones.got == {"mail": ["a", "b", "c"], "phone": ["a", "b", "c"]}


def test_waits_double_from_five_seconds_to_a_quarter_of_an_hour(tmp_path: Path) -> None:
    """5, 10, 20, ... 640 s, then every 900 s."""
    rig = Rig(tmp_path, "phone")
    rig.phones.out = {"phone"}
    rig.ask("a")
    rig.run_on(2 * HOUR_S)
    times = [mono_s for _, mono_s in rig.phones.tries]
    waits = [later - earlier for earlier, later in zip(times, times[1:], strict=False)]
    assert waits[:8] == [5, 10, 20, 40, 80, 160, 320, 640]
    assert set(waits[8:]) == {900}
    rig.store.close()


def test_a_step_of_the_wall_clock_neither_hurries_nor_gives_up(tmp_path: Path) -> None:
    """A year forward and a day back change no wait and lose no push."""
    rig = Rig(tmp_path, "phone")
    rig.phones.out = {"phone"}
    rig.ask("a")
    rig.settle()
    for by_s in (400 * 86400.0, -86400.0):
        rig.clock.wall_s += by_s
        rig.settle()
    assert len(rig.phones.tries) == 1
    rig.phones.out = set()
    rig.run_on(5)
    assert rig.phones.got == {"phone": ["a"]}
    assert not any("given up" in notice for notice in rig.notices)
    rig.store.close()


def test_what_was_not_delivered_is_delivered_by_the_next_run(rig: Rig) -> None:
    """A restart sends what is missing, only to whom it is missing, in the old order, and at once."""
    rig.phones.out = {"phone"}
    rig.ask("a", "b")
    rig.run_on(HOUR_S)
    rig.phones.out = set()
    rig.restart()
    rig.ask("c")
    rig.settle()
    assert rig.phones.got == {"mail": ["a", "b", "c"], "phone": ["a", "b", "c"]}


def test_a_push_is_given_up_after_its_time_with_a_notice(tmp_path: Path) -> None:
    """After 72 h of trying, restarts between, it is over: told once, and the next push goes."""
    rig = Rig(tmp_path, "phone")
    rig.phones.out = {"phone"}
    rig.ask("a")
    for _ in range(3):
        rig.run_on(23 * HOUR_S, pace_s=300.0)
        rig.restart()
    assert rig.push.step() is not None
    rig.run_on(4 * HOUR_S, pace_s=300.0)
    assert rig.push.waiting_n == 0
    rig.phones.out = set()
    rig.ask("b")
    rig.run_on(HOUR_S)
    assert rig.phones.got == {"phone": ["b"]}
    assert [text for text in rig.notices if "given up" in text] == [
        "The push 'Oak: a' was given up: phone did not take it for 72 h."
    ]
    rig.store.close()


def test_failure_and_recovery_of_a_target_are_told_once_each(tmp_path: Path) -> None:
    """However often it is tried, a target's failure is one notice, with the reason, and its return another."""
    rig = Rig(tmp_path, "phone")
    rig.phones.out = {"phone"}
    rig.ask("a", "b")
    rig.run_on(HOUR_S)
    rig.phones.out = set()
    rig.run_on(HOUR_S)
    assert rig.notices == [
        "A push did not reach phone: no route; it is tried again, at first after 5 s.",
        "Pushes reach phone again.",
    ]
    rig.store.close()


def test_a_full_outbox_gives_up_the_oldest_of_the_least_urgent(tmp_path: Path) -> None:
    """With room for three, low priority goes before high, old before new, and each is told."""
    rig = Rig(tmp_path, "phone", keep=3)
    rig.phones.out = {"phone"}
    for key, priority in (("h1", Priority.HIGH), ("l1", Priority.LOW), ("l2", Priority.LOW), ("h2", Priority.HIGH)):
        rig.ask(key, priority=priority)
        rig.settle()
    rig.ask("h3")
    rig.settle()
    assert ["l1" in rig.notices[1], "l2" in rig.notices[2]] == [True, True]
    rig.phones.out = set()
    rig.run_on(HOUR_S)
    assert rig.phones.got == {"phone": ["h1", "h2", "h3"]}
    rig.store.close()


def test_finished_pushes_are_kept_within_bounds(tmp_path: Path) -> None:
    """The outbox does not grow for ever: the newest `keep` stay."""
    rig = Rig(tmp_path, "phone", keep=5)
    for number in range(20):
        rig.ask(f"k{number}")
        rig.settle()
    count = rig.store._store.connection.execute("SELECT count(*) FROM outbox").fetchone()
    assert count == (5,)
    rig.store.close()


def test_a_push_waits_for_the_store_so_that_its_alarm_is_kept_first(rig: Rig) -> None:
    """A push the store has not written yet is not sent within the grace; then it is, in order."""
    event = push(rig.clock(), "a")
    rig.push.accept([event])
    rig.run_on(5, pace_s=1.0)
    assert rig.phones.got == {}
    rig.store.accept([event])
    rig.settle()
    assert rig.phones.got["phone"] == ["a"]


def test_when_the_store_fails_pushes_are_sent_from_memory(rig: Rig) -> None:
    """Without any file on the disk every push still goes out, once, ten seconds later."""
    rig.store.close()
    for file in rig.directory.glob("matwarden.db*"):
        file.unlink()
    for key in ("a", "b"):
        rig.push.accept([push(rig.clock(), key)])
    rig.run_on(60)
    rig.push.accept([push(rig.clock(), "c")])
    rig.run_on(2 * HOUR_S)
    assert rig.phones.got == {"phone": ["a", "b", "c"], "mail": ["a", "b", "c"]}


def test_what_was_sent_from_memory_is_noted_once_the_disk_is_back(rig: Rig) -> None:
    """After the record's return a restart does not send again what went out from memory."""
    blocked = rig.directory / "matwarden.db"
    away = rig.directory / "away"
    blocked.rename(away)
    rig.push.accept([push(rig.clock(), "a")])
    rig.run_on(60)
    assert rig.phones.got["phone"] == ["a"]
    away.rename(blocked)
    rig.run_on(120)
    rig.restart()
    rig.run_on(60)
    assert rig.phones.got["phone"] == ["a"]


def test_pushes_asked_of_a_failing_store_are_kept_by_closing(rig: Rig) -> None:
    """A push that waits when the program ends is in the outbox, even if the store never wrote it."""
    rig.phones.out = {"phone", "mail"}
    rig.push.accept([push(rig.clock(), "a")])
    rig.push.close()
    assert [old.key for old in Outbox(rig.directory).undelivered()] == ["a"]


def test_with_no_target_left_old_pushes_end(tmp_path: Path) -> None:
    """Targets taken out of the settings leave nothing waiting for ever."""
    rig = Rig(tmp_path, "phone")
    rig.phones.out = {"phone"}
    rig.ask("a")
    rig.settle()
    rig.terms = PushTerms((), rig.terms.give_up_after_s, rig.terms.keep)
    rig.restart()
    assert rig.push.step() is None
    assert Outbox(tmp_path).undelivered() == []
    rig.store.close()


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.just("ask"),
            st.just("restart"),
            st.sampled_from(["phone out", "phone back", "mail out", "mail back"]),
            st.floats(1.0, 3000.0),
            st.floats(-1e8, 1e8).map(lambda by_s: ("step", by_s)),
        ),
        max_size=25,
    )
)
def test_whatever_happens_each_target_gets_all_once_in_order(story: list[object]) -> None:
    """Outages, restarts and steps of the wall clock in any order: in the end everything has arrived once, in order."""
    with TemporaryDirectory() as name:
        rig = Rig(Path(name), "phone", "mail")
        asked: list[str] = []
        for event in story:
            if event == "ask":
                asked.append(f"k{len(asked)}")
                rig.ask(asked[-1])
            elif event == "restart":
                rig.restart()
            elif isinstance(event, str):
                target, what = event.split()
                rig.phones.out = rig.phones.out | {target} if what == "out" else rig.phones.out - {target}
            elif isinstance(event, float):
                rig.run_on(event, pace_s=100.0)
            elif isinstance(event, tuple):
                rig.clock.wall_s += event[1]
            rig.settle()
        rig.phones.out = set()
        rig.run_on(1000, pace_s=100.0)
        assert rig.phones.got == ({"phone": asked, "mail": asked} if asked else {})
        rig.push.close()
        rig.store.close()


def test_a_wall_time_far_ahead_delays_nothing(rig: Rig) -> None:
    """A push asked with a wall time far in the future waits no longer than any other."""
    far = At(rig.clock.mono_s, 4e9)
    rig.store.accept([push(far, "a")])
    rig.push.accept([push(far, "a")])
    rig.settle()
    assert rig.phones.got["mail"] == ["a"]
