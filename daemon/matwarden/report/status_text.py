"""The state of the shelf on a terminal of 80 columns: first whether all is well, then a few lines a tub."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.core.units import temperature_value
from matwarden.report.units import duration_text, local_day_and_clock, parse_rfc3339, temperature_text
from matwarden.terms import AlarmState, Unit

__all__ = ["status_text"]

_WIDTH = 80
_LATCHED = (AlarmState.LATCHED_UNACKNOWLEDGED.value, AlarmState.LATCHED_ACKNOWLEDGED.value)


def status_text(status: Mapping[str, Any], house: str, unit: Unit, zone: ZoneInfo) -> str:
    """All lines.

    Args:
        status: as `status_document` or, when nothing runs, as `recorded_status` make it.
        zone: of the time told when nothing runs.
    """
    standing = [alarm for tub in status["enclosures"] for alarm in tub["alarms"]] + list(status["room_alarms"])
    if status["running"]:
        age = f"running for {duration_text(status['running_for_s'])}"
    else:
        seen = local_day_and_clock(parse_rfc3339(status["at"]), zone)
        age = f"NOT RUNNING, last recorded {duration_text(status['age_s'])} ago ({seen})"
    alarms = "no alarm" if not standing else f"{len(standing)} alarm{'' if len(standing) == 1 else 's'} on"
    lines = _wrapped(f"{house}: {alarms}; {age}", "")
    for tub in status["enclosures"]:
        lines += _tub(tub, unit)
    if status["room"]:
        lines.append("Room")
    for probe in status["room"]:
        lines += _probe(probe, unit)
    for alarm in status["room_alarms"]:
        lines += _alarm(alarm)
    for state in (AlarmState.SHELVED.value, AlarmState.OUT_OF_SERVICE.value):
        ids = [alarm["id"] for alarm in status.get("silenced", []) if alarm["state"] == state]
        if ids:
            lines += _wrapped(f"told to nobody, {state}: {', '.join(ids)}", "")
    for name, sink in status["sinks"].items():
        if sink["failing"] or sink["dropped"]:
            now = "does not work now" if sink["failing"] else "works again"
            lines += _wrapped(f"{name}: {now}; {sink['dropped']} batches dropped; the journal says why", "")
    return "\n".join(lines)


def _tub(tub: Mapping[str, Any], unit: Unit) -> list[str]:
    low_c, high_c = tub["band_c"]
    lines = [f"{tub['name']}  (band {temperature_value(low_c, unit):.1f} to {temperature_text(high_c, unit)})"]
    for probe in tub["probes"]:
        lines += _probe(probe, unit)
    heat = tub["heat"]
    if heat is None:
        lines.append("  no mat")
    else:
        lines += _wrapped(heat["sentence"])
        marks = [word for key, word in (("tripped", "TRIPPED"), ("relay_fault", "RELAY FAULT")) if heat[key]]
        lines += [f"  {mark}: reset it at the shelf with: matwarden reset {tub['id']}" for mark in marks]
    for alarm in tub["alarms"]:
        lines += _alarm(alarm)
    return lines


def _alarm(alarm: Mapping[str, Any]) -> list[str]:
    if alarm["state"] in _LATCHED:
        return _wrapped(f"ALARM {alarm['id']}: its cause is over, but it stays on until a person resets it")
    seen = ", acknowledged" if alarm["state"] == AlarmState.ACKNOWLEDGED.value else ""
    return _wrapped(f"ALARM {alarm['id']}: on for {duration_text(alarm['active_s'])}{seen}")


def _probe(probe: Mapping[str, Any], unit: Unit) -> list[str]:
    what = probe["role"] if probe["side"] is None else f"{probe['role']}, {probe['side']} side"
    if probe["temperature_c"] is None:
        why = f" ({probe['why']})" if probe["why"] else ""
        return _wrapped(f"{what}: no good reading{why}  [{probe['id']}]")
    humid = "" if probe["humidity_pct"] is None else f", humidity {probe['humidity_pct']:.0f} %"
    age = "" if probe["age_s"] is None else f", {duration_text(max(0.0, probe['age_s']))} ago"
    return _wrapped(f"{what}: {temperature_text(probe['temperature_c'], unit)}{humid}{age}  [{probe['id']}]")


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    # A number stays with its unit.
    joined = text.replace(" °", "\u00a0°").replace(" %", "\u00a0%")
    lines = textwrap.wrap(
        joined,
        _WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_on_hyphens=False,
        break_long_words=False,
    )
    return [line.replace("\u00a0", " ") for line in lines]
