"""The state of the shelf on a terminal of 80 columns: first whether all is well, then a few lines a tub."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matwarden.report.units import duration_text, temperature_text
from matwarden.terms import Unit

__all__ = ["status_text"]


def status_text(status: Mapping[str, Any], house: str, unit: Unit) -> str:
    """All lines.

    Args:
        status: as `status_document` or, when nothing runs, as `recorded_status` make it.
    """
    standing = [alarm for tub in status["enclosures"] for alarm in tub["alarms"]] + list(status["room_alarms"])
    if not status["running"]:
        age = f"not running; last recorded {duration_text(status['age_s'])} ago, at {status['at']}"
    else:
        age = f"running for {duration_text(status['running_for_s'])}"
    alarms = "no alarm" if not standing else f"{len(standing)} alarm{'' if len(standing) == 1 else 's'} on"
    lines = [f"{house}: {alarms}; {age}"]
    for tub in status["enclosures"]:
        lines += _tub(tub, unit)
    for probe in status["room"]:
        lines.append(f"Room  {_probe(probe, unit)}")
    lines += [f"  ALARM {alarm['id']}: {alarm['state']}" for alarm in status["room_alarms"]]
    for name, sink in status["sinks"].items():
        if sink["failing"] or sink["dropped"]:
            lines.append(
                f"{name}: {'failing now' if sink['failing'] else 'working'}, {sink['dropped']} batches dropped"
            )
    return "\n".join(lines)


def _tub(tub: Mapping[str, Any], unit: Unit) -> list[str]:
    low_c, high_c = tub["band_c"]
    band = f"{temperature_text(low_c, unit)} to {temperature_text(high_c, unit)}"
    lines = [f"{tub['name']}  (band {band})"]
    lines += [f"  {_probe(probe, unit)}" for probe in tub["probes"]]
    heat = tub["heat"]
    lines.append("  no mat" if heat is None else f"  {heat['sentence']}")
    if heat is not None:
        marks = [word for key, word in (("tripped", "TRIPPED"), ("relay_fault", "RELAY FAULT")) if heat[key]]
        lines += [f"  {mark}: reset it at the shelf with: matwarden reset {tub['id']}" for mark in marks]
    for alarm in tub["alarms"]:
        lines.append(f"  ALARM {alarm['id']}: {alarm['state']} for {duration_text(alarm['active_s'])}")
    return lines


def _probe(probe: Mapping[str, Any], unit: Unit) -> str:
    what = probe["role"] if probe["side"] is None else f"{probe['role']}, {probe['side']} side"
    if probe["temperature_c"] is None:
        why = f" ({probe['why']})" if probe["why"] else ""
        return f"{what}: no good reading{why}  [{probe['id']}]"
    humid = "" if probe["humidity_pct"] is None else f", {probe['humidity_pct']:.0f} %"
    age = "" if probe["age_s"] is None else f", {duration_text(max(0.0, probe['age_s']))} ago"
    return f"{what}: {temperature_text(probe['temperature_c'], unit)}{humid}{age}  [{probe['id']}]"
