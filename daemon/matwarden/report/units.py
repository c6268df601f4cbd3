"""How numbers and times are shown to a person. The pure half lives in `matwarden.core.units`; here it meets a zone."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from matwarden.core.units import (
    difference_text,
    difference_value,
    duration_text,
    parse_rfc3339,
    rfc3339_z,
    temperature_text,
    temperature_value,
)

__all__ = [
    "date_text",
    "difference_text",
    "difference_value",
    "duration_text",
    "local_clock",
    "local_day",
    "local_day_and_clock",
    "parse_rfc3339",
    "rfc3339_z",
    "temperature_text",
    "temperature_value",
    "utc_offset_s",
]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# strftime's names follow the machine's locale; a text must not.
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def local_clock(wall_s: float, zone: ZoneInfo) -> str:
    """The time of day in `zone`, such as "06:10", cut down to the minute."""
    return _local(wall_s, zone).strftime("%H:%M")


def local_day(wall_s: float, zone: ZoneInfo) -> str:
    """The day in `zone`, such as "15 Jan"."""
    local = _local(wall_s, zone)
    return f"{local.day} {_MONTHS[local.month - 1]}"


def local_day_and_clock(wall_s: float, zone: ZoneInfo) -> str:
    """Day and time of day in `zone`, such as "15 Jan 06:10"."""
    local = _local(wall_s, zone)
    return f"{local.day} {_MONTHS[local.month - 1]} {local.strftime('%H:%M')}"


def date_text(day: date) -> str:
    """A date such as "15 Jan 2026"."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def utc_offset_s(wall_s: float, zone: ZoneInfo) -> float:
    """How far local time in `zone` is ahead of UTC at that instant."""
    offset = _local(wall_s, zone).utcoffset()
    return 0.0 if offset is None else offset.total_seconds()


def _local(wall_s: float, zone: ZoneInfo) -> datetime:
    return (_EPOCH + timedelta(seconds=wall_s)).astimezone(zone)
