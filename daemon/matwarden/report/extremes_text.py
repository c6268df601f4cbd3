"""Lowest and highest of every series, place by place: two lines to a probe, in 80 columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.core.dates import local_date
from matwarden.core.exposure import Extreme
from matwarden.core.record import SeriesKey
from matwarden.core.sums import SeriesSum
from matwarden.core.units import duration_text, rfc3339_z, temperature_text
from matwarden.report.units import date_text, local_clock
from matwarden.terms import ProbeTerms, Quantity, Unit

__all__ = ["extremes_document", "extremes_text"]

Places = Mapping[str, Sequence[ProbeTerms]]
Found = Mapping[SeriesKey, tuple[Extreme, Extreme]]
Days = Mapping[SeriesKey, Sequence[SeriesSum]]


def extremes_text(places: Places, found: Found, days: Days, unit: Unit, zone: ZoneInfo) -> str:
    """All lines. Mean and missing time are those of the days that are over."""
    lines = []
    for place, probes in places.items():
        lines.append(place)
        for probe in probes:
            for quantity in Quantity:
                pair = found.get((probe.id, quantity))
                if pair is None:
                    if quantity is Quantity.TEMPERATURE:
                        lines.append(f"  {_what(probe)}: not read")
                    continue
                low, high = (f"{_value(each.value, quantity, unit)} ({_when(each.wall_s, zone)})" for each in pair)
                lines.append(f"  {_what(probe)}{'' if quantity is Quantity.TEMPERATURE else ', humidity'}: {low}")
                lines.append(f"    to {high}{_mean(days.get((probe.id, quantity), ()), quantity, unit)}")
    return "\n".join(lines)


def extremes_document(places: Places, found: Found, days: Days) -> dict[str, Any]:
    """For scripts: SI units in the names, times in UTC."""
    series = []
    for probes in places.values():
        for probe in probes:
            for quantity in Quantity:
                pair = found.get((probe.id, quantity))
                if pair is None:
                    continue
                unit = "c" if quantity is Quantity.TEMPERATURE else "pct"
                known_s, missing_s, mean = _over(days.get((probe.id, quantity), ()))
                series.append(
                    {
                        "probe": probe.id,
                        "enclosure": probe.enclosure,
                        "role": probe.role.value,
                        "side": None if probe.side is None else probe.side.value,
                        "quantity": quantity.value,
                        "lowest": {f"value_{unit}": pair[0].value, "at": rfc3339_z(pair[0].wall_s)},
                        "highest": {f"value_{unit}": pair[1].value, "at": rfc3339_z(pair[1].wall_s)},
                        "whole_days": {
                            f"mean_{unit}": None if mean is None else round(mean, 3),
                            "known_s": round(known_s, 3),
                            "missing_s": round(missing_s, 3),
                        },
                    }
                )
    return {"series": series}


def _over(days: Sequence[SeriesSum]) -> tuple[float, float, float | None]:
    """Seconds known and missing, and the mean weighted by time."""
    known_s = sum(day.known_s for day in days)
    missing_s = sum(max(0.0, day.lasts_s - day.known_s) for day in days)
    weighted = sum(day.mean * day.known_s for day in days if day.mean is not None)
    return known_s, missing_s, weighted / known_s if known_s else None


def _mean(days: Sequence[SeriesSum], quantity: Quantity, unit: Unit) -> str:
    _, missing_s, mean = _over(days)
    if mean is None:
        return ""
    missing = f", {duration_text(missing_s)} missing" if missing_s >= 60.0 else ""
    return f", mean {_value(mean, quantity, unit)}{missing}"


def _what(probe: ProbeTerms) -> str:
    return probe.role.value if probe.side is None else f"{probe.role.value} {probe.side.value}"


def _value(value: float, quantity: Quantity, unit: Unit) -> str:
    return temperature_text(value, unit) if quantity is Quantity.TEMPERATURE else f"{value:.0f} %"


def _when(wall_s: float, zone: ZoneInfo) -> str:
    return f"{date_text(local_date(wall_s, zone))} {local_clock(wall_s, zone)}"
