"""Two probes that should say the same and do not. Pure.

Compared are probes of one role in one tub, on the same side where both have one: across a tub that is heated at one
wall a few kelvin are the point. `APART_K`: two honest probes (+-0.5 K each: DS18B20 and AM2302 datasheets) are at the
most 1.0 K apart; twice that is no accident. The deadband is that of a temperature alarm, 0.5 K.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

from matwarden.terms import ProbeTerms, Quality, Seen

__all__ = ["APART_K", "Apart", "comparable", "is_apart", "widest"]

APART_K = 2.0
DEADBAND_K = 0.5

# Two probe ids, and how far apart they are in kelvin.
Apart = tuple[str, str, float]


def comparable(probes: tuple[ProbeTerms, ...]) -> tuple[tuple[ProbeTerms, ProbeTerms], ...]:
    """Every pair of an enclosure's probes that should agree."""
    return tuple(
        (one, other)
        for one, other in combinations(probes, 2)
        if one.role is other.role and (one.side is other.side or one.side is None or other.side is None)
    )


def widest(pairs: tuple[tuple[ProbeTerms, ProbeTerms], ...], seen: Mapping[str, Seen], now_s: float) -> Apart | None:
    """The pair of good and fresh probes that is furthest apart; None when no pair can be compared."""
    found: Apart | None = None
    for one, other in pairs:
        a, b = seen.get(one.id), seen.get(other.id)
        if a is None or b is None or a.quality is not Quality.GOOD or b.quality is not Quality.GOOD:
            continue
        if a.value_c is None or b.value_c is None:
            continue
        if now_s - a.taken_s > one.stale_s or now_s - b.taken_s > other.stale_s:
            continue
        apart_k = abs(a.value_c - b.value_c)
        if found is None or apart_k > found[2]:
            found = (one.id, other.id, apart_k)
    return found


def is_apart(apart: Apart | None, before: bool) -> bool | None:
    """Do they disagree? None when no two can be compared. `before`: the last known answer."""
    if apart is None:
        return None
    return apart[2] >= (APART_K - DEADBAND_K if before else APART_K)
