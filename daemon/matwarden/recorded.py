"""What can be said of the shelf when nothing runs: the record's last word, and how old it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matwarden.alarm import active_states
from matwarden.core.record import AlarmLine
from matwarden.core.units import duration_text, rfc3339_z
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_read import LatestReading, LatestVerdict, Recorded
from matwarden.terms import ProbeTerms, Quantity, Reason

__all__ = ["recorded_status", "recorded_why"]

_NOTHING_RUNS = "Nothing runs, so heat is cut."
_LATCHED = (Reason.RELAY_FAULT, Reason.TRIPPED, Reason.CUT_OUT)


def recorded_status(settings: Settings, now_wall_s: float) -> dict[str, Any] | None:
    """The last recorded state in the shape of `status_document`; None when nothing was ever recorded.

    Raises:
        StoreError: the record cannot be read.
    """
    recorded = Recorded(settings.store.directory)
    seen_s = recorded.last_seen()
    if seen_s is None:
        return None
    readings = {(r.probe, r.quantity): r for r in recorded.latest_readings()}
    verdicts = {v.enclosure: v for v in recorded.latest_verdicts()}
    alarms = recorded.active_alarms()
    remembered = recorded.remembered()

    def tub(enclosure_id: str) -> dict[str, Any]:
        verdict = verdicts.get(enclosure_id)
        kept = remembered.get(f"guard/{enclosure_id}", {})
        return {
            "allowed": False,
            "reason": None if verdict is None else verdict.reason,
            "sentence": _NOTHING_RUNS + ("" if verdict is None else f" {_last(verdict, now_wall_s)}"),
            "tripped": bool(kept.get("tripped")),
            "relay_fault": bool(kept.get("relay_fault")),
            "hold_left_s": None,
            "operations": 0 if verdict is None else verdict.operations,
        }

    return {
        "at": rfc3339_z(seen_s),
        "age_s": max(0.0, now_wall_s - seen_s),
        "running": False,
        "enclosures": [
            {
                "id": each.id,
                "name": each.name,
                "band_c": [each.band.low_c, each.band.high_c],
                "probes": [_probe(probe, readings, now_wall_s) for probe in each.probes],
                "heat": None if each.mat is None else tub(each.id),
                "alarms": _standing(alarms, each.id, seen_s),
            }
            for each in settings.enclosures
        ],
        "room": [_probe(probe, readings, now_wall_s) for probe in settings.room_probes],
        "room_alarms": _standing(alarms, None, seen_s),
        "sinks": {},
    }


def recorded_why(settings: Settings, enclosure_id: str, now_wall_s: float) -> str | None:
    """The last recorded verdict on a mat, with its age; None when there is none.

    Raises:
        StoreError: the record cannot be read.
    """
    for verdict in Recorded(settings.store.directory).latest_verdicts():
        if verdict.enclosure == enclosure_id:
            latch = " That outlasts a restart." if verdict.reason in _LATCHED else ""
            return f"{_NOTHING_RUNS} {_last(verdict, now_wall_s)}{latch}"
    return None


def _last(verdict: LatestVerdict, now_wall_s: float) -> str:
    age = duration_text(max(0.0, now_wall_s - verdict.wall_s))
    return f"The last verdict, {age} ago, was: {verdict.sentence}"


def _probe(probe: ProbeTerms, readings: dict[tuple[str, Quantity], LatestReading], now_wall_s: float) -> dict[str, Any]:
    temperature = readings.get((probe.id, Quantity.TEMPERATURE))
    humidity = readings.get((probe.id, Quantity.HUMIDITY))
    return {
        "id": probe.id,
        "role": probe.role.value,
        "side": None if probe.side is None else probe.side.value,
        "quality": "recorded" if temperature is not None else "missing",
        "temperature_c": None if temperature is None else temperature.value,
        "humidity_pct": None if humidity is None else humidity.value,
        "age_s": None if temperature is None else round(now_wall_s - temperature.wall_s, 1),
        "why": "" if temperature is not None else "never recorded",
    }


def _standing(alarms: Sequence[AlarmLine], enclosure: str | None, seen_s: float) -> list[dict[str, Any]]:
    # What is recorded is how long it had been on at its last change; it was on until the record ended.
    return [
        {
            "id": line.alarm,
            "state": line.state.value,
            "active_s": round(line.active_s + max(0.0, seen_s - line.wall_s)),
        }
        for line in alarms
        if line.enclosure == enclosure and line.state in active_states
    ]
