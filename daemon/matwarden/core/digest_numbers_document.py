"""A mat's numbers and the comparison with earlier days as JSON-able values; SI units in the key names. Pure."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from matwarden.core.digest_compare import Against
from matwarden.core.digest_heat import HeatUse, RelayLife, Reserve

__all__ = ["against_document", "heat_document"]

_DECIMALS = 3


def heat_document(heat: HeatUse | None, relay: RelayLife | None, reserve: Reserve | None) -> dict[str, Any] | None:
    """None without a mat. `reserve` is that of the room's coldest six hours, `from_s` after the window's start."""
    if heat is None:
        return None
    return {
        "allowed_share": None if heat.allowed_share is None else round(heat.allowed_share, _DECIMALS),
        "operations": heat.operations,
        "relay": None if relay is None else _relay(relay),
        "reserve": None if reserve is None else _rounded(asdict(reserve)),
    }


def against_document(against: Against) -> dict[str, Any]:
    """Usual values, and in `less_usual` what the night has more of (negative: less)."""
    off = {
        "lowest_k": against.lowest_k,
        "mean_k": against.mean_k,
        "in_band_share": against.in_band_off_share,
        "below_kh": against.below_off_kh_per_day,
        "above_kh": against.above_off_kh_per_day,
        "heat_share": against.heat_off_share,
    }
    usual = {
        "lowest_c": against.lowest_c,
        "mean_c": against.mean_c,
        "in_band_share": against.in_band_share,
        "below_kh": against.below_kh_per_day,
        "above_kh": against.above_kh_per_day,
        "heat_share": against.heat_share,
        "missing_s": against.missing_s,
    }
    return {
        "days": against.days,
        "of_days": against.asked_days,
        "usual_per_day": _rounded(usual),
        "less_usual": _rounded(off),
    }


def _relay(relay: RelayLife) -> dict[str, Any]:
    used = {"used_share": relay.used_share, "left_years": relay.years_left}
    # Of a hundred thousand operations each counts.
    return {"operations": relay.operations, "rated_operations": relay.rated, **_rounded(used, 5)}


def _rounded(values: dict[str, Any], decimals: int = _DECIMALS) -> dict[str, Any]:
    return {key: None if value is None else round(value, decimals) for key, value in values.items()}
