"""What a fitted tub would have done in a place: values that `matwarden.analysis.siting` finds and a report shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

from matwarden.core.siting import Siting
from matwarden.terms import Band

__all__ = ["InTub", "Likely", "NeedsHeat", "needs_heat", "ranked_by_tub"]


class Likely(NamedTuple):
    """A number, and the interval that holds the truth nine times in ten."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class InTub:
    """The inside of a fitted tub, had it stood in a place.

    Attributes:
        lowest_c, highest_c: degrees Celsius, without heat.
        below_share, below_kh_per_day, above_kh_per_day: of the band, without heat.
        heat_share: of the time for which its thermostat would have allowed heat, 0 to 1.
        energy_wh_per_day: None: the mat's watts are not known.
        not_held_h: hours under the band although it was heated.
        counted_s: the time that all of this is of.
        setpoint_c: what the thermostat was asked for.
        other_probe: the place was read by another probe than the room of the fit, and what two
            probes may differ by is in the intervals.
    """

    lowest_c: Likely
    highest_c: Likely
    below_share: Likely
    below_kh_per_day: Likely
    above_kh_per_day: Likely
    heat_share: Likely
    energy_wh_per_day: Likely | None
    not_held_h: Likely
    counted_s: float
    setpoint_c: float
    other_probe: bool


class NeedsHeat(StrEnum):
    """Whether a tub would have needed heat there."""

    NO = "no"
    PERHAPS = "perhaps"  # the band's edge lies in the interval of its lowest
    YES = "yes"


def needs_heat(tub: InTub, band: Band) -> NeedsHeat:
    """By the interval of the lowest it would have read without heat."""
    if tub.lowest_c.low >= band.low_c:
        return NeedsHeat.NO
    return NeedsHeat.YES if tub.lowest_c.high < band.low_c else NeedsHeat.PERHAPS


def ranked_by_tub(found: Siting, tubs: Mapping[str, InTub]) -> Siting:
    """The same places in the order of what the tub would have had there without heat: least out of the band first.

    Of places that keep it, the one in which the tub stays furthest from the band's edges. All must be in `tubs`.
    """

    def rank(id: str) -> tuple[float, float]:
        tub = tubs[id]
        spare_k = min(tub.lowest_c.value - found.band.low_c, found.band.high_c - tub.highest_c.value)
        return tub.below_kh_per_day.value + tub.above_kh_per_day.value, -spare_k

    return replace(found, places=tuple(sorted(found.places, key=lambda place: rank(place.id))))
