"""The sentence names the numbers that decided, and no others."""

from __future__ import annotations

from matwarden.core.explain import explain
from matwarden.core.guard import GuardLimits, Observation, start, step
from matwarden.terms import Quality, Reason, Seen, Unit

_LIMITS = GuardLimits(24.5, 25.5, 28.5, 30.0, 1.0, 0.0, 0.0, 1800.0, 1, 60.0)


def _good(value_c: float, at_s: float) -> tuple[Seen, ...]:
    return (Seen(Quality.GOOD, value_c, at_s, 9, ""),)


def test_the_limiter_names_the_wall_that_holds_it_and_not_a_warmer_substrate() -> None:
    """The substrate can trip, but it does not govern the limiter."""
    memory = start(0.0)
    for at_s, wall_c in ((10.0, 28.6), (20.0, 27.9)):
        seen = Observation(at_s, _good(wall_c, at_s), _good(24.0, at_s), _good(29.5, at_s), True)
        memory, verdict = step(memory, seen, _LIMITS)
    assert verdict.reason is Reason.LIMITER
    sentence = explain(memory, seen, _LIMITS, verdict, Unit.C)
    assert sentence == "Heat is cut: wall 27.9 °C; the limiter is 28.5 °C and lets go below 27.5 °C."


def test_a_hot_room_that_a_silent_substrate_probe_keeps_says_so() -> None:
    """Neither the cool wall nor the cool air is given as the reason: the probe that is waited for is."""
    memory = start(0.0)
    missing = (Seen(Quality.MISSING, None, 20.0, 0, "not on the bus"),)
    for at_s, other in ((10.0, _good(30.2, 10.0)), (20.0, missing)):
        seen = Observation(at_s, _good(25.0, at_s), _good(24.0, at_s), other, True)
        memory, verdict = step(memory, seen, _LIMITS)
    assert verdict.reason is Reason.HOT_ROOM
    assert explain(memory, seen, _LIMITS, verdict, Unit.C) == (
        "Heat is cut: a substrate probe had reached 30.0 °C with heat long cut, and gives no good reading now. "
        "Ends when it reads below 29.0 °C; if it is broken, mend it or take it out of the settings."
    )
