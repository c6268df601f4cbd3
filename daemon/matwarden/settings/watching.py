"""The settings of `matwarden watch`: the tables of a station's file that need no tub, judged by the same rules."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from matwarden.core.peers import Peer
from matwarden.settings import assembly, rows, service_rows, services, words
from matwarden.settings.alarm_times import alarm_rules
from matwarden.settings.loading import read_toml
from matwarden.settings.problems import Findings, SettingsError
from matwarden.settings.resolved import StoreSettings
from matwarden.settings.scale import Scale
from matwarden.settings.services import Files
from matwarden.settings.sheet import Sheet
from matwarden.settings.tables import one
from matwarden.sinks.heartbeat_terms import HeartbeatTerms
from matwarden.sinks.mqtt_terms import MqttTerms
from matwarden.sinks.push_terms import PushTerms
from matwarden.terms import AlarmTimes, Unit

__all__ = ["WatchSettings", "load_watch"]

_TABLES = ("house", "alarms", "store", "mqtt", "push", "watch", "heartbeat")
# Another record than that of a station on the same machine: one record has one writer.
_DIRECTORY = "/var/lib/matwarden-watch"


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """Everything a watcher needs. `push`, `heartbeat`: None when the file has no such table.

    Attributes:
        warnings: what is usable, but perhaps not meant.
    """

    house_id: str
    house_name: str
    unit: Unit
    times: AlarmTimes
    store: StoreSettings
    mqtt: MqttTerms
    push: PushTerms | None
    watched: tuple[Peer, ...]
    heartbeat: HeartbeatTerms | None
    warnings: tuple[str, ...]


def load_watch(path: Path) -> WatchSettings:
    """The settings of a watcher's file.

    Raises:
        SettingsError: they cannot be used; it carries every problem.
    """
    raw = read_toml(path)
    findings = Findings()
    source = Path(os.path.abspath(path))
    for key in raw:
        if key in rows.SettingsFile.model_fields and key not in _TABLES:
            advice = "Take it out: this file is for watching only; a station's own file has it."
            findings.problem(key, "a table of a station", f"of {', '.join(_TABLES)}", advice)
        elif key not in _TABLES:
            findings.problems.append(words.unknown("the file", key, list(_TABLES)))
    house = assembly.house_table(raw, findings)
    unit = Unit(house.row.temperature_unit) if house is not None and house.sound("temperature_unit") else Unit.C
    handed_over = os.environ.get("CREDENTIALS_DIRECTORY")
    files = Files(source.parent, findings, Path(handed_over) if handed_over else None)
    rules = alarm_rules(Sheet(findings, Scale(unit)), one(findings, raw, "alarms", rows.Alarms))
    told = raw.get("store", {})
    kept = {**told, "directory": told.get("directory", _DIRECTORY)} if isinstance(told, dict) else told
    store = services.store(files, assembly.optional(findings, {"store": kept}, "store", service_rows.Store))
    mqtt_table = one(findings, raw, "mqtt", service_rows.Mqtt)
    mqtt = services.mqtt(files, mqtt_table, 10.0) if mqtt_table else None
    zone = assembly.zone_of(house.row.zone) if house is not None and house.sound("zone") else None
    push = assembly.push_terms(raw, files, zone)
    house_id = house.row.id if house is not None and house.sound("id") else None
    watched = services.watched(findings, assembly.watch_tables(findings, raw), house_id, "mqtt" in raw)
    heartbeat = services.heartbeat(files, one(findings, raw, "heartbeat", service_rows.Heartbeat))
    if "watch" not in raw:
        findings.problem("watch", "nothing", "one or more [[watch]]", "Add the station that is to be watched.")
    if "push" not in raw:
        findings.warn("push: nothing is pushed: whoever dies is only in the log.")
    if findings.problems or house is None or mqtt is None:
        raise SettingsError(path, tuple(dict.fromkeys(findings.problems)))
    name = house.row.name or house.row.id.capitalize()
    warnings = tuple(dict.fromkeys(findings.warnings))
    return WatchSettings(house.row.id, name, unit, rules.times, store, mqtt, push, watched, heartbeat, warnings)
