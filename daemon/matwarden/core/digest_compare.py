"""One night against the local days before it. Pure: the store's daily sums in, their means and the differences out.

Days are taken as they were read: a missing hour counts in no mean and in no share, and is said beside them. What is
"per day" is per 24 read hours, so that a day of 23 or 25 hours, or one half missed, compares with any other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import time, timedelta
from zoneinfo import ZoneInfo

from matwarden.core.dates import instant, local_date
from matwarden.core.digest_heat import HeatUse
from matwarden.core.exposure import Exposure
from matwarden.core.sums import TubSum

__all__ = ["SPANS_DAYS", "Against", "against", "days_before"]

SPANS_DAYS = (7, 30)
_DAY_S = 86400.0
_MIDNIGHT = time(0, 0)


@dataclass(frozen=True, slots=True)
class Against:
    """What was usual in the last local days, and how the night differs: positive where the night has more of it.

    Attributes:
        asked_days: how many days were asked for. days: of how many of them anything was read.
        missing_s: of the days counted, the time that was not read.
        lowest_c: mean of the days' lowest. mean_c: weighted by time.
        in_band_share: of the time read. below_kh_per_day, above_kh_per_day: kelvin-hours in 24 read hours.
        heat_share: of the time read, as heat is never allowed unread; None without a mat.
        lowest_k, mean_k, in_band_off_share, below_off_kh_per_day, above_off_kh_per_day, heat_off_share: the night less
            the days, None where either is not known.
    """

    asked_days: int
    days: int
    missing_s: float
    lowest_c: float
    mean_c: float
    in_band_share: float
    below_kh_per_day: float
    above_kh_per_day: float
    heat_share: float | None
    lowest_k: float | None
    mean_k: float | None
    in_band_off_share: float | None
    below_off_kh_per_day: float | None
    above_off_kh_per_day: float | None
    heat_off_share: float | None


def days_before(from_wall_s: float, days: int, zone: ZoneInfo) -> tuple[float, float]:
    """From when until when the last whole local days before a window last: none of them overlaps the window."""
    first = local_date(from_wall_s, zone)
    return instant(first - timedelta(days=days), _MIDNIGHT, zone), instant(first, _MIDNIGHT, zone)


def against(inside: Exposure, heat: HeatUse | None, days: Sequence[TubSum], asked_days: int) -> Against | None:
    """A tub's window against some of the days before it; None when of none of them anything was read.

    Args:
        inside: the window's inside temperature. heat: its heat, None without a mat.
        days: the tub's daily sums, at most one for each day asked for.
    """
    read = [
        (day, lowest, mean) for day in days if (lowest := day.lowest) is not None and (mean := day.mean) is not None
    ]
    known_s = sum(_known_s(day) for day, _, _ in read)
    if not known_s:
        return None
    lowest_c = sum(lowest.value for _, lowest, _ in read) / len(read)
    mean_c = sum(mean * _known_s(day) for day, _, mean in read) / known_s
    in_band_share = sum(day.in_band_s for day, _, _ in read) / known_s
    below, above = (
        sum(kh) / known_s * _DAY_S for kh in zip(*((d.below_kh, d.above_kh) for d, _, _ in read), strict=True)
    )
    warmed = [(allowed_s, _known_s(day)) for day, _, _ in read if (allowed_s := day.allowed_s) is not None]
    heat_share = sum(allowed_s for allowed_s, _ in warmed) / sum(known_s for _, known_s in warmed) if warmed else None
    night_s = inside.below_s + inside.in_band_s + inside.above_s
    night_heat = None if heat is None else heat.allowed_share
    return Against(
        asked_days=asked_days,
        days=len(read),
        missing_s=sum(day.missing_s for day, _, _ in read),
        lowest_c=lowest_c,
        mean_c=mean_c,
        in_band_share=in_band_share,
        below_kh_per_day=below,
        above_kh_per_day=above,
        heat_share=heat_share,
        lowest_k=None if inside.lowest is None else inside.lowest.value - lowest_c,
        mean_k=None if inside.mean is None else inside.mean - mean_c,
        in_band_off_share=inside.in_band_s / night_s - in_band_share if night_s else None,
        below_off_kh_per_day=inside.below_kh / night_s * _DAY_S - below if night_s else None,
        above_off_kh_per_day=inside.above_kh / night_s * _DAY_S - above if night_s else None,
        heat_off_share=None if night_heat is None or heat_share is None else night_heat - heat_share,
    )


def _known_s(day: TubSum) -> float:
    return day.below_s + day.in_band_s + day.above_s
