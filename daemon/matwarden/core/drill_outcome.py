"""What a fault did to a drilled tub, from how it truly was. Pure.

Survivable means: as far as heat goes, were nobody to come. A tub is not, once its inside has stood above 29.4 C (85 F)
for an hour; "not above this for long" is common practice, no source, and the hour is ours, that of the alarms. Cold
is told by how long it lasts: it kills slowly (a steady 22.2 C and less, common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from matwarden.terms import Band

__all__ = ["HOT_C", "Look", "Outcome", "Outlook", "Peak", "outcome_of", "strike_at"]

HOT_C = 85.0 * 5.0 / 9.0 - 160.0 / 9.0
TOO_LONG_S = 3600.0
# So near to the hottest wall of the healthy run counts as the hottest, K.
_NEAR_K = 0.3


class Look(NamedTuple):
    """A tub as it truly is at one moment: seconds from the start, degrees Celsius, and whether its mat has power."""

    t_s: float
    wall_c: float
    inside_c: float
    room_c: float
    powered: bool


class Peak(NamedTuple):
    """An extreme, and how long after the fault it was reached."""

    value_c: float
    after_s: float


class Outlook(StrEnum):
    """How it goes for the animals if nobody comes."""

    WELL = "survivable"
    COLD = "survivable, cold"
    WARM = "survivable, warm"
    HOT = "NOT survivable"


@dataclass(frozen=True, slots=True)
class Outcome:
    """After the fault.

    Attributes:
        cold_s, warm_s: longest time on end with the inside under its band, over it. hot_s: over 29.4 C.
        powered_past_s: for how long the mat had power while the wall was past its limiter; None: no mat.
    """

    wall: Peak
    inside: Peak
    lowest: Peak
    cold_s: float
    warm_s: float
    hot_s: float
    powered_past_s: float | None
    outlook: Outlook


def strike_at(looks: Sequence[Look], from_s: float, until_s: float) -> tuple[Look, bool]:
    """When the fault strikes, from a run without it: the wall at its hottest with the mat on, in the coldest room.

    Args:
        from_s, until_s: between these. Of equals the first.

    Returns: that moment, and whether the mat is on then. Where it never is, the coldest room's moment.
    """
    there = [look for look in looks if from_s <= look.t_s <= until_s]
    heated = [look for look in there if look.powered]
    if not heated:
        return min(there, key=lambda look: (look.room_c, look.t_s)), False
    hottest_c = max(look.wall_c for look in heated)
    hot = [look for look in heated if look.wall_c >= hottest_c - _NEAR_K]
    return min(hot, key=lambda look: (round(look.room_c, 3), look.t_s)), True


def outcome_of(looks: Sequence[Look], struck_s: float, band: Band, limiter_c: float | None) -> Outcome:
    """What came of it. `looks`: of the run with the fault, at least one of them after it."""
    after = [look for look in looks if look.t_s >= struck_s]
    wall, inside = max(after, key=lambda look: look.wall_c), max(after, key=lambda look: look.inside_c)
    lowest = min(after, key=lambda look: look.inside_c)
    cold_s = _longest_s(after, lambda look: look.inside_c < band.low_c)
    warm_s = _longest_s(after, lambda look: look.inside_c > band.high_c)
    hot_s = _longest_s(after, lambda look: look.inside_c > HOT_C)
    past_s = None
    if limiter_c is not None:
        past_s = sum(
            then.t_s - now.t_s
            for now, then in zip(after, after[1:], strict=False)
            if now.powered and now.wall_c >= limiter_c
        )
    outlook = Outlook.WELL
    if hot_s >= TOO_LONG_S:
        outlook = Outlook.HOT
    elif warm_s >= TOO_LONG_S:
        outlook = Outlook.WARM
    elif cold_s >= TOO_LONG_S:
        outlook = Outlook.COLD
    return Outcome(
        Peak(wall.wall_c, wall.t_s - struck_s),
        Peak(inside.inside_c, inside.t_s - struck_s),
        Peak(lowest.inside_c, lowest.t_s - struck_s),
        cold_s,
        warm_s,
        hot_s,
        past_s,
        outlook,
    )


def _longest_s(looks: Sequence[Look], so: Callable[[Look], bool]) -> float:
    """The longest time on end for which it was so."""
    longest_s, since_s = 0.0, None
    for look in looks:
        if not so(look):
            since_s = None
            continue
        since_s = look.t_s if since_s is None else since_s
        longest_s = max(longest_s, look.t_s - since_s)
    return longest_s
