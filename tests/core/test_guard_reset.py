"""A person's reset of a trip or a relay fault: trip-free, and no more than a reset.

Trip-free, in the trade of protective controls: a manual reset that cannot hold the circuit closed while the fault lasts
(the meaning component makers give it; restated from a component glossary, not from a standard's own text).
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from guard_examples import COLD, Doubt, Good, Look, Tub, heating, tripped
from matwarden.core import guard
from matwarden.terms import Reason, Verdict


def relay_fault() -> Tub:
    """A tub whose relay did not follow, twice running."""
    tub = heating()
    for _ in range(2):
        tub.see(COLD._replace(relay_agrees=False))
    assert tub.memory.relay_fault
    return tub


@pytest.mark.parametrize("make", [tripped, relay_fault])
def test_a_reset_of_a_cool_tub_is_granted_and_heat_comes_back_by_a_verdict(make: Callable[[], Tub]) -> None:
    """The reset itself allows nothing: the next look decides, after the minimum off time."""
    tub = make()
    assert tub.see(COLD, after_s=30.0).allowed is False
    assert tub.reset(COLD) == ""
    assert not tub.memory.allowed
    assert tub.see(COLD, after_s=1.0) == Verdict(False, Reason.RESTING)
    assert tub.see(COLD, after_s=120.0) == Verdict(True, Reason.BELOW_SETPOINT)


@pytest.mark.parametrize(
    "hot",
    [
        Look(wall=28.5, air=24.0),
        Look(wall=[26.0, 28.5], air=24.0),
        Look(wall=26.0, air=28.5),
        Look(wall=26.0, air=24.0, other=28.5),
        Look(wall=35.0, air=24.0),
    ],
)
def test_it_is_refused_while_any_probe_is_at_or_above_cut_out_minus_differential(hot: Look) -> None:
    """28.5 C is 30.0 - 1.5: any probe of the tub counts, a substrate probe too."""
    tub = tripped()
    before = tub.memory
    assert "hot" in tub.reset(hot)
    assert tub.memory == before


@pytest.mark.parametrize(
    "unseen",
    [
        Look(wall=None, air=24.0),
        Look(wall=26.0, air=None),
        Look(wall=[26.0, None], air=24.0),
        Look(wall=26.0, air=24.0, other=None),
        Look(wall=Doubt(26.0), air=24.0),
        Look(wall=Good(26.0, age_s=30.5), air=24.0),
        Look(wall=Good(float("nan")), air=24.0),
        Look(wall=Good(float("-inf")), air=24.0),
    ],
)
def test_it_is_refused_while_any_probe_is_missing_doubtful_stale_or_no_number(unseen: Look) -> None:
    """What is not seen is not known to be cool."""
    tub = tripped()
    before = tub.memory
    assert "probe" in tub.reset(unseen)
    assert tub.memory == before


def test_just_under_the_differential_it_is_granted() -> None:
    """The refusal ends where the differential does."""
    assert tripped().reset(Look(wall=28.4, air=24.0)) == ""


def test_it_is_refused_while_the_relay_does_not_read_back_as_commanded() -> None:
    """A relay that still disobeys would only be found again two steps later."""
    tub = relay_fault()
    assert "relay" in tub.reset(COLD._replace(relay_agrees=False))
    assert tub.memory.relay_fault


def test_held_down_it_does_not_keep_heat_on() -> None:
    """Pressed before every look of a runaway, it never lets heat through."""
    tub = tripped()
    for wall_c in (30.0, 33.0, 31.0, 29.0, 28.5):
        tub.reset(Look(wall=wall_c, air=24.0))
        assert tub.see(Look(wall=wall_c, air=24.0), after_s=200.0) == Verdict(False, Reason.TRIPPED)


def test_a_runaway_after_a_reset_trips_again_at_once() -> None:
    """The mat's stored heat is remembered over the reset."""
    tub = tripped()
    tub.see(COLD)
    assert tub.reset(COLD) == ""
    assert tub.see(Look(wall=30.0, air=24.0)) == Verdict(False, Reason.CUT_OUT)
    assert tub.memory.tripped


def test_a_hold_outlasts_a_reset() -> None:
    """The lid is still open."""
    tub = tripped()
    tub.hold(900.0)
    tub.see(COLD)
    assert tub.reset(COLD) == ""
    assert tub.see(COLD, after_s=300.0) == Verdict(False, Reason.HELD)


def test_one_old_disagreement_does_not_count_after_a_reset() -> None:
    """After a reset it again takes two running."""
    tub = relay_fault()
    assert tub.reset(COLD) == ""
    tub.see(COLD._replace(relay_agrees=False))
    assert not tub.memory.relay_fault


@pytest.mark.parametrize("command", ["hold", "release"])
def test_no_other_command_ends_a_trip(command: str) -> None:
    """Only a reset does."""
    tub = tripped()
    tub.memory = guard.hold(tub.memory, tub.now_s) if command == "hold" else guard.release(tub.memory)
    assert tub.see(COLD, after_s=9999.0) == Verdict(False, Reason.TRIPPED)
