"""Numbers as a keeper reads them, and instants as RFC 3339 writes them. Pure text; no clock, no zone.

Values come in SI; the keeper's unit is chosen here and nowhere earlier. A difference converts without the 32.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

from matwarden.terms import Unit

__all__ = [
    "difference_text",
    "difference_value",
    "duration_text",
    "rfc3339_z",
    "temperature_text",
    "temperature_value",
]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


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


def _decimal(value: float) -> str:
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text
