"""The wall clock is set in the middle of a run: nothing that keeps the animals warm, or tells of it, notices.

The unstepped run with the same seed is the reference: polls, verdicts, switchings and alarms must be identical on the
monotonic clock, to the last digit.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from helpers_station import POLL_S, House, house
from matwarden.events import AlarmChanged, DigestMade, PushAsked, VerdictChanged
from matwarden.night import night_so_far
from matwarden.terms import AlarmState

_HOUR_S = 3600.0
_DAY_S = 86400.0
_LASTS_S = 2 * _DAY_S
CLOCK_ALARM = "clock-stepped/house"
# Cold nights: the unheated tub alarms each night, the heated one works.
_COLD_NIGHTS = "plan = [[5.0, 16.0], [9.0, 25.0], [20.0, 25.0]]"


class _Run(NamedTuple):
    """Everything about a run that must not depend on the wall clock, and its digests."""

    polls_s: list[float]
    verdicts: list[tuple[float, str, str, str]]
    switched: list[tuple[float, bool]]
    alarms: list[tuple[float, str, AlarmState, AlarmState, str, float]]
    pushes: list[tuple[float, str, str]]
    digests: list[DigestMade]
    unfinished_s: float


def _play(directory: Path, steps: dict[float, float]) -> _Run:
    """Two days; `steps`: by how much the wall clock is set after the cycle of a moment."""
    shelf = House(house(directory, unheated=("rowan",), room=_COLD_NIGHTS))

    def after(now_s: float) -> None:
        if now_s in steps:
            shelf.clock.step_wall(steps[now_s])

    shelf.pass_time(_LASTS_S, after)
    settings = shelf.settings
    shelf.close()
    _, unfinished = night_so_far(settings)
    # That the clock was set is told, and is the only thing that depends on it.
    changes = [e for e in shelf.told(AlarmChanged) if e.alarm != CLOCK_ALARM]
    asked = [e for e in shelf.told(PushAsked) if not e.key.startswith(("digest/", f"{CLOCK_ALARM}/"))]
    return _Run(
        [t for t, _ in shelf.probes["oak-wall"].reads],
        [(e.at.mono_s, e.enclosure, e.verdict.reason, e.sentence) for e in shelf.told(VerdictChanged)],
        shelf.relays["oak"].switched,
        [(e.at.mono_s, e.alarm, e.previous, e.state, e.text, e.active_s) for e in changes],
        [(e.at.mono_s, e.title, e.body) for e in asked],
        shelf.told(DigestMade),
        float(unfinished["lasts_s"]),
    )


@pytest.fixture(scope="module")
def straight(tmp_path_factory: pytest.TempPathFactory) -> _Run:
    """The run in which nobody touches the clock."""
    run = _play(tmp_path_factory.mktemp("straight"), {})
    assert len(run.switched) > 20
    assert [alarm for _, alarm, _, state, _, _ in run.alarms if state is AlarmState.UNACKNOWLEDGED].count(
        "cold/rowan"
    ) == 2
    assert len(run.digests) == 2
    return run


_STEPS: dict[str, dict[float, float]] = {
    "back-6-h": {20 * _HOUR_S: -6 * _HOUR_S},
    "forward-6-h": {20 * _HOUR_S: 6 * _HOUR_S},
    "forward-400-d": {20 * _HOUR_S: 400 * _DAY_S},
    "back-to-1970": {20 * _HOUR_S: -1_768_600_000.0},
    "forward-400-d-and-back": {8 * _HOUR_S: 400 * _DAY_S, 20 * _HOUR_S: -400 * _DAY_S},
    "back-and-forth-each-hour": {n * _HOUR_S: (6 if n % 2 else -6) * _HOUR_S for n in range(1, 47)},
}


@pytest.fixture(scope="module", params=_STEPS)
def stepped(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> _Run:
    """The same run with the wall clock set on the way."""
    return _play(tmp_path_factory.mktemp(request.param), _STEPS[request.param])


def test_no_poll_is_missed(straight: _Run, stepped: _Run) -> None:
    """Polls go on at their interval through a step, in either direction."""
    assert stepped.polls_s == straight.polls_s
    assert max(b - a for a, b in pairwise(stepped.polls_s)) <= POLL_S


def test_verdicts_and_switchings_are_identical(straight: _Run, stepped: _Run) -> None:
    """Every verdict and every switching of the relay comes at the same monotonic time, in the same words."""
    assert stepped.switched == straight.switched
    assert stepped.verdicts == straight.verdicts


def test_alarms_and_their_pushes_are_identical(straight: _Run, stepped: _Run) -> None:
    """Every transition of an alarm, its text, how long it lasted and what the phone is told are the same."""
    assert stepped.alarms == straight.alarms
    assert stepped.pushes == straight.pushes


def test_no_date_has_two_digests(stepped: _Run) -> None:
    """A date that the clock shows twice gets one digest."""
    dates = [digest.date for digest in stepped.digests]
    assert len(set(dates)) == len(dates) > 0


def test_every_second_is_in_exactly_one_digest(stepped: _Run) -> None:
    """The lengths of all digests and of what is not yet in one add up to the run: no second twice, none left out."""
    lengths_s = [float(digest.document["lasts_s"]) for digest in stepped.digests]
    assert sum(lengths_s) + stepped.unfinished_s == pytest.approx(_LASTS_S, abs=POLL_S)
    assert all(length_s > 0.0 for length_s in lengths_s)


def test_a_digest_says_that_the_clock_was_set(stepped: _Run) -> None:
    """The digest over a step tells the step, so that its times can be understood."""
    told: list[Any] = [step_s for digest in stepped.digests for step_s in digest.document["clock_steps_s"]]
    assert told


def test_a_step_within_a_cold_on_delay_changes_nothing(straight: _Run, tmp_path: Path) -> None:
    """A step in the middle of the hour before a cold alarm neither hastens nor puts off the alarm."""
    cold_s = next(
        t for t, alarm, _, state, _, _ in straight.alarms if (alarm, state) == ("cold/rowan", "unacknowledged")
    )
    for number, by_s in enumerate((6 * _HOUR_S, -6 * _HOUR_S)):
        run = _play(tmp_path / str(number), {cold_s - 1800.0: by_s})
        assert run.alarms == straight.alarms
