"""Many tubs at once: one cause, one message. Pure.

The law: together begins only at the moment at which one of the tubs would ring by itself, so nothing rings later for
it, and at most a minute earlier. A tub counts when its own condition has stood for half its delay: a tub that is only
just out is no witness.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from matwarden.core.units import temperature_text
from matwarden.terms import Unit

__all__ = ["Member", "is_together", "listed", "worst_of"]

# As many tubs are named in a message; the rest is a number.
_NAMED_N = 5


class Member(NamedTuple):
    """One tub, in the view of one kind of alarm.

    Attributes:
        out: its condition is true now. well_on: it has been for half its delay at least. nears: it is about to ring by
        itself. out_for_s: for how long. now_c: its inside temperature; None when unknown.
    """

    name: str
    out: bool
    well_on: bool
    nears: bool
    out_for_s: float
    now_c: float | None


def is_together(members: Sequence[Member], standing: bool, least_n: int) -> bool:
    """Do many tubs ring as one? `standing`: they did at the last look; they go on until no more than one is out."""
    if standing:
        return sum(member.out for member in members) > 1
    return any(member.nears for member in members) and sum(member.well_on for member in members) >= least_n


def listed(members: Sequence[Member], unit: Unit) -> str:
    """The tubs that are out, with their temperatures: "Oak 20.1 °C, Alder 20.4 °C and 3 more"."""
    out = [member for member in members if member.out]
    shown = [
        member.name if member.now_c is None else f"{member.name} {temperature_text(member.now_c, unit)}"
        for member in out[:_NAMED_N]
    ]
    more = len(out) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def worst_of(members: Sequence[Member], hottest: bool) -> float | None:
    """The most extreme temperature of the tubs that are out."""
    values = [member.now_c for member in members if member.out and member.now_c is not None]
    if not values:
        return None
    return max(values) if hottest else min(values)
