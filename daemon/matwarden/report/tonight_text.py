"""The digest's line about the coming night: only of places whose intervals have earned it."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from matwarden.core.tonight import ROOM, Place, Tonight
from matwarden.report.units import local_clock, temperature_value
from matwarden.terms import Unit

__all__ = ["tonight_lines"]

_NAMED_AT_MOST = 2


def tonight_lines(tonight: Tonight, unit: Unit, zone: ZoneInfo) -> list[str]:
    """One line, or none: the room, and of the tubs those that may fall under their band, the coldest first."""
    earned = [place for place in tonight.places if place.record.earned]
    room = [place for place in earned if place.id == ROOM]
    cold = sorted((place for place in earned if _under_k(place) > 0.0), key=_under_k, reverse=True)
    told = [*room, *cold[:_NAMED_AT_MOST]]
    if not told:
        return []
    span = f"{local_clock(tonight.from_wall_s, zone)} to {local_clock(tonight.until_wall_s, zone)}"
    places = [_place(place, unit) for place in told]
    if len(cold) > _NAMED_AT_MOST:
        places.append(f"{len(cold) - _NAMED_AT_MOST} more under their bands")
    held = min((place.record for place in told), key=lambda each: each.held / each.nights)
    return [f"Tonight, {span}, lowest: {', '.join(places)} (right in {held.held} of the last {held.nights} nights)"]


def _under_k(place: Place) -> float:
    return 0.0 if place.band_low_c is None else place.band_low_c - place.interval.low_c


def _place(place: Place, unit: Unit) -> str:
    low, high = (temperature_value(each, unit) for each in (place.interval.low_c, place.interval.high_c))
    return f"{place.name} {low:.1f} to {high:.1f} °{unit.value}"
