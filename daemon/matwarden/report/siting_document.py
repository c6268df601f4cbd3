"""The comparison of places for scripts: SI units in the names, times in UTC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from matwarden.core.exposure import Extreme, Spell
from matwarden.core.in_tub import InTub, Likely, needs_heat
from matwarden.core.siting import PlaceFound, PlaceMeasured, Siting, needs_no_heat
from matwarden.core.units import rfc3339_z
from matwarden.terms import Enclosure

__all__ = ["siting_document"]


def siting_document(found: Siting, tub: Enclosure, tubs: Mapping[str, InTub] | None = None) -> dict[str, Any]:
    """Places in their order, the best first."""
    tubs = tubs or {}
    return {
        "band_c": [found.band.low_c, found.band.high_c],
        "band_of": tub.id,
        "from": rfc3339_z(found.from_wall_s) if found.places else None,
        "to": rfc3339_z(found.to_wall_s) if found.places else None,
        "shared_s": round(found.shared_s, 3),
        "places": [_place(each, tubs.get(each.id), found) for each in found.places],
        "refused": [
            {"probe": each.id, "why": each.why.value, "known_s": round(each.known_s, 3)} for each in found.refused
        ],
        "limiting": None
        if found.limiting is None
        else {"probe": found.limiting[0], "shared_without_it_s": round(found.limiting[1], 3)},
    }


def _place(place: PlaceFound, tub: InTub | None, found: Siting) -> dict[str, Any]:
    return {
        "probe": place.id,
        "needs_no_heat": needs_no_heat(place),
        "shared": _measured(place.shared),
        "own": {
            "from": rfc3339_z(place.own_from_wall_s),
            "to": rfc3339_z(place.own_to_wall_s),
            "unread_share": round(place.unread_share, 4),
            "longest_gap_s": round(place.longest_gap_s, 3),
            **_measured(place.own),
        },
        "tub": None if tub is None else {"needs_heat": needs_heat(tub, found.band).value, **_tub(tub)},
    }


def _measured(place: PlaceMeasured) -> dict[str, Any]:
    drops = place.drops
    return {
        "known_s": round(place.known_s, 3),
        "below_s": round(place.below_s, 3),
        "in_band_s": round(place.in_band_s, 3),
        "above_s": round(place.above_s, 3),
        "in_band_share": round(place.in_band_share, 4),
        "below_kh": round(place.below_kh, 4),
        "above_kh": round(place.above_kh, 4),
        "below_kh_per_day": round(place.below_kh_per_day, 4),
        "above_kh_per_day": round(place.above_kh_per_day, 4),
        "mean_c": round(place.mean_c, 3),
        "lowest": _extreme(place.lowest),
        "highest": _extreme(place.highest),
        "longest_below": _spell(place.longest_below),
        "longest_above": _spell(place.longest_above),
        "night_drop": None
        if drops is None
        else {
            "nights": drops.n,
            "mean_k": round(drops.mean_k, 3),
            "largest_k": round(drops.largest_k, 3),
            "largest_from": rfc3339_z(drops.largest_wall_s),
        },
    }


def _extreme(extreme: Extreme) -> dict[str, Any]:
    return {"value_c": extreme.value, "at": rfc3339_z(extreme.wall_s)}


def _spell(spell: Spell | None) -> dict[str, Any] | None:
    return None if spell is None else {"from": rfc3339_z(spell.start_wall_s), "lasts_s": round(spell.lasts_s, 3)}


def _tub(tub: InTub) -> dict[str, Any]:
    def shown(value: Any) -> Any:
        if isinstance(value, Likely):
            return {"value": round(value.value, 4), "low": round(value.low, 4), "high": round(value.high, 4)}
        return value

    return {field.name: shown(getattr(tub, field.name)) for field in fields(tub)}
