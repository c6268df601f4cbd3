"""The digest's lines about a mat near its limit, a relay near its end, and a night unlike those before it.

A phone's screen is small: each line is there only when it has something to say.
"""

from __future__ import annotations

from collections.abc import Sequence

from matwarden.core.digest_compare import Against
from matwarden.core.digest_heat import RelayLife, Reserve
from matwarden.core.halves import Half
from matwarden.report.units import difference_value, duration_text, temperature_value
from matwarden.terms import Unit

__all__ = ["against_lines", "halves_lines", "relay_lines", "reserve_lines"]

# What is worth a line; each figure is in the document whether it has one or not.
_NEAR_K, _NEAR_SHARE = 2.0, 0.9
_APART_K = 1.0
_LOWEST_OFF_K, _MEAN_OFF_K, _SHARE_OFF = 0.5, 0.5, 0.1
_MISSING_SHARE = 0.05
_OLD_SHARE, _SOON_YEARS = 0.5, 1.0
_DAY_S = 86400.0
# One day or two are no habit: they stand in the document, and are not told.
_DAYS_TOLD = 3


def halves_lines(night: Half, day: Half, unit: Unit) -> list[str]:
    """Night against day, where their means are a kelvin or more apart."""
    if night.mean is None or day.mean is None or night.lowest is None or day.lowest is None:
        return []
    if abs(night.mean - day.mean) < _APART_K:
        return []
    means = [f"{temperature_value(half.mean or 0.0, unit):.1f}" for half in (night, day)]
    return [f"  night mean {means[0]}, day mean {means[1]} °{unit.value}"]


def reserve_lines(reserve: Reserve | None, unit: Unit) -> list[str]:
    """How much colder the room could be, where that is little."""
    if reserve is None:
        return []
    if reserve.spare_k is not None and (reserve.spare_k < _NEAR_K or reserve.heat_share > _NEAR_SHARE):
        return [
            f"  mat near its limit: another {difference_value(reserve.spare_k, unit):.1f} °{unit.value} colder"
            " and it cannot hold"
        ]
    if reserve.heat_share > _NEAR_SHARE:
        return [f"  mat at its limit: heat {reserve.heat_share * 100.0:.0f} % of the coldest 6 h"]
    return []


def relay_lines(relay: RelayLife | None) -> list[str]:
    """The relay's life, where half of it is gone or it will be within a year."""
    if relay is None:
        return []
    soon = relay.years_left is not None and relay.years_left < _SOON_YEARS
    if relay.used_share < _OLD_SHARE and not soon:
        return []
    told = f"  relay: {relay.used_share * 100.0:.0f} % of its life used"
    if relay.years_left is not None and relay.used_share < 1.0:
        years = relay.years_left
        left = f"{years:.0f} years" if years >= 2.0 else f"{years * 12.0:.0f} months"
        told += f", {left} left at this pace"
    return [told]


def against_lines(every: Sequence[Against], unit: Unit) -> list[str]:
    """What is unlike the last days: a line for each span, but none for a longer one that has no more days."""
    told: list[str] = []
    days = 0
    for each in every:
        if each.days < _DAYS_TOLD:
            continue
        unlike = _unlike(each, unit) if each.days > days else []
        days = max(days, each.days)
        if unlike:
            of = "the" if each.days == each.asked_days else f"{each.days} of the"
            told.append(f"  against {of} last {each.asked_days} days: {', '.join(unlike)}{_missing(each)}")
    return told


def _unlike(each: Against, unit: Unit) -> list[str]:
    found = []
    if each.lowest_k is not None and abs(each.lowest_k) >= _LOWEST_OFF_K:
        found.append(f"lowest {difference_value(each.lowest_k, unit):+.1f} °{unit.value}")
    if each.mean_k is not None and abs(each.mean_k) >= _MEAN_OFF_K:
        found.append(f"mean {difference_value(each.mean_k, unit):+.1f} °{unit.value}")
    if each.in_band_off_share is not None and abs(each.in_band_off_share) >= _SHARE_OFF:
        found.append(f"in band {each.in_band_off_share * 100.0:+.0f} points")
    if each.heat_off_share is not None and abs(each.heat_off_share) >= _SHARE_OFF:
        found.append(f"heat {each.heat_off_share * 100.0:+.0f} points")
    return found


def _missing(each: Against) -> str:
    """Hours of the counted days that nobody read."""
    if each.missing_s < _MISSING_SHARE * each.days * _DAY_S:
        return ""
    return f"; {duration_text(each.missing_s)} of them not read"
