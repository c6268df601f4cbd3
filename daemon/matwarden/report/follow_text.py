"""The shelf at a glance, for a terminal on the rack: as many lines as fit, what is wrong first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.core.units import difference_text, duration_text, parse_rfc3339, temperature_text
from matwarden.report.units import local_clock, local_day_and_clock
from matwarden.terms import Unit

__all__ = ["follow_lines"]

# Older than that a reading is no news.
_OLD_S = 90.0
_INSIDE = ("air", "substrate", "wall")


def follow_lines(
    status: Mapping[str, Any] | None, house: str, unit: Unit, zone: ZoneInfo, now_wall_s: float, columns: int, rows: int
) -> list[str]:
    """At most `rows` lines of at most `columns`.

    Args:
        status: as `status_document` or, when nothing runs, as `recorded_status` make it; None: nothing is known.
    """
    clock = local_clock(now_wall_s, zone)
    if status is None:
        return [_beside(house, clock, columns), _cut("NOT RUNNING, and nothing was recorded", columns)][:rows]
    standing = [alarm for tub in status["enclosures"] for alarm in tub["alarms"]] + list(status["room_alarms"])
    lines = [_beside(house, clock, columns)]
    if not status["running"]:
        seen = local_day_and_clock(parse_rfc3339(status["at"]), zone)
        lines.append(_cut(f"NOT RUNNING: all heat is cut. Last recorded {seen}", columns))
    else:
        many = "1 ALARM ON" if len(standing) == 1 else f"{len(standing)} ALARMS ON"
        lines.append(_cut(many if standing else "all well", columns))
    troubled = [tub for tub in status["enclosures"] if tub["alarms"]]
    well = [tub for tub in status["enclosures"] if not tub["alarms"]]
    wide = max((len(tub["name"]) for tub in status["enclosures"]), default=0)
    for alarm in status["room_alarms"]:
        lines.append(_alarm(alarm, columns))
    blocks = [_tub(tub, unit, wide, columns) for tub in (*troubled, *well)]
    blocks += [[_cut(f"Room  {_reading(probe, unit)}", columns)] for probe in status["room"]]
    left = len(blocks)
    for block in blocks:
        # The last line is kept for how many did not fit.
        if len(lines) + len(block) > rows - (left > 1):
            break
        lines += block
        left -= 1
    if left and len(lines) < rows:
        lines.append(_cut(f"and {left} more: matwarden status", columns))
    return lines[:rows]


def _tub(tub: Mapping[str, Any], unit: Unit, wide: int, columns: int) -> list[str]:
    inside = _inside(tub["probes"])
    now = "not read" if inside is None else temperature_text(inside["temperature_c"], unit)
    where = "" if inside is None else _against(inside["temperature_c"], tub["band_c"], unit)
    age = "" if inside is None or (inside["age_s"] or 0.0) < _OLD_S else f" ({duration_text(inside['age_s'])} ago)"
    heat = _heat(tub["heat"])
    first = f"{tub['name']:<{wide}}  {now:>8}  {where}{age}".rstrip()
    whole = f"{first:<{wide + 30}}  {heat}"
    lines = [whole] if len(whole) <= columns else [_cut(first, columns), _cut(f"{'':<{min(wide, 4)}}  {heat}", columns)]
    return lines + [_alarm(alarm, columns) for alarm in tub["alarms"]]


def _inside(probes: Sequence[Mapping[str, Any]]) -> Mapping[str, Any] | None:
    """The coldest of the probes that count as inside; a silent one does not make its tub unread."""
    for role in _INSIDE:
        read = [probe for probe in probes if probe["role"] == role and probe["temperature_c"] is not None]
        if any(probe["role"] == role for probe in probes):
            return min(read, key=lambda probe: float(probe["temperature_c"]), default=None)
    return None


def _against(celsius_c: float, band_c: Sequence[float], unit: Unit) -> str:
    low_c, high_c = band_c
    if celsius_c < low_c:
        return f"COLD by {difference_text(low_c - celsius_c, unit)}"
    if celsius_c > high_c:
        return f"HOT by {difference_text(celsius_c - high_c, unit)}"
    return "in band"


def _heat(heat: Mapping[str, Any] | None) -> str:
    if heat is None:
        return "no mat"
    if heat["tripped"]:
        return "heat CUT: tripped"
    if heat["relay_fault"]:
        return "heat CUT: relay fault"
    why = str(heat["reason"] or "nothing decided").replace("-", " ")
    return f"heat on: {why}" if heat["allowed"] else f"heat cut: {why}"


def _alarm(alarm: Mapping[str, Any], columns: int) -> str:
    seen = ", acknowledged" if alarm["state"].endswith("acknowledged") and "un" not in alarm["state"] else ""
    return _cut(f"  ! {alarm['id']} for {duration_text(alarm['active_s'])}{seen}", columns)


def _reading(probe: Mapping[str, Any], unit: Unit) -> str:
    if probe["temperature_c"] is None:
        return "not read"
    return temperature_text(probe["temperature_c"], unit)


def _beside(left: str, right: str, columns: int) -> str:
    room = columns - len(right) - 1
    return f"{left[:room]:<{room}} {right}" if room > 3 else _cut(left, columns)


def _cut(text: str, columns: int) -> str:
    return text if len(text) <= columns else text[: max(1, columns - 1)] + "…"
