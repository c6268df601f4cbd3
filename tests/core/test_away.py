"""Is it safe to leave? Each reason by itself, a good week and an awful one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from matwarden.core.away import Facts, TubFacts, Verdict, judge, verdict_of
from matwarden.report.away_text import away_text
from matwarden.terms import Unit

_DAY_S = 86_400.0
OAK = TubFacts(
    name="Oak",
    standing=(),
    started={},
    fault=None,
    held=False,
    has_mat=True,
    in_band_share=1.0,
    refused_share=0.001,
    holds_room_c=12.0,
    changed=None,
    operations=20_000,
    rated=100_000,
    operations_per_day=80.0,
    due=(),
)
GOOD = Facts(
    days=7.0,
    running=True,
    nights=14,
    digest_age_s=8 * 3600.0,
    tubs=(OAK,),
    house_alarms=(),
    silenced=(),
    coldest_room_c=15.1,
    push={"phone": 8 * 3600.0},
    second_targets=1,
    watched=True,
    free_mb=12_000.0,
    keep_free_mb=500.0,
    mb_per_day=6.0,
    clock_right=True,
    recording_fails=False,
)


def _told(facts: Facts) -> list[tuple[Verdict, str]]:
    """What is not simply well."""
    return [
        (each.state, f"{each.subject}: {each.text}") for each in judge(facts, Unit.C) if each.state is not Verdict.SAFE
    ]


def test_a_good_fortnight_is_safe_to_leave() -> None:
    """Nothing is left to do."""
    assert _told(GOOD) == []
    assert verdict_of(judge(GOOD, Unit.C)) is Verdict.SAFE


@pytest.mark.parametrize(
    ("changes", "state", "told"),
    [
        ({"running": False}, Verdict.UNSAFE, "station: nothing runs: no tub is watched, and all heat is cut"),
        ({"house_alarms": ("storage-failing/house",)}, Verdict.UNSAFE, "alarm: storage-failing/house is on now"),
        ({"push": {}}, Verdict.UNSAFE, "push: no push target: nobody is told of an alarm"),
        ({"recording_fails": True}, Verdict.UNSAFE, "record: nothing can be recorded now"),
        ({"days": 10.0}, Verdict.FIRST, "time: 10 days is longer than the week"),
        ({"nights": 0}, Verdict.FIRST, "record: no digest of the last days"),
        ({"nights": 3}, Verdict.FIRST, "record: only 3 nights of the last 14 days are on record"),
        ({"digest_age_s": 3 * _DAY_S}, Verdict.FIRST, "digest: the newest is 3 d old"),
        ({"silenced": ("cold/oak",)}, Verdict.FIRST, "alarm: cold/oak tells nobody"),
        ({"push": {"phone": None}}, Verdict.FIRST, "push: phone has taken nothing yet: try matwarden push --test"),
        ({"push": {"phone": 5 * _DAY_S}}, Verdict.FIRST, "push: phone last took one 5 d ago"),
        ({"second_targets": 0}, Verdict.NOTE, "push: no second target"),
        ({"watched": None}, Verdict.NOTE, "watching: if this machine dies, a missing digest is all that tells you"),
        ({"free_mb": None}, Verdict.FIRST, "disk: its free space cannot be told"),
        ({"free_mb": 520.0}, Verdict.FIRST, "disk: 520 MB free, and 500 MB are to stay free"),
        ({"clock_right": None}, Verdict.FIRST, "clock: whether it is right cannot be told"),
        ({"clock_right": False}, Verdict.FIRST, "clock: not synchronised"),
        ({"coldest_room_c": None}, Verdict.FIRST, "Oak: how cold a room its mat can hold is not known"),
    ],
)
def test_one_thing_of_the_house_is_told_and_weighed(changes: dict[str, Any], state: Verdict, told: str) -> None:
    """Exactly that reason, with what to do."""
    ((found, text),) = _told(replace(GOOD, **changes))
    assert found is state
    assert text.startswith(told)


@pytest.mark.parametrize(
    ("changes", "state", "told"),
    [
        ({"standing": ("cold/oak",)}, Verdict.UNSAFE, "Oak: alarm cold/oak is on now"),
        ({"fault": "its software cut-out has tripped"}, Verdict.UNSAFE, "Oak: its software cut-out has tripped"),
        ({"in_band_share": 0.6}, Verdict.UNSAFE, "Oak: in band only 60 % of the last 14 days"),
        (
            {"holds_room_c": 15.2},
            Verdict.UNSAFE,
            "Oak: its mat holds down to 15.2 °C; the coldest room on record was 15.1",
        ),
        ({"held": True}, Verdict.FIRST, "Oak: its heat is held"),
        ({"started": {"cold": 2}}, Verdict.FIRST, "Oak: cold rang 2 times in the last 14 days"),
        ({"in_band_share": None}, Verdict.FIRST, "Oak: how it fared in the last days is not known"),
        ({"in_band_share": 0.9}, Verdict.FIRST, "Oak: in band only 90 % of the last 14 days"),
        ({"refused_share": 0.05}, Verdict.FIRST, "Oak: 5 % of its readings were missing or refused"),
        (
            {"holds_room_c": 14.1},
            Verdict.FIRST,
            "Oak: its mat holds down to 14.1 °C; the coldest room on record was 15.1 °C: only 1.0 °C",
        ),
        ({"holds_room_c": None}, Verdict.FIRST, "Oak: how cold a room its mat can hold is not known"),
        (
            {"changed": "mat"},
            Verdict.FIRST,
            "Oak: not what it was when commissioned (mat), says the last digest",
        ),
        ({"operations": None}, Verdict.FIRST, "Oak: how far its relay is worn is not known"),
        (
            {"operations": 79_500},
            Verdict.FIRST,
            "Oak: its relay will have done 80 % of its rated operations: replace it",
        ),
        ({"due": ("substrate is due now: do it before you leave",)}, Verdict.FIRST, "Oak: substrate is due now"),
    ],
)
def test_one_thing_of_a_tub_is_told_and_weighed(changes: dict[str, Any], state: Verdict, told: str) -> None:
    """Exactly that reason, with what to do."""
    ((found, text),) = _told(replace(GOOD, tubs=(replace(OAK, **changes),)))
    assert found is state
    assert text.startswith(told)


def test_a_tub_without_a_mat_needs_none() -> None:
    """Nothing is asked of a relay that is not there."""
    bare = replace(OAK, has_mat=False, holds_room_c=None, operations=None, rated=None, operations_per_day=None)
    assert _told(replace(GOOD, tubs=(bare,))) == []


def test_the_worst_comes_first_and_decides() -> None:
    """One bad thing outweighs all that is well."""
    reasons = judge(replace(GOOD, running=False, days=10.0), Unit.C)
    assert [each.state for each in reasons][:2] == [Verdict.UNSAFE, Verdict.FIRST]
    assert verdict_of(reasons) is Verdict.UNSAFE


def test_the_page_of_a_good_week() -> None:
    """As the keeper reads it, in 80 columns."""
    assert away_text("Back room shelf", 7.0, judge(replace(GOOD, second_targets=0), Unit.F)).splitlines() == [
        "Back room shelf, away for 7 days: safe to leave.",
        "",
        "Know:",
        "  push: no second target: while your phone is off, nobody else is called",
        "",
        "Well:",
        "  record: 14 nights of the last 14 days are on record",
        "  push: phone took one 8 h ago",
        "  watching: a heartbeat goes out: somebody is called when this machine dies",
        "  disk: 12000 MB free, enough for the time away",
        "  clock: synchronised",
        "  Oak: in band 100 % of the last 14 days",
        "  Oak: its mat holds down to 53.6 °F; the coldest room on record was 59.2 °F",
        "  Oak: its relay will have done 21 % of its rated operations",
        "",
        "Nothing of this replaces somebody who can look in, or a thermal cut-out.",
    ]


def test_the_page_of_an_awful_week() -> None:
    """It says no in the first line, and why, before anything else."""
    oak = replace(OAK, standing=("cold/oak",), in_band_share=0.4, due=("food is due now: do it before you leave",))
    page = away_text("Shelf", 7.0, judge(replace(GOOD, tubs=(oak,), push={"phone": None}), Unit.C)).splitlines()
    assert page[:9] == [
        "Shelf, away for 7 days: NOT safe to leave.",
        "",
        "Not safe:",
        "  Oak: alarm cold/oak is on now",
        "  Oak: in band only 40 % of the last 14 days",
        "",
        "Do first:",
        "  push: phone has taken nothing yet: try matwarden push --test, and see it",
        "    arrive",
    ]
    assert max(map(len, page)) <= 80
