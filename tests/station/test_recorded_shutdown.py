"""106 hours without heating in a recorded building: four tubs without mats, and what the phone hears of it.

Source: tests/data/winter/README.md. Their band's lower edge, 17.0 C, is one that the room keeps to at all other times.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from matwarden.events import AlarmChanged, PushAsked
from matwarden.terms import Band, Recipients
from recorded_series import POLL_S, Course, as_polls, building_c, pushed, run
from recorded_timeline import cold_timeline

_BAND = Band(17.0, 27.8)
_ONCE = ["starts", "again", "second", "returns"]
_CALLED = [Recipients.FIRST, Recipients.FIRST, Recipients.SECOND, Recipients.ALL]
# From source.csv: the first hour without any heating power, and the first one behind the last.
_FROM_H, _TO_H = 66, 172


def _shelf(*above_k: float, hours: int | None = None) -> dict[str, Course]:
    """Four tubs in that room, each a little warmer than it; `hours`: only the first of them."""
    names = ("oak", "alder", "hazel", "rowan")
    return {name: as_polls(building_c()[:hours], _BAND, offset_k=k) for name, k in zip(names, above_k, strict=True)}


def test_only_the_shutdown_makes_this_room_cold() -> None:
    """The series itself: below the edge after the heating stopped, until after it was back, and at no other hour."""
    cold = [n for n, value_c in enumerate(building_c()) if value_c <= _BAND.low_c]
    assert _TO_H - _FROM_H == 106
    assert _FROM_H < cold[0] < _TO_H < cold[-1]
    assert cold == list(range(cold[0], cold[-1] + 1))
    assert max(building_c()) < _BAND.high_c


def test_each_tub_rings_once_is_escalated_and_returns_once() -> None:
    """With together_tubs = 0: one alarm a tub, again after 15 min, then the second targets; one return, to all."""
    courses = _shelf(0.0, 0.125, 0.25, 0.375)
    told = run(courses)
    for name, course in courses.items():
        pushes = pushed(told, name)
        assert pushes == {"cold": cold_timeline(course.polls, course.false, POLL_S, _BAND.low_c)}
        assert [what for _, what in pushes["cold"]] == _ONCE
        asked = [e for e in told if isinstance(e, PushAsked) and e.key.startswith(f"cold/{name}/")]
        assert [e.recipients for e in asked] == _CALLED
        changes = [e.state for e in told if isinstance(e, AlarmChanged) and e.alarm == f"cold/{name}"]
        assert changes == ["unacknowledged", "returned-unacknowledged"]
    assert sum(isinstance(event, PushAsked) for event in told) == 4 * len(_ONCE)


def test_with_the_default_one_message_is_for_the_house() -> None:
    """Four tubs that cool with their room, within minutes of each other: one alarm, its calls, one return."""
    told = run(_shelf(0.0, 0.005, 0.01, 0.015, hours=240), together_n=3, judge_every_s=60.0)
    pushes = [event for event in told if isinstance(event, PushAsked)]
    assert [what for _, what in pushed(told, "house")["cold-together"]] == _ONCE
    assert [push.recipients for push in pushes] == _CALLED
    assert re.fullmatch(r"Shelf: [34] of 4 tubs cold", pushes[0].title)


def test_tubs_that_turn_cold_hours_apart_ring_by_themselves_until_three_are_cold() -> None:
    """Two tubs have rung when the third and the fourth turn cold: the house tells of these, not they themselves."""
    told = run(_shelf(0.0, 0.25, 0.5, 0.75, hours=300), together_n=3, judge_every_s=60.0)
    for name in ("oak", "alder"):
        assert [what for _, what in pushed(told, name)["cold"]] == _ONCE
    for name in ("hazel", "rowan"):
        assert pushed(told, name) == {}
    assert [what for _, what in pushed(told, "house")["cold-together"]] == _ONCE


@pytest.mark.parametrize("tub", ["oak", "rowan"])
def test_it_rings_within_the_failure_and_returns_after_it(tub: str) -> None:
    """The start lies in the shutdown, more than an hour into it; the return follows the heating's."""
    moments = pushed(run(_shelf(0.0, 0.125, 0.25, 0.375)), tub)["cold"]
    assert (_FROM_H + 1) * 3600.0 < moments[0][0] < _TO_H * 3600.0 < moments[-1][0]


def test_the_room_file_of_the_winter_begins_when_this_series_does() -> None:
    """Hours here are counted from the first row: 2019-12-25T18:00Z, when the heating stops, is the 66th."""
    hours = (datetime(2019, 12, 25, 18, tzinfo=UTC) - datetime(2019, 12, 23, tzinfo=UTC)).total_seconds() / 3600.0
    assert hours == _FROM_H
