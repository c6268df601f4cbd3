"""A tub's humidity as the digest's document holds it: SI units in the key names, None for what is not known. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from matwarden.core.exposure import Extreme
from matwarden.core.humidity import HumidityNight, SidesNight
from matwarden.core.units import rfc3339_z

__all__ = ["humidity_document", "sides_document"]

_DECIMALS = 3


def humidity_document(nights: Iterable[HumidityNight]) -> list[dict[str, Any]]:
    """Every place where humidity was read: relative humidity, dew point, vapour-pressure deficit."""
    return [
        {
            "role": each.role.value,
            "side": None if each.side is None else each.side.value,
            "lowest": _extreme(each.lowest_pct, "pct"),
            "highest": _extreme(each.highest_pct, "pct"),
            "mean_pct": _rounded(each.mean_pct),
            "dew_point": {"lowest": _extreme(each.dew_lowest_c, "c"), "highest": _extreme(each.dew_highest_c, "c")},
            "vapour_pressure_deficit": {
                "lowest": _extreme(each.deficit_lowest_kpa, "kpa"),
                "highest": _extreme(each.deficit_highest_kpa, "kpa"),
                "mean_kpa": _rounded(each.deficit_mean_kpa),
            },
        }
        for each in nights
    ]


def sides_document(sides: SidesNight | None) -> dict[str, Any] | None:
    """The moist side against the dry one; None where they cannot be compared."""
    if sides is None:
        return None
    return {
        "role": sides.role.value,
        "difference_pct": _rounded(sides.difference_pct),
        "dry_moister_share": _rounded(sides.dry_moister_share),
        "known_s": _rounded(sides.known_s),
    }


def _extreme(extreme: Extreme | None, unit: str) -> dict[str, Any] | None:
    if extreme is None:
        return None
    return {f"value_{unit}": _rounded(extreme.value), "at": rfc3339_z(extreme.wall_s)}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, _DECIMALS)
