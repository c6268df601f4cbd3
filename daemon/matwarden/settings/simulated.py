"""The simulated shelf: only ever there because the file names it, and never mixed with real hardware."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from matwarden.core.units import parse_rfc3339
from matwarden.settings import resolved, simulation_rows, words
from matwarden.settings.scale import Scale
from matwarden.settings.services import Files
from matwarden.settings.sheet import Sheet, known_enclosure, unique
from matwarden.settings.tables import Table

# What each fault strikes and what its amount is: kelvin (also per hour), a factor, or nothing.
_KELVIN = frozenset({"probe-offset", "probe-drift", "probe-noise", "probe-spike", "room-offset"})
_FACTOR = frozenset({"mat-power", "mat-covered", "lid-off"})
_ROOM_C = (-40.0, 60.0)


def consistent(sheet: Sheet, simulation: bool, drivers: Mapping[str, str], twins: bool, faults: bool) -> None:
    """Either every driver is twin and there is a [simulation], or neither.

    Args:
        drivers: `where` of each probe and mat, and its driver.
    """
    findings = sheet.findings
    simulated = [where for where, driver in drivers.items() if driver == "twin"]
    real = {where: driver for where, driver in drivers.items() if driver != "twin"}
    if simulated and not simulation:
        findings.problem(
            "simulation",
            f'nothing, though {simulated[0]} has driver = "twin"',
            "a table [simulation] when drivers are twin",
            "Add [simulation], or give the real driver: a simulation is never fallen into.",
        )
    if simulation:
        for where, driver in real.items():
            findings.problem(
                f"{where}: driver",
                words.shown(driver),
                '"twin", since there is a table [simulation]',
                "Take [simulation] out, or make every driver twin: the two do not mix.",
            )
    if not simulation and (twins or faults):
        name = "twin" if twins else "fault"
        findings.problem(
            name,
            f"[[{name}]] without [simulation]",
            f"[[{name}]] only in a simulation",
            f"Add [simulation], or take [[{name}]] out.",
        )


SimulatedRoom = resolved.RoomFile | resolved.RoomFormula | resolved.RoomPlan


def room(sheet: Sheet, files: Files, table: Table[simulation_rows.SimulatedRoom]) -> SimulatedRoom | None:
    """The simulated room; None when it cannot be used."""
    row, findings = table.row, sheet.findings
    if not table.sound("file", "mean", "plan"):
        return None
    given = [key for key in ("file", "mean", "plan") if getattr(row, key) is not None]
    if len(given) != 1:
        findings.problem(
            "simulation.room",
            " and ".join(given) or "none of file, mean and plan",
            "exactly one of file, mean and plan",
            "Give file for a recorded room, mean for one that swings, plan for a day of points.",
        )
        return None
    for key in ("swing", "drift_per_day"):
        value: float | None = getattr(row, key, None)
        if value is not None and (row.file is not None or (key == "swing" and row.mean is None)):
            findings.problem(
                f"simulation.room: {key}",
                f"{value:g}",
                f"nothing, since there is {given[0]}",
                f"Take {key} out.",
            )
            return None
    if row.file is not None:
        advice = "Correct the path; a relative one starts where this settings file is."
        return resolved.RoomFile(files.existing("simulation.room: file", row.file, advice))
    drift_k = sheet.difference_k(table, "drift_per_day", 0.0, -10.0, 10.0)
    if row.plan is not None:
        points = _plan(sheet, row.plan)
        return None if points is None or drift_k is None else resolved.RoomPlan(points, drift_k)
    mean_c = sheet.temperature_c(table, "mean", 20.0, _ROOM_C)
    swing_k = sheet.difference_k(table, "swing", 0.0, 0.0, 30.0)
    if mean_c is None or swing_k is None or drift_k is None or not table.sound("warmest_hour"):
        return None
    return resolved.RoomFormula(mean_c, swing_k, row.warmest_hour, drift_k)


def _plan(sheet: Sheet, plan: list[list[float]]) -> tuple[tuple[float, float], ...] | None:
    if sheet.scale is None:
        return None
    hours = [hour for hour, _ in plan]
    points = tuple((hour, sheet.scale.c(value)) for hour, value in plan)
    low_c, high_c = _ROOM_C
    if not all(0 <= hour < 24 for hour in hours) or any(a >= b for a, b in zip(hours, hours[1:], strict=False)):
        found, allowed = (
            f"hours {', '.join(f'{hour:g}' for hour in hours)}",
            "rising hours from 0 to below 24",
        )
    elif not all(low_c <= celsius <= high_c for _, celsius in points):
        found = f"temperatures {', '.join(sheet.scale.show(celsius) for _, celsius in points)}"
        allowed = f"temperatures from {sheet.scale.show(low_c)} to {sheet.scale.show(high_c)}"
    else:
        return points
    sheet.findings.problem("simulation.room: plan", found, allowed, "Correct the points.")
    return None


def twins(
    sheet: Sheet, tables: list[Table[simulation_rows.TwinRow]], ids: list[str], needed: Iterable[str]
) -> tuple[resolved.Twin, ...]:
    """The simulated tubs, one for each tub of the file."""
    unique(sheet.findings, tables, "enclosure", "one [[twin]] a tub", "Take one of them out.")
    result = []
    for table in tables:
        known = known_enclosure(sheet.findings, table, ids)
        if known and table.sound(*simulation_rows.TwinRow.model_fields):
            result.append(_twin(table.row))
    there = {table.row.enclosure for table in tables if table.sound("enclosure")}
    for enclosure in needed:
        if enclosure not in there:
            sheet.findings.problem(
                f"enclosure {enclosure}",
                "no [[twin]] of it, though its drivers are twin",
                f'a [[twin]] with enclosure = "{enclosure}"',
                "Add it; its other keys may be left out.",
            )
    return tuple(result)


def _twin(row: simulation_rows.TwinRow) -> resolved.Twin:
    return resolved.Twin(
        enclosure=row.enclosure,
        wall_j_per_k=row.wall_j_per_k,
        air_j_per_k=row.air_j_per_k,
        substrate_j_per_k=row.substrate_j_per_k,
        wall_air_w_per_k=row.wall_air_w_per_k,
        wall_substrate_w_per_k=row.wall_substrate_w_per_k,
        air_substrate_w_per_k=row.air_substrate_w_per_k,
        wall_room_w_per_k=row.wall_room_w_per_k,
        air_room_w_per_k=row.air_room_w_per_k,
        substrate_room_w_per_k=row.substrate_room_w_per_k,
        mat_w=row.mat_w,
    )


def fault(
    sheet: Sheet, table: Table[simulation_rows.FaultRow], probes: list[str], enclosures: list[str]
) -> resolved.FaultTerms | None:
    """One fault; None when it cannot be used."""
    row, findings, where = table.row, sheet.findings, table.where
    if not table.sound(*simulation_rows.FaultRow.model_fields) or sheet.scale is None:
        return None
    subjects = probes if row.kind.startswith("probe-") else enclosures
    if row.kind == "room-offset":
        subjects = ["room"]
    if row.subject not in subjects:
        what = "probe" if row.kind.startswith("probe-") else "tub"
        findings.problem(
            f"{where}: subject",
            words.shown(row.subject),
            words.choices(subjects) if subjects else f"the id of a {what}",
            f"{words.did_you_mean(row.subject, subjects)}Name what {row.kind} strikes.",
        )
    if row.until_h is not None and row.until_h <= row.at_h:
        findings.problem(
            f"{where}: until_h", f"{row.until_h:g} h", f"more than at_h ({row.at_h:g} h)", "Raise until_h."
        )
    return resolved.FaultTerms(
        kind=row.kind,
        subject=row.subject,
        at_s=row.at_h * 3600.0,
        until_s=None if row.until_h is None else row.until_h * 3600.0,
        amount=_amount(sheet.scale, table, sheet),
        place=_place(table, sheet, enclosures),
    )


def _place(table: Table[simulation_rows.FaultRow], sheet: Sheet, enclosures: list[str]) -> str:
    row, where = table.row, f"{table.where}: place"
    place = row.place or ""
    if row.kind != "probe-elsewhere":
        if place:
            sheet.findings.problem(where, words.shown(place), f"nothing, since {row.kind} has no place", "Take it out.")
        return ""
    if place != "room" and place.partition("/")[0] not in enclosures:
        tub = enclosures[0] if enclosures else "oak"
        found, expected = words.shown(place) if place else "nothing", f"room, or a tub of this file as {tub}/air"
        sheet.findings.problem(where, found, expected, "Say where the probe lies: probe-elsewhere needs it.")
    return place


def _amount(scale: Scale, table: Table[simulation_rows.FaultRow], sheet: Sheet) -> float:
    row, where = table.row, f"{table.where}: amount"
    if row.kind in _KELVIN | _FACTOR:
        if row.amount is None:
            what = "a temperature difference" if row.kind in _KELVIN else "a factor of 0 or more"
            sheet.findings.problem(where, "nothing", what, f"Say how much: {row.kind} needs it.")
            return 0.0
        if row.amount < 0 and (row.kind in _FACTOR or row.kind == "probe-noise"):
            sheet.findings.problem(where, f"{row.amount:g}", "0 or more", "Take the minus away.")
        return scale.k(row.amount) if row.kind in _KELVIN else row.amount
    if row.amount is not None:
        sheet.findings.problem(where, f"{row.amount:g}", f"nothing, since {row.kind} has no amount", "Take amount out.")
    return 0.0


def simulation(
    sheet: Sheet,
    table: Table[simulation_rows.Simulation],
    every_s: float,
    files: Files,
    parts: tuple[
        SimulatedRoom | None,
        tuple[resolved.Twin, ...],
        tuple[resolved.FaultTerms, ...],
    ],
) -> resolved.SimulationSettings | None:
    """The table [simulation] with its parts; None when it cannot be used."""
    row, findings = table.row, sheet.findings
    if table.sound("step_s") and row.step_s > every_s:
        findings.problem(
            "simulation: step_s",
            f"{row.step_s:g} s",
            f"at most {every_s:g} s, the every_s of [polling]",
            "Lower step_s.",
        )
    if table.sound("speed", "days") and row.speed == "as-fast-as-possible" and row.days is None:
        findings.problem(
            "simulation: days",
            "nothing",
            "a number of days, since speed is as-fast-as-possible",
            "Say when it ends.",
        )
    start_wall_s = 0.0
    if table.sound("start"):
        try:
            start_wall_s = parse_rfc3339(row.start)
        except ValueError:
            findings.problem(
                "simulation: start",
                words.shown(row.start),
                "a date and time of day that exist",
                "Correct it.",
            )
    start_c = sheet.temperature_c(table, "start_temperature", 0.0, _ROOM_C)
    simulated_room, simulated_twins, faults = parts
    if simulated_room is None or not table.sound(*simulation_rows.Simulation.model_fields):
        return None
    return resolved.SimulationSettings(
        start_wall_s=start_wall_s,
        step_s=row.step_s,
        days=row.days,
        as_fast_as_possible=row.speed == "as-fast-as-possible",
        seed=row.seed,
        record=None if row.record is None else files.absolute(row.record),
        start_c=None if row.start_temperature is None else start_c,
        room=simulated_room,
        twins=simulated_twins,
        faults=faults,
    )
