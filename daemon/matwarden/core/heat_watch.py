"""Does the wall do what the heat commands? Heat that does not arrive, and heat that stays when it is cut. Pure.

The law: whatever heats a tub goes through its wall, so the wall leads the air. `over_k` is wall minus air: the sun, a
warm room, an open lid move both; the mat moves their difference. Times are those of wall readings. Doubt is None:
neither alarm nor all-clear.

The numbers, worked out on a tub of 250 to 800 J/K of wall (mat and its wall), 1.45 W/K from it to everything and air
half as warm (the default twin), then tried over a grid of mats and rooms in tests/core/test_heat_watch_grid.py:
* 4 W at full heat hold the wall 2.0 K over the air, and two honest probes (+-0.5 K each) show 1.0 K of it at the least:
  `LIFT_K` is half of that.
* `over_k` goes to its end with a time constant of C / 1.0 W/K: 250 to 800 s. After `SETTLE_S` a cut wall has less than
  exp(-540 / 800) = 0.51 of its lift left; a welded one has all of it, and more. `STAYS` is between.
* Full heat for `FILLED` of the way of a 600 s lag is 14 min: then even the slowest wall has 0.65 of its 2 K.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

__all__ = ["HeatMemory", "heat_arrives_not", "heat_stays", "new_watch", "step"]

LIFT_K = 0.5
SETTLE_S = 600.0
STAYS = 0.7
FILLED = 0.75
FILL_LAG_S = 600.0
# Readings are averaged over about this long: a digit of 0.1 K and its noise then count for some hundredths.
_SMOOTH_S = 60.0
# The averages reach their crest this long after the cut: the beginning of a cut is the highest of that time.
_CREST_S = 120.0
# Without a reading for this long everything but what was learned is forgotten.
_GAP_S = 300.0
# What two honest probes may show at rest although there is no difference, each 0.5 K off (DS18B20, AM2302 datasheets).
_HONEST_K = 1.0
# A difference at rest lower than the one known is believed at once, a higher one by this share: not an open lid's.
_FORGET = 0.25
# A wall that warms by this much after the cut, and more than the air, is driven: told before `SETTLE_S`.
_EARLY_S, _EARLY_K = 300.0, 1.0
# Long after the cut it takes more, and a wall that still rises: rooms jump.
_LATE_K = 1.5
# A wall this much colder than the air while it is heated is no wall. Air leads it by 1.5 K when a room jumps by 10 K,
# for a minute or two.
_BELOW_K = 1.5
# At rest the wall beside a mat is hardly colder than the air: 2.0 K for a thin wall (0.35 W/K to a room 11 K colder)
# and `_HONEST_K`. Below that its probe lies elsewhere or reads low.
_REST_K = -3.0
# So much must the air have warmed in a spell of heat to say anything about the wall before it.
_AIR_RISE_K = 0.4
# The slowest wall's lag: what a wall usually gains must have come by this much of it, and half of that must be seen.
# Less than 0.3 K is not expected, for half of it must stand out of noise.
_SLOWEST_S, _EXPECTED_K = 800.0, 0.3
# An air that gains this much on the wall at once was let in or shut in: a lid that closes. For so long after it the
# slowest wall has not found its place again, and nothing is said of heat that does not arrive.
_SHUT_K, _DISTURBED_S = 0.3, 1200.0
# A shorter spell of heat says nothing of what is usual.
_SPELL_S = 180.0
# Spells of heat without the wall's lead that are no accident.
_UNLED = 2
# A reading that keeps every digit for this long in the first part of a heating, when a wall moves fastest: the slowest
# (4 W, 25 min) still moves 0.2 K in it.
_STUCK_S, _YOUNG_S = 480.0, 1500.0


class HeatMemory(NamedTuple):
    """What is remembered of one mat. Times are monotonic seconds, differences are wall minus air.

    Attributes:
        at_s: of the last reading; -inf: none yet. raw_c, same_s: its digits, and since when they are the same.
        wall_c, air_c, over_k: averaged. `air_c` is 0 without an air probe, and `over_k` then the wall itself.
        allowed, since_s: heat allowed or cut, and since when.
        wall0_c, air0_c, over0_k: at the beginning of this spell. lift_k: of a cut: how far the heat before it had got.
        extreme_k, extreme_wall_c: of an allowed spell the highest `over_k` and the wall then; of a cut one the lowest.
        filled: what share of full heat must have arrived by now (0 to 1), by a lag of `FILL_LAG_S`.
        rest_k: `over_k` when heat has long been cut; None: not seen yet.
        unled_n: spells of heat in a row in which the air warmed and the wall did not lead it.
        usual_k: how far over rest the wall gets in a spell of heat; 0: not seen yet.
        disturbed_s: when the air last gained on the wall at once.
        rested: the cut before this spell was seen to last for `_EARLY_S`.
    """

    at_s: float
    raw_c: float
    same_s: float
    wall_c: float
    air_c: float
    over_k: float
    allowed: bool
    since_s: float
    wall0_c: float
    air0_c: float
    over0_k: float
    lift_k: float
    extreme_k: float
    extreme_wall_c: float
    filled: float
    rest_k: float | None
    unled_n: int
    usual_k: float
    disturbed_s: float
    rested: bool


def new_watch() -> HeatMemory:
    """A watch that has seen nothing."""
    never_s = float("-inf")
    return HeatMemory(
        at_s=never_s,
        raw_c=0.0,
        same_s=never_s,
        wall_c=0.0,
        air_c=0.0,
        over_k=0.0,
        allowed=False,
        since_s=never_s,
        wall0_c=0.0,
        air0_c=0.0,
        over0_k=0.0,
        lift_k=0.0,
        extreme_k=0.0,
        extreme_wall_c=0.0,
        filled=0.0,
        rest_k=None,
        unled_n=0,
        usual_k=0.0,
        disturbed_s=never_s,
        rested=False,
    )


def step(memory: HeatMemory, at_s: float, allowed: bool, wall_c: float, air_c: float | None) -> HeatMemory:
    """Take one wall reading.

    Args:
        allowed: whether heat was allowed since the last one.
        air_c: None in a tub without an air probe: then the wall is held against its own past, only for a short while
            after each switching, and a room that warms fast then can be taken for heat.
    """
    gap_s = at_s - memory.at_s
    against_c = 0.0 if air_c is None else air_c
    if gap_s > _GAP_S:
        over_k = wall_c - against_c
        return HeatMemory(
            at_s,
            wall_c,
            at_s,
            wall_c,
            against_c,
            over_k,
            allowed,
            at_s,
            wall_c,
            against_c,
            over_k,
            0.0,
            over_k,
            wall_c,
            0.0,
            memory.rest_k,
            memory.unled_n,
            memory.usual_k,
            memory.disturbed_s,
            False,
        )
    (_, raw_c, same_s, smooth_c, air_smooth_c, _, was, since_s, wall0_c, air0_c, over0_k, lift_k) = memory[:12]
    extreme_k, extreme_wall_c, filled, rest_k, unled_n, usual_k, disturbed_s, rested = memory[12:]
    share = gap_s / (_SMOOTH_S + gap_s)
    smooth_c += share * (wall_c - smooth_c)
    air_smooth_c += share * (against_c - air_smooth_c)
    over_k = smooth_c - air_smooth_c
    filled += (float(was) - filled) * (1.0 - exp(-gap_s / FILL_LAG_S))
    if wall_c != raw_c:
        same_s = at_s
    if allowed != was:
        rested = at_s - since_s >= _EARLY_S
        if allowed:
            if air_c is None or (rested and (rest_k is None or over_k < rest_k)):
                rest_k = over_k
            elif at_s - since_s >= SETTLE_S and rest_k is not None:
                rest_k += _FORGET * (over_k - rest_k)
            lift_k = 0.0
        else:
            if air_c is not None:
                unled_n = _unled_n(memory)
                if unled_n < _UNLED and rest_k is not None and at_s - since_s >= _SPELL_S:
                    # An open lid or a room that jumps makes a wall gain more: lower is believed at once.
                    gained_k = extreme_k - rest_k
                    lower = usual_k == 0.0 or gained_k < usual_k
                    usual_k = max(0.0, gained_k) if lower else usual_k + _FORGET * (gained_k - usual_k)
            if rest_k is not None:
                lift_k = max(0.0, over_k - rest_k)
            else:
                lift_k = max(LIFT_K if filled >= FILLED else 0.0, over_k - over0_k)
        since_s, wall0_c, air0_c, over0_k = at_s, smooth_c, air_smooth_c, over_k
        extreme_k, extreme_wall_c, same_s = over_k, smooth_c, at_s
    else:
        if air_c is not None and wall_c - air_c <= over_k - _SHUT_K and wall_c >= smooth_c - _SHUT_K / 2.0:
            disturbed_s = at_s
            if allowed:
                extreme_k, extreme_wall_c = over_k, smooth_c
        if (over_k > extreme_k) is allowed:
            extreme_k, extreme_wall_c = over_k, smooth_c
        if not allowed and at_s - since_s <= _CREST_S:
            if rest_k is not None:
                lift_k = max(lift_k, over_k - rest_k)
            wall0_c, over0_k = max(wall0_c, smooth_c), max(over0_k, over_k)
    return HeatMemory(
        at_s,
        wall_c,
        same_s,
        smooth_c,
        air_smooth_c,
        over_k,
        allowed,
        since_s,
        wall0_c,
        air0_c,
        over0_k,
        lift_k,
        extreme_k,
        extreme_wall_c,
        filled,
        rest_k,
        unled_n,
        usual_k,
        disturbed_s,
        rested,
    )


def heat_arrives_not(memory: HeatMemory, has_air: bool) -> bool | None:
    """Is heat allowed and does the wall not show it? None while nothing can be said.

    Told apart from a weak mat at steady full heat by the wall still standing over the air; from an opened lid or window
    by the wall, which falls then while the difference grows.
    """
    rest_k = memory.rest_k or 0.0
    if memory.unled_n >= _UNLED or (has_air and rest_k <= _REST_K):
        return True
    if not memory.allowed:
        return None
    over_k, age_s = memory.over_k, memory.at_s - memory.since_s
    if memory.at_s - memory.same_s >= _STUCK_S and age_s <= _YOUNG_S:
        return True
    if has_air:
        if _fails(memory):
            return True
    elif age_s < _YOUNG_S or age_s > 2 * _YOUNG_S or not memory.rested:
        # Against its own past only: later a long night cools the wall of a weak mat as well as that of a dead one.
        return None
    if memory.filled < FILLED or _is_disturbed(memory):
        return None
    return over_k - rest_k < LIFT_K


def heat_stays(memory: HeatMemory, has_air: bool) -> bool | None:
    """Is heat cut and does the wall stay as hot as it was, or grow hotter? None while nothing can be said."""
    age_s = memory.at_s - memory.since_s
    if memory.allowed or age_s < _EARLY_S or not (has_air or memory.rest_k is not None):
        return None
    over_k = memory.over_k
    warm = over_k - (_HONEST_K if memory.rest_k is None else memory.rest_k) >= LIFT_K
    if memory.rest_k is None and memory.filled > 0.0 and memory.filled >= FILLED * exp(-age_s / FILL_LAG_S):
        # The first cut of a run, after full heat: whatever two probes show at rest, some of it must have gone.
        warm = True
    warmer_k, further_k = memory.wall_c - memory.wall0_c, over_k - memory.over0_k
    if not has_air and age_s > _YOUNG_S:
        # Against its own past only: the day warms a wall too.
        return False if warmer_k < 0.0 else None
    if warm and warmer_k >= _EARLY_K and further_k >= STAYS * _EARLY_K:
        return True
    if age_s < SETTLE_S:
        return None
    lost_k = (1.0 - STAYS) * memory.lift_k
    if warm and warmer_k >= -lost_k and further_k >= -lost_k:
        # Later a room that cools suddenly can look the same for a while: it keeps what was told, and tells nothing new.
        return True if age_s <= _YOUNG_S else None
    # Cut for long, then warmer than the air has made it, and not on its way down after a room that was warmer.
    risen_k = min(over_k - memory.extreme_k, memory.wall_c - memory.extreme_wall_c)
    return warm and has_air and risen_k >= _LATE_K and memory.raw_c >= memory.wall_c


def _unled_n(memory: HeatMemory) -> int:
    """`HeatMemory.unled_n` after a spell of heat that ends here."""
    if _fails(memory):
        # The heat ended before it could be told: it stands until a spell in which the wall leads.
        return _UNLED
    risen_k = memory.air_c - memory.air0_c
    if risen_k < _AIR_RISE_K or memory.disturbed_s >= memory.since_s:
        return memory.unled_n
    return memory.unled_n + 1 if memory.extreme_k - memory.over0_k < risen_k / 3.0 else 0


def _fails(memory: HeatMemory) -> bool:
    """In a spell of heat, with an air probe: is the wall not what heat must have made of it?"""
    age_s = memory.at_s - memory.since_s
    if _is_disturbed(memory):
        return False
    rest_k, highest_k = memory.rest_k or 0.0, memory.extreme_k
    # It has lost most of what heat had given it, and not to a colder air: that leaves the wall behind.
    fallen_k = highest_k - memory.over_k
    if fallen_k >= max(1.0, (highest_k - rest_k) / 2.0) and memory.wall_c <= memory.extreme_wall_c - 1.0:
        return True
    if age_s >= _EARLY_S and memory.over_k <= -_BELOW_K:
        return True
    # It has not come half as far as it always does.
    expected_k = memory.usual_k * (1.0 - exp(-age_s / _SLOWEST_S))
    return expected_k >= _EXPECTED_K and highest_k - rest_k < expected_k / 2.0


def _is_disturbed(memory: HeatMemory) -> bool:
    return memory.at_s - memory.disturbed_s < _DISTURBED_S
