"""Whether the last run ended in good order, and what a keeper hears of it at the next start."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from matwarden.events import Event, Notice, PushAsked, Remember
from matwarden.last_run import TOLD_EVERY_S, ended_as_asked, run_begins
from matwarden.terms import At

_WALL_S = 1_768_582_800.0


def _begins(kept: Mapping[str, Any], wall_s: float = _WALL_S, last_seen_wall_s: float | None = None) -> list[Event]:
    seen_s = wall_s - 5.0 if last_seen_wall_s is None else last_seen_wall_s
    return run_begins("Our shelf", lambda at_s: f"<{at_s:.0f}>", seen_s, kept, At(10.0, wall_s))


def _kept(events: list[Event]) -> dict[str, Mapping[str, Any]]:
    return {event.key: event.value for event in events if isinstance(event, Remember)}


def _pushed(events: list[Event]) -> list[PushAsked]:
    return [event for event in events if isinstance(event, PushAsked)]


def test_a_first_run_has_nothing_to_tell() -> None:
    """Without a record there was no run before."""
    events = _begins({})
    assert [type(event) for event in events] == [Remember]


def test_a_run_that_ended_as_asked_is_not_told() -> None:
    """A restart or an update by a person is no news."""
    first = _begins({})
    ended = ended_as_asked(first, At(20.0, _WALL_S + 10.0))
    assert [type(event) for event in _begins(_kept(ended))] == [Remember]


def test_a_run_that_did_not_end_as_asked_is_told_with_its_last_word() -> None:
    """Whatever ended it, the next start says so, in the log and on the phone."""
    events = _begins(_kept(_begins({})), _WALL_S + 100.0)
    (push,) = _pushed(events)
    assert push.title == "Our shelf: had to start again"
    assert f"<{_WALL_S + 95.0:.0f}>" in push.body
    assert any(isinstance(event, Notice) and event.warning for event in events)


def test_one_that_dies_over_and_over_is_pushed_once_in_six_hours() -> None:
    """Each time in the log; on the phone again only when six hours have passed, whatever ended in between."""
    kept = _kept(_begins({}))
    pushed_n, noted_n = 0, 0
    for minute in range(0, 7 * 60, 10):
        events = _begins(kept, _WALL_S + 60.0 * minute)
        pushed_n += len(_pushed(events))
        noted_n += sum(isinstance(event, Notice) for event in events)
        kept = _kept(events)
    assert TOLD_EVERY_S == 6 * 3600.0
    assert (pushed_n, noted_n) == (2, 42)


def test_a_long_absence_is_left_to_its_own_alarm() -> None:
    """`power-lost` tells from when to when: one push is enough."""
    events = _begins(_kept(_begins({})), _WALL_S + 7200.0, last_seen_wall_s=_WALL_S)
    assert _pushed(events) == []


@pytest.mark.parametrize("kept", [{"run": 7}, {"run": {}}, {"run": {"ended": "no"}}, {"run": {"told_wall_s": "x"}}])
def test_a_damaged_word_stops_no_start(kept: Mapping[str, Any]) -> None:
    """What is only for telling is left out when it cannot be read."""
    assert [type(event) for event in _begins(kept)] == [Remember]


def test_a_damaged_time_stops_no_start() -> None:
    """A last word beyond any calendar is left out of the sentence."""

    def no_calendar(wall_s: float) -> str:
        raise OverflowError

    events = run_begins("Our shelf", no_calendar, 1e30, {"run": {"ended": False}}, At(10.0, _WALL_S))
    assert "last recorded" not in _pushed(events)[0].body
