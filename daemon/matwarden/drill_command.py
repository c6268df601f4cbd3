"""`matwarden drill`: what would happen, and when the phone would ring, if something broke; on a simulated tub."""

from __future__ import annotations

import argparse
import difflib
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from matwarden.devices import OpenDevices
from matwarden.exit_codes import Exit
from matwarden.settings import Settings, load
from matwarden.terms import Enclosure
from matwarden.time_range import RangeError, add_range_arguments, moment

if TYPE_CHECKING:
    from matwarden.core.fault_catalogue import FaultCase
    from matwarden.drill import Drilled, Plan
    from matwarden.drill_tub import DrillTub

__all__ = ["add_arguments", "carry_out"]

# What a room can be, and what it is taken for where nothing is known of it: a living room in winter.
_ROOM_C = (-10.0, 45.0)
_USUAL_ROOM_C = 18.0
_LONGEST_S = 14 * 86_400.0


class _Refused(Exception):  # noqa: N818 - says what is the matter
    """Words for a keeper, and the exit code."""

    def __init__(self, code: Exit, why: str) -> None:
        super().__init__(why)
        self.code = code


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden drill`."""
    sub.add_argument("enclosure", metavar="ENCLOSURE", help="its id in the settings file")
    which = sub.add_mutually_exclusive_group(required=True)
    which.add_argument("--fault", metavar="FAULT", help="one fault; a name that is none lists them all")
    which.add_argument("--all", action="store_true", help="every fault, a line each; takes some minutes")
    sub.add_argument("--room", type=float, metavar="DEGREES", help="a room that stays so, in your unit")
    add_range_arguments(sub, "none: a room that stays the same")
    sub.add_argument("--out", type=Path, metavar="DIR", help="write the text there too, and for one fault a picture")


def carry_out(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    """Drill and print; returns the exit code.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.drill_tub import DrillTubError
    from matwarden.sinks.store_schema import StoreError
    from matwarden_hardware.ports import DriverError

    settings = load(asked.settings)
    try:
        return _drill(asked, settings, open_devices)
    except _Refused as refused:
        code, why = refused.code, str(refused)
    except RangeError as error:
        code, why = Exit.USAGE, str(error)
    except DrillTubError as error:
        code, why = Exit.REFUSED, str(error)
    except StoreError as error:
        code, why = Exit.STORE, str(error)
    except DriverError as error:
        code, why = Exit.REFUSED, f"this tub cannot be simulated: {error}"
    print(f"matwarden: {why}", file=sys.stderr)
    return code


def _drill(asked: argparse.Namespace, settings: Settings, open_devices: OpenDevices) -> int:
    from matwarden.core.fault_catalogue import fault_cases
    from matwarden.drill import Drill
    from matwarden.drill_room import at_start_c
    from matwarden.drill_tub import drill_tub

    enclosure = _enclosure(settings, asked.enclosure)
    roles = {probe.role for probe in enclosure.probes}
    cases = fault_cases(roles, mat=enclosure.mat is not None, cold_tub=False)
    if not asked.all:
        cases = (_case(asked.fault, cases),)
    if asked.out is not None and not asked.all:
        _needs_pictures()
    tub = drill_tub(settings, enclosure)
    plan, room = _plan(asked, settings, tub)
    start_c = at_start_c(plan.room)
    drill = Drill(settings, enclosure, tub.made(start_c), plan, open_devices)
    rows = []
    for number, case in enumerate(cases, 1):
        _progress(f"{number} of {len(cases)}: {case.name}")
        rows.append(drill.of(case))
    others = []
    if not asked.all and (ends := tub.ends(start_c)):
        _progress("the same at both ends of what is known of this tub")
        others = [rows[0], *(drill.on(end).of(cases[0]) for end in ends)]
    _progress("")
    return _tell(asked, settings, enclosure, _head(settings, tub, room), rows, others)


def _enclosure(settings: Settings, name: str) -> Enclosure:
    from matwarden.control_client import unknown_text

    for enclosure in settings.enclosures:
        if enclosure.id == name:
            return enclosure
    raise _Refused(Exit.UNKNOWN, unknown_text(each.id for each in settings.enclosures))


def _case(name: str, cases: Sequence[FaultCase]) -> FaultCase:
    for case in cases:
        if case.id == name:
            return case
    near = difflib.get_close_matches(name, [case.id for case in cases], 1)
    guess = f" Did you mean {near[0]}?" if near else ""
    width = max(len(case.id) for case in cases)
    lines = "\n".join(f"  {case.id:<{width}}  {case.name}" for case in cases)
    raise _Refused(Exit.UNKNOWN, f"'{name}' is no fault that this tub can have.{guess} There are:\n{lines}")


def _plan(asked: argparse.Namespace, settings: Settings, tub: DrillTub) -> tuple[Plan, str]:
    """Which room, and how it is called."""
    from matwarden.clocks import SystemClock
    from matwarden.core.units import temperature_text, temperature_value
    from matwarden.drill_room import RoomError, constant_room, recorded_room
    from matwarden.settings.scale import Scale
    from matwarden.sinks.store_read import Recorded

    zone, unit = ZoneInfo(settings.zone), settings.unit
    if asked.since is None and asked.until is None:
        room_c = tub.usual_room_c if tub.usual_room_c is not None else _USUAL_ROOM_C
        why = "the usual one of its record" if tub.usual_room_c is not None else "taken for want of another"
        if asked.room is not None:
            room_c, why = Scale(unit).c(asked.room), "as asked for"
        if not _ROOM_C[0] <= room_c <= _ROOM_C[1]:
            low, high = (f"{temperature_value(each, unit):g}" for each in _ROOM_C)
            raise _Refused(Exit.USAGE, f"--room is {asked.room:g}: expected {low} to {high} °{unit.value}")
        return constant_room(room_c, SystemClock().now().wall_s, zone), f"{temperature_text(room_c, unit)}, {why}"
    if asked.room is not None:
        raise _Refused(Exit.USAGE, "--room is one room, --from and --to another: give one of them")
    seen_s = Recorded(settings.store.directory, untouched=True).last_seen()
    if seen_s is None:
        raise _Refused(Exit.STORE, "nothing was ever recorded: give --room instead of --from and --to")
    until_s = seen_s if asked.until is None else moment(asked.until, zone, seen_s, end=True)
    since_s = until_s - 2 * 86_400.0 if asked.since is None else moment(asked.since, zone, seen_s)
    if until_s - since_s > _LONGEST_S:
        raise _Refused(Exit.USAGE, "--from and --to are more than 14 days apart: a drill of them would take too long")
    try:
        return recorded_room(settings, since_s, until_s)
    except RoomError as error:
        raise _Refused(Exit.REFUSED, str(error)) from error


def _head(settings: Settings, tub: DrillTub, room: str) -> list[str]:
    from matwarden.report.drill_text import field_text

    head = [field_text("tub", tub.told), field_text("room", room)]
    if settings.push is None:
        head.append(field_text("push", "NOT SET: your settings have no [push], so no phone would ring at all"))
    return head


def _tell(
    asked: argparse.Namespace,
    settings: Settings,
    enclosure: Enclosure,
    head: Sequence[str],
    rows: Sequence[Drilled],
    others: Sequence[Drilled],
) -> int:
    from matwarden.report.drill_text import drill_document, drill_text, table_text

    zone = ZoneInfo(settings.zone)
    if asked.all:
        text = table_text(rows, enclosure, head, settings.unit)
    else:
        text = drill_text(rows[0], enclosure, head, others, settings.unit, zone)
    if asked.json:
        document = [drill_document(row, enclosure, others) for row in rows]
        print(json.dumps(document if asked.all else document[0], indent=2, ensure_ascii=False))
    else:
        print(text)
    if asked.out is not None:
        name = f"drill-{enclosure.id}-{'all' if asked.all else rows[0].case.id}"
        asked.out.mkdir(parents=True, exist_ok=True)
        (asked.out / f"{name}.txt").write_text(f"{text}\n", encoding="utf-8")
        if not asked.all:
            from matwarden.report.drill_picture import drill_png

            (asked.out / f"{name}.png").write_bytes(drill_png(rows[0], enclosure, settings.unit))
    return Exit.OK


def _needs_pictures() -> None:
    try:
        import matplotlib  # noqa: F401
    except ModuleNotFoundError as error:
        raise _Refused(
            Exit.REFUSED, "--out makes a picture, which needs matwarden[report]: pip install 'matwarden[report]'"
        ) from error


def _progress(text: str) -> None:
    if sys.stderr.isatty():
        print(f"\r\x1b[K{text}", end="", file=sys.stderr, flush=True)
