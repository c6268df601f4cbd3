"""From the raw tables to `Settings`: reads every table, applies every rule, and goes on after each problem."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from matwarden.settings import (
    pushes,
    resolved,
    row_parts,
    rows,
    service_rows,
    services,
    simulated,
    simulation_rows,
    words,
)
from matwarden.settings.buses import judge_buses
from matwarden.settings.problems import Findings
from matwarden.settings.resolved import Settings
from matwarden.settings.scale import Scale
from matwarden.settings.services import Files
from matwarden.settings.sheet import Sheet, unique
from matwarden.settings.shelf import Shelf, read_shelf
from matwarden.settings.tables import Raw, Table, default, label, many, one, read_table
from matwarden.sinks.mqtt_terms import MqttTerms
from matwarden.sinks.push_terms import PushTerms
from matwarden.terms import Unit

R = TypeVar("R", bound=row_parts.Row)


def assemble(raw: Mapping[str, Any], source: Path, findings: Findings) -> Settings | None:
    """The settings; None, or something not to be used, when there are problems."""
    for key in raw:
        if key not in rows.SettingsFile.model_fields:
            findings.problems.append(words.unknown("the file", key, list(rows.SettingsFile.model_fields)))
    house = house_table(raw, findings)
    scale = Scale(Unit(house.row.temperature_unit)) if house is not None and house.sound("temperature_unit") else None
    sheet = Sheet(findings, scale)
    handed_over = os.environ.get("CREDENTIALS_DIRECTORY")
    files = Files(source.parent, findings, Path(handed_over) if handed_over else None)
    polling = one(findings, raw, "polling", rows.Polling) or default("polling", rows.Polling)
    shelf = read_shelf(raw, sheet, polling)
    every_s = polling.row.every_s
    store = services.store(files, optional(findings, raw, "store", service_rows.Store))
    control = services.control(files, optional(findings, raw, "control", service_rows.Control))
    mqtt_table = one(findings, raw, "mqtt", service_rows.Mqtt)
    mqtt: MqttTerms | None = services.mqtt(files, mqtt_table, every_s) if mqtt_table else None
    zone = zone_of(house.row.zone) if house is not None and house.sound("zone") else None
    push = push_terms(raw, files, zone)
    digest_table = optional(findings, raw, "digest", service_rows.Digest)
    digest = services.digest(files, digest_table)
    if push is not None and digest_table.sound("at", "enabled"):
        pushes.judge(findings, push, shelf.alarms.times.second_after_s, digest)
    upkeep = services.upkeep(findings, optional(findings, raw, "upkeep", service_rows.Upkeep))
    house_id = house.row.id if house is not None and house.sound("id") else None
    watched = services.watched(findings, watch_tables(findings, raw), house_id, "mqtt" in raw)
    heartbeat = services.heartbeat(files, one(findings, raw, "heartbeat", service_rows.Heartbeat))
    simulation = _simulation(raw, sheet, files, shelf, every_s)
    if findings.problems or house is None or scale is None:
        return None
    probes = [*shelf.room_probes, *(probe for enclosure in shelf.enclosures for probe in enclosure.probes)]
    judge_buses(findings, probes, shelf.probe_drivers)
    return Settings(
        source=source,
        house_id=house.row.id,
        house_name=house.row.name or house.row.id.capitalize(),
        unit=scale.unit,
        zone=house.row.zone,
        enclosures=shelf.enclosures,
        room_probes=shelf.room_probes,
        alarms=shelf.alarms,
        probe_drivers=shelf.probe_drivers,
        relay_drivers=shelf.relay_drivers,
        permit=shelf.permit,
        store=store,
        control=control,
        mqtt=mqtt,
        push=push,
        digest=digest,
        upkeep=upkeep,
        watched=watched,
        heartbeat=heartbeat,
        simulation=simulation,
    )


def watch_tables(findings: Findings, raw: Raw) -> list[Table[service_rows.WatchRow]]:
    """The tables [[watch]], each id once."""
    tables = [
        read_table(findings, row, label(row, "id", "watch", number), service_rows.WatchRow)
        for number, row in enumerate(many(findings, raw, "watch"), 1)
    ]
    unique(findings, tables, "id", "each id once", "Name each station once.")
    return tables


def optional(findings: Findings, raw: Raw, name: str, model: type[R]) -> Table[R]:
    """The table `[name]`, all defaults when the file has none."""
    return one(findings, raw, name, model) or default(name, model)


def house_table(raw: Raw, findings: Findings) -> Table[rows.House] | None:
    """[house], told when it is missing or its time zone is not known."""
    if "house" not in raw:
        findings.problem("house", "nothing", "one table [house]", "Add [house] with id, temperature_unit and zone.")
        return None
    house = one(findings, raw, "house", rows.House)
    if house is not None and house.sound("zone") and zone_of(house.row.zone) is None:
        findings.problem(
            "house: zone",
            words.shown(house.row.zone),
            "a time zone of the IANA list, as in Europe/Amsterdam",
            "Look up the name of yours; the command timedatectl list-timezones shows them all.",
        )
    return house


def zone_of(name: str) -> ZoneInfo | None:
    """The time zone of that name, None when there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def push_terms(raw: Raw, files: Files, zone: ZoneInfo | None) -> PushTerms | None:
    """Where pushes go; None when the file has no [push]."""
    findings = files.findings
    value = raw.get("push")
    if not isinstance(value, dict):
        one(findings, raw, "push", service_rows.Push)
        return None
    inner = {f"push.{key}": item for key, item in value.items() if key == "target"}
    outer = {key: item for key, item in value.items() if key != "target"}
    table = read_table(findings, outer, "push", service_rows.Push, known_apart=frozenset({"target"}))
    targets = [
        read_table(findings, row, label(row, "name", "push target", number), service_rows.PushTargetRow)
        for number, row in enumerate(many(findings, inner, "push.target"), 1)
    ]
    if not inner or inner["push.target"] == []:
        findings.problem(
            "push",
            "no [[push.target]]",
            "one or more [[push.target]]",
            "Add one, or take [push] out to push nothing.",
        )
    unique(findings, targets, "name", "each name once", "Give each target a name of its own.")
    return pushes.push(files, table, targets, zone)


def _simulation(
    raw: Raw, sheet: Sheet, files: Files, shelf: Shelf, every_s: float
) -> resolved.SimulationSettings | None:
    findings = sheet.findings
    twin_tables = [
        read_table(findings, row, label(row, "enclosure", "twin of", number), simulation_rows.TwinRow)
        for number, row in enumerate(many(findings, raw, "twin"), 1)
    ]
    fault_tables = [
        read_table(findings, row, f"fault number {number}", simulation_rows.FaultRow)
        for number, row in enumerate(many(findings, raw, "fault"), 1)
    ]
    value = raw.get("simulation")
    simulated.consistent(sheet, value is not None, shelf.drivers, bool(twin_tables), bool(fault_tables))
    if not isinstance(value, dict):
        one(findings, raw, "simulation", simulation_rows.Simulation)
        return None
    outer = {key: item for key, item in value.items() if key != "room"}
    table = read_table(findings, outer, "simulation", simulation_rows.Simulation, known_apart=frozenset({"room"}))
    inner = {f"simulation.{key}": item for key, item in value.items() if key == "room"}
    if not inner:
        findings.problem(
            "simulation.room", "nothing", "one table [simulation.room]", "Add it, with file, mean or plan."
        )
    room_table = one(findings, inner, "simulation.room", simulation_rows.SimulatedRoom)
    room = simulated.room(sheet, files, room_table) if room_table else None
    ids = list(shelf.bands)
    twins = simulated.twins(sheet, twin_tables, ids, shelf.simulated_ids)
    faults = [simulated.fault(sheet, row, shelf.probe_ids, ids) for row in fault_tables]
    parts = (room, twins, tuple(fault for fault in faults if fault is not None))
    return simulated.simulation(sheet, table, every_s, files, parts)
