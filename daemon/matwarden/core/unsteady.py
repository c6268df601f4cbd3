"""A probe that jumps again and again: a loose contact, interference, a dying part. Pure.

The law: each jump is doubted and cuts heat for a moment; one is a lid or a hand, a dozen within the hour is the probe.
Such a probe is never blind, its cold alarm starts anew with each jump, and its tub may go cold meanwhile. Counted is
how often doubt begins, so that a long doubt (the blind alarm tells it) counts once; a count fades within an hour.

The number: a lid that opens and shuts makes two; noise of 0.3 K (worse than any datasheet's) makes about six an hour at
10 s polls and the default rate, one of 1 K about eighty.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

from matwarden.terms import Quality

__all__ = ["STEADY", "Doubts", "is_unsteady", "step_doubts"]

_UNSTEADY_N = 12.0
_STEADY_AGAIN_N = 4.0
_FADE_S = 3600.0


class Doubts(NamedTuple):
    """How often doubt began of late (faded to `at_s`, monotonic seconds), and whether it lasts."""

    often: float
    at_s: float
    doubtful: bool


STEADY = Doubts(0.0, float("-inf"), False)


def step_doubts(doubts: Doubts, quality: Quality, now_s: float) -> Doubts:
    """Take what the probe says now."""
    doubtful = quality is Quality.DOUBTFUL
    if doubtful is doubts.doubtful:
        return doubts
    if not doubtful:
        return doubts._replace(doubtful=False)
    return Doubts(_faded(doubts, now_s) + 1.0, now_s, True)


def is_unsteady(doubts: Doubts, now_s: float, before: bool) -> bool:
    """Did doubt begin too often of late? `before`: the last answer."""
    if doubts is STEADY:
        return False
    return _faded(doubts, now_s) >= (_STEADY_AGAIN_N if before else _UNSTEADY_N)


def _faded(doubts: Doubts, now_s: float) -> float:
    return doubts.often * exp((doubts.at_s - now_s) / _FADE_S) if doubts.often else 0.0
