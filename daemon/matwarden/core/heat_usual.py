"""Does a tub's wall still show as much as it always did for this much heat? For a wall probe that drifts. Pure.

The law: a tub that is kept warmer than its room gets that heat through its wall, so over an hour or so the wall stands
over the air by a difference that grows as the heat does. Both are averaged here; what belongs to one share of heat is
learned over days, so that a probe that drifts by 1 K a day is seen as well as one that drifts by 1 K an hour.

The numbers, tried over the grid of tests/faults/run_tubs.py: in a healthy tub, with lids that open and honest probes
(+-0.5 K each), the difference fell short of what was expected by 0.63 K at the most; `SHORT_K` is above that.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

__all__ = ["SHORT_K", "UsualHeat", "falls_short", "new_usual", "step_usual"]

SHORT_K = 1.0
_SHORT_ENDS_K = 0.7
# Longer than a cycle of heat, shorter than it takes a fast drift to do harm.
_MEAN_S = 1800.0
_LEARN_S = 48 * 3600.0
# Nothing is said before so much heated time was learned from, nor while the means are not yet made of readings alone.
_LEARNED_S = 4 * 3600.0
_FULL = 0.9
# With less heat the probes' own errors are all there is.
_LEAST_HEAT = 0.15
# What was learned with one share of heat says little of one that is far from it.
_LEAST_RATIO, _MOST_RATIO = 0.5, 1.6
_GAP_S = 300.0


class UsualHeat(NamedTuple):
    """What is remembered of one mat.

    Attributes:
        at_s: monotonic time of the last reading; -inf: none yet.
        over_k, heat: wall minus air, and the share of full heat that must have arrived (0 to 1): means of the last
            `_MEAN_S`. full: how much of these means is made of readings (0 to 1).
        over_sum, heat_sum, learned_s: the same over days, as sums over heated time, and that time.
    """

    at_s: float
    over_k: float
    heat: float
    full: float
    over_sum: float
    heat_sum: float
    learned_s: float


def new_usual() -> UsualHeat:
    """Nothing is known yet."""
    return UsualHeat(float("-inf"), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def step_usual(memory: UsualHeat, at_s: float, over_k: float, heat: float) -> UsualHeat:
    """Take one reading: wall minus air, and the share of full heat that must have arrived by now."""
    last_s, mean_k, mean_heat, full, over_sum, heat_sum, learned_s = memory
    gap_s = at_s - last_s
    if gap_s > _GAP_S:
        return UsualHeat(at_s, over_k, heat, 0.0, over_sum, heat_sum, learned_s)
    share = gap_s / (_MEAN_S + gap_s)
    mean_k += share * (over_k - mean_k)
    mean_heat += share * (heat - mean_heat)
    full += share * (1.0 - full)
    if full >= _FULL and mean_heat >= _LEAST_HEAT:
        kept = exp(-gap_s / _LEARN_S)
        over_sum = over_sum * kept + mean_k * gap_s
        heat_sum = heat_sum * kept + mean_heat * gap_s
        learned_s = learned_s * kept + gap_s
    return UsualHeat(at_s, mean_k, mean_heat, full, over_sum, heat_sum, learned_s)


def falls_short(memory: UsualHeat, before: bool) -> bool | None:
    """Does the wall show less over the air than this much heat usually makes it? None while nothing can be said.

    Args:
        before: the last known answer.
    """
    if memory.learned_s < _LEARNED_S or memory.full < _FULL or memory.heat < _LEAST_HEAT:
        return None
    ratio = memory.heat * memory.learned_s / memory.heat_sum
    if not _LEAST_RATIO <= ratio <= _MOST_RATIO:
        return None
    expected_k = ratio * memory.over_sum / memory.learned_s
    return expected_k - memory.over_k >= (_SHORT_ENDS_K if before else SHORT_K)
