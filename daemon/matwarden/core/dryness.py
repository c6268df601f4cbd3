"""Is a tub's air too dry where it should be moist? By its vapour-pressure deficit. Pure.

The law: only a humidity that came with its own temperature is known; without one nothing is dry. The moist side counts,
or a probe whose side nobody told; a dry side is meant to be dry.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from matwarden.core.moist_air import vapour_pressure_deficit_kpa
from matwarden.terms import AlarmTimes, ProbeTerms, Reading, Role, Side

__all__ = ["DEADBAND_KPA", "Air", "air_of", "counting", "driest", "is_dry"]

# At 25 C what 6 % more humidity makes: a cheap probe's 2 to 5 % must not end and begin it again (ours, no source).
DEADBAND_KPA = 0.2


class Air(NamedTuple):
    """The air at one probe."""

    deficit_kpa: float
    humidity_pct: float
    temperature_c: float


def counting(probes: Iterable[ProbeTerms], times: AlarmTimes) -> tuple[ProbeTerms, ...]:
    """The probes that can tell that it is too dry, if they measure humidity; none where the alarm is off."""
    if times.too_dry_kpa is None:
        return ()
    return tuple(probe for probe in probes if probe.role is Role.AIR and probe.side is not Side.DRY)


def air_of(reading: Reading | None, stale_s: float, now_s: float) -> Air | None:
    """What a probe's last good reading tells of the air now; None: no humidity, or too old."""
    if reading is None or reading.humidity_pct is None or now_s - reading.at.mono_s > stale_s:
        return None
    celsius, humidity_pct = reading.temperature_c, reading.humidity_pct
    return Air(vapour_pressure_deficit_kpa(celsius, humidity_pct), humidity_pct, celsius)


def driest(airs: Iterable[Air | None]) -> Air | None:
    """Of several probes the one with the largest deficit: one that says 100 % for ever hides nothing."""
    return max((air for air in airs if air is not None), default=None)


def is_dry(air: Air | None, limit_kpa: float, before: bool) -> bool | None:
    """At or over the limit, and until it is less by the deadband; None when nothing is known.

    Args:
        before: the last known answer (an alarm's memory keeps it as `condition`).
    """
    if air is None:
        return None
    return air.deficit_kpa > limit_kpa - DEADBAND_KPA if before else air.deficit_kpa >= limit_kpa
