"""The record fails, or the program was away: alarms of no tub, through the running station."""

from __future__ import annotations

import contextlib
import resource
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from helpers_station import POLL_S, House, alarms, house, pushes
from matwarden.events import Notice, PushAsked, VerdictChanged
from matwarden.settings import Settings
from matwarden.terms import AlarmState

_HOUR_S = 3600.0
_STORAGE, _POWER = "storage-failing/house", "power-lost/house"
# Two minutes without a record, as the README says; and the seconds between commits, after which it is noticed.
_UNRECORDED_S = 120.0
_COMMIT_S = 30.0


def _settings(directory: Path) -> Settings:
    settings = house(directory)
    return replace(settings, store=replace(settings.store, commit_every_s=_COMMIT_S))


@pytest.fixture
def shelf(tmp_path: Path) -> Iterator[House]:
    """An hour into a cool evening, oak heated; a commit every half minute."""
    running = House(_settings(tmp_path))
    running.pass_time(_HOUR_S)
    yield running
    running.close()


@contextlib.contextmanager
def _nothing_can_be_written() -> Iterator[None]:
    """Every write to a file is refused with EFBIG: setrlimit(2), RLIMIT_FSIZE (Python ignores the signal)."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def _pushed(shelf: House, alarm: str) -> list[PushAsked]:
    return pushes(shelf.collector.events, alarm)


def test_a_record_that_cannot_be_written_is_told_after_two_minutes(shelf: House) -> None:
    """Not at once: a disk may be busy. Not later than after the next commit and two minutes."""
    began_s = shelf.clock.monotonic_s()
    with _nothing_can_be_written():
        shelf.pass_time(_HOUR_S)
    (push,) = _pushed(shelf, _STORAGE)
    assert _UNRECORDED_S <= push.at.mono_s - began_s <= _COMMIT_S + _UNRECORDED_S + 2 * POLL_S
    assert "nothing is recorded" in push.title


def test_a_record_that_fails_for_a_minute_is_not_pushed(shelf: House) -> None:
    """It is tried again with every batch, so what is over soon needs nobody: it is in the log."""
    with _nothing_can_be_written():
        shelf.pass_time(_COMMIT_S + _UNRECORDED_S / 2)
    shelf.pass_time(_HOUR_S)
    assert any("cannot write the record" in notice.text for notice in shelf.told(Notice))
    assert _pushed(shelf, _STORAGE) == []


def test_a_record_that_works_again_is_told(shelf: House) -> None:
    """The keeper who was called hears that it is over, and both words reach the phone."""
    with _nothing_can_be_written():
        shelf.pass_time(_HOUR_S)
    shelf.pass_time(_HOUR_S)
    assert alarms(shelf.collector.events, _STORAGE) == [AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL]
    assert sum("recorded" in line for line in shelf.pushed()) == 2


def test_no_verdict_depends_on_the_record(shelf: House, tmp_path: Path) -> None:
    """Hours without a record switch the mat as hours with one."""
    with _nothing_can_be_written():
        shelf.pass_time(3 * _HOUR_S)
    usual = House(_settings(tmp_path / "usual"))
    usual.pass_time(4 * _HOUR_S)
    usual.close()
    switched = [[(e.at.mono_s, e.sentence) for e in each.told(VerdictChanged)] for each in (shelf, usual)]
    assert switched[0] == switched[1]
    assert len(shelf.relays["oak"].switched) > 3


def _away(shelf: House, for_s: float, clock_knows: bool = True) -> None:
    """The program ends, and begins again after a while. `clock_knows`: the wall clock ran on meanwhile."""
    shelf.run.close(release_devices=False)
    shelf.clock.wait(shelf.clock.monotonic_s() + for_s, threading.Event())
    if not clock_knows:
        shelf.clock.step_wall(-for_s)
    shelf.run = shelf._start()


def test_a_long_absence_is_told_from_when_to_when(shelf: House) -> None:
    """Off from 19:00 to 22:00, house time (18:00 UTC is 19:00 in a Dutch January): told once, in the first cycles."""
    _away(shelf, 3 * _HOUR_S)
    began_s = shelf.clock.monotonic_s()
    shelf.pass_time(3 * _HOUR_S)
    (push,) = _pushed(shelf, _POWER)
    assert push.at.mono_s - began_s <= 2 * POLL_S
    # The record's last word is as old as its last commit.
    assert "from about 16 Jan 18:59 to 16 Jan 22:00, 3 h" in push.body


def test_a_short_absence_is_not_told(shelf: House) -> None:
    """A restart or an update takes minutes and does no harm."""
    _away(shelf, 300.0)
    shelf.pass_time(_HOUR_S)
    assert _pushed(shelf, _POWER) == []


def test_an_absence_is_told_when_the_clock_is_set(shelf: House) -> None:
    """A machine whose clock stood still while it was off knows of the absence only once a time server has set it."""
    _away(shelf, 3 * _HOUR_S, clock_knows=False)
    shelf.pass_time(120.0)
    assert _pushed(shelf, _POWER) == []
    shelf.clock.step_wall(3 * _HOUR_S)
    shelf.pass_time(120.0)
    (push,) = _pushed(shelf, _POWER)
    assert "3" in push.body


def test_each_absence_is_told(shelf: House) -> None:
    """Two absences in one evening are two pushes."""
    _away(shelf, _HOUR_S)
    shelf.pass_time(600.0)
    _away(shelf, _HOUR_S)
    shelf.pass_time(600.0)
    assert len(_pushed(shelf, _POWER)) == 2
