"""`--from` and `--to` of a command: local dates and times, RFC 3339, or so long ago."""

from __future__ import annotations

import argparse
import re
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from matwarden.core.dates import instant
from matwarden.core.units import parse_rfc3339

__all__ = ["RangeError", "add_range_arguments", "moment"]

_AGO = re.compile(r"(\d+(?:\.\d+)?)(min|h|d)", re.ASCII)
_SECONDS = {"min": 60.0, "h": 3600.0, "d": 86_400.0}
_LOCAL = re.compile(r"(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d)?))?", re.ASCII)
_WHAT = "a local time (2026-01-14, 2026-01-14T22:00), RFC 3339 with its offset, or so long ago (12h, 7d)"


class RangeError(ValueError):
    """A time that cannot be understood, in words."""


def add_range_arguments(sub: argparse.ArgumentParser, default_from: str) -> None:
    """The options `--from` and `--to`."""
    sub.add_argument("--from", dest="since", metavar="TIME", help=f"{_WHAT}; default: {default_from}")
    sub.add_argument("--to", dest="until", metavar="TIME", help="the same; default: now")


def moment(text: str, zone: ZoneInfo, now_wall_s: float, end: bool = False) -> float:
    """UTC seconds of what somebody wrote.

    Args:
        end: a date alone means its end, and not its beginning.

    Raises:
        RangeError: it is no time.
    """
    ago = _AGO.fullmatch(text)
    if ago is not None:
        return now_wall_s - float(ago[1]) * _SECONDS[ago[2]]
    local = _LOCAL.fullmatch(text)
    try:
        if local is None:
            return parse_rfc3339(text)
        day = date.fromisoformat(local[1])
        if local[2] is not None:
            return instant(day, datetime.strptime(local[2][:5], "%H:%M").time(), zone) + _second(local[2])  # noqa: DTZ007 - a time of day
        return instant(day if not end else date.fromordinal(day.toordinal() + 1), time(0, 0), zone)
    except (ValueError, OverflowError):
        raise RangeError(f"'{text}' is not {_WHAT}") from None


def _second(text: str) -> float:
    second = int(text[6:8]) if len(text) > 5 else 0
    if second > 59:
        raise ValueError(text)
    return float(second)
