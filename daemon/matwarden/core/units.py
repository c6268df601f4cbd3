"""Numbers as a keeper reads them, and instants as RFC 3339 writes them. Pure text; no clock, no zone.

Values come in SI; the keeper's unit is chosen here and nowhere earlier. A difference converts without the 32.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta

from matwarden.terms import Unit

__all__ = [
    "difference_text",
    "difference_value",
    "duration_text",
    "parse_rfc3339",
    "rfc3339_ms_z",
    "rfc3339_z",
    "temperature_text",
    "temperature_value",
]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_RFC3339 = re.compile(r"(\d{4})-(\d\d)-(\d\d)[Tt](\d\d):(\d\d):(\d\d)(\.\d+)?(?:[Zz]|([+-])(\d\d):(\d\d))", re.ASCII)


def temperature_value(celsius_c: float, unit: Unit) -> float:
    """A temperature as a number in the keeper's unit."""
    return celsius_c if unit is Unit.C else celsius_c * 9.0 / 5.0 + 32.0


def difference_value(kelvin_k: float, unit: Unit) -> float:
    """A temperature difference as a number in the keeper's unit: no 32 here."""
    return kelvin_k if unit is Unit.C else kelvin_k * 9.0 / 5.0


def temperature_text(celsius_c: float, unit: Unit) -> str:
    """A temperature to one decimal with its unit, such as "21.3 °C"."""
    return f"{_decimal(temperature_value(celsius_c, unit))} °{unit.value}"


def difference_text(kelvin_k: float, unit: Unit) -> str:
    """A temperature difference to one decimal with its unit, such as "0.5 °C" or "0.9 °F"."""
    return f"{_decimal(difference_value(kelvin_k, unit))} °{unit.value}"


def duration_text(seconds_s: float) -> str:
    """A duration in at most two units: "45 s", "10 min", "5 h 10 min", "3 d 4 h". Cut down, never rounded up.

    Raises:
        ValueError: `seconds_s` is negative, infinite or not a number.
    """
    if not 0.0 <= seconds_s < math.inf:
        raise ValueError(f"a duration is zero or more seconds, not {seconds_s}")
    # A sum of poll intervals may come out a hair under the round number it means.
    whole_s = int(seconds_s + 1e-6)
    if whole_s < 60:
        return f"{whole_s} s"
    minutes = whole_s // 60
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    days, hours = divmod(hours, 24)
    return f"{days} d {hours} h" if hours else f"{days} d"


def rfc3339_z(wall_s: float) -> str:
    """UTC seconds since 1970 as RFC 3339 with `Z`, whole seconds (cut down): "2026-01-15T06:30:00Z".

    Raises:
        ValueError: the instant lies outside the years 0001 to 9999, which RFC 3339 cannot write.
    """
    try:
        instant = _EPOCH + timedelta(seconds=math.floor(wall_s))
    except (OverflowError, ValueError) as error:
        raise ValueError(f"{wall_s} seconds since 1970 is outside the years RFC 3339 can write") from error
    return instant.strftime("%Y-%m-%dT%H:%M:%SZ").rjust(20, "0")


def rfc3339_ms_z(wall_s: float) -> str:
    """As `rfc3339_z`, to the millisecond: "2026-01-15T06:30:00.125Z".

    Raises:
        ValueError: as `rfc3339_z`.
    """
    whole_ms = round(wall_s * 1000.0)
    return f"{rfc3339_z(whole_ms // 1000)[:-1]}.{whole_ms % 1000:03d}Z"


def parse_rfc3339(text: str) -> float:
    """UTC seconds since 1970 of an RFC 3339 date-time. A leap second (23:59:60 UTC) is the second after :59.

    Raises:
        ValueError: not RFC 3339 (ISO 8601 allows much more), or no such date or time.
    """
    wrong = ValueError(f"{text!r} is not a time such as 2026-01-15T06:30:00Z")
    found = _RFC3339.fullmatch(text)
    if found is None:
        raise wrong
    year, month, day, hour, minute, second = (int(found[n]) for n in range(1, 7))
    offset_h, offset_min = int(found[9] or 0), int(found[10] or 0)
    if second > 60 or offset_h > 23 or offset_min > 59:
        raise wrong
    try:
        local = datetime(year, month, day, hour, minute, min(second, 59), tzinfo=UTC)
    except ValueError:
        raise wrong from None
    offset_s = (3600 * offset_h + 60 * offset_min) * (-1 if found[8] == "-" else 1)
    whole_s = (local - _EPOCH).total_seconds() - offset_s
    if second == 60:
        if whole_s % 86400 != 86399:
            raise wrong
        whole_s += 1.0
    return whole_s + float(found[7] or 0.0)


def _decimal(value: float) -> str:
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text
