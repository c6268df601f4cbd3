"""The state of everything at this moment, as one JSON-able document: what `status` shows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from matwarden.alarm import Alarm, active_states
from matwarden.core.units import rfc3339_z
from matwarden.probe_keeper import ProbeKeeper
from matwarden.station import Station, Tub
from matwarden.terms import AlarmState, At

__all__ = ["status_document"]


def status_document(station: Station, at: At, sinks: Mapping[str, Any]) -> dict[str, Any]:
    """What the station knows now. Temperatures in Celsius, times as RFC 3339 in UTC."""
    return {
        "at": rfc3339_z(at.wall_s),
        "running": True,
        "running_for_s": round(at.mono_s - station.started_at.mono_s, 3),
        "cycles": station.cycles,
        "enclosures": [_tub(tub, at) for tub in station.tubs.values()],
        "room": [_probe(probe, at) for probe in station.room],
        "room_alarms": _standing(alarm for alarm in station.alarms() if alarm.enclosure is None),
        "silenced": _silenced(station.alarms()),
        "sinks": dict(sinks),
    }


def _tub(tub: Tub, at: At) -> dict[str, Any]:
    guard = tub.guard
    heat = None
    if guard is not None:
        heat = {
            "allowed": guard.verdict.allowed,
            "reason": guard.verdict.reason.value,
            "sentence": guard.why(),
            "tripped": guard.tripped,
            "relay_fault": guard.relay_fault,
            "hold_left_s": guard.hold_left_s,
            "operations": guard.operations,
        }
    return {
        "id": tub.enclosure.id,
        "name": tub.enclosure.name,
        "band_c": [tub.enclosure.band.low_c, tub.enclosure.band.high_c],
        "probes": [_probe(probe, at) for probe in tub.probes],
        "heat": heat,
        "alarms": _standing(tub.alarms.alarms),
    }


def _probe(probe: ProbeKeeper, at: At) -> dict[str, Any]:
    seen = probe.view(at.mono_s)
    latest = probe.latest
    good = seen.quality.value == "good"
    return {
        "id": probe.terms.id,
        "role": probe.terms.role.value,
        "side": None if probe.terms.side is None else probe.terms.side.value,
        "quality": seen.quality.value,
        "temperature_c": seen.value_c if good else None,
        "humidity_pct": latest.humidity_pct if good and latest is not None else None,
        "age_s": None if latest is None else round(at.mono_s - latest.at.mono_s, 1),
        "why": seen.why,
    }


def _silenced(alarms: Iterable[Alarm]) -> list[dict[str, str]]:
    """What a person has put aside: a forgotten one tells nobody anything."""
    aside = (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)
    return [{"id": a.id, "state": a.memory.state.value} for a in alarms if a.memory.state in aside]


def _standing(alarms: Iterable[Alarm]) -> list[dict[str, Any]]:
    return [
        {"id": alarm.id, "state": alarm.memory.state.value, "active_s": round(alarm.memory.active_s)}
        for alarm in alarms
        if alarm.memory.state in active_states
    ]
