"""`matwarden done` and `matwarden upkeep`: what was done for a tub, and what is due."""

from __future__ import annotations

import argparse
import getpass
import json
import sys
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.asking import ask, show
from matwarden.exit_codes import Exit
from matwarden.settings import load

__all__ = ["add_done_arguments", "carry_out_done", "carry_out_upkeep"]


def add_done_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden done`."""
    from matwarden.core.upkeep import Task

    sub.add_argument("enclosure", metavar="ENCLOSURE", help="its id in the settings file")
    sub.add_argument(
        "task",
        choices=[task.value for task in Task],
        help="substrate changed; old half kept (split), looked through and thrown away (discard); fed; probes checked",
    )
    when = sub.add_mutually_exclusive_group()
    when.add_argument("--on", metavar="YYYY-MM-DD", help="the day it was done; default: today")
    when.add_argument("--undo", action="store_true", help="take back the newest of it that was told")


def carry_out_done(asked: argparse.Namespace) -> int:
    """Record what was done; returns the exit code.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.clocks import SystemClock
    from matwarden.control_client import unknown_text
    from matwarden.core.dates import local_date
    from matwarden.core.upkeep import Task
    from matwarden.sinks.store_read import Deed
    from matwarden.sinks.store_schema import StoreError
    from matwarden.upkeep import due_of, record_deed, told_last, worded

    settings = load(asked.settings)
    now_s = SystemClock().now().wall_s
    today = local_date(now_s, ZoneInfo(settings.zone))
    tub = next((each for each in settings.enclosures if each.id == asked.enclosure), None)
    if tub is None:
        print(f"matwarden: {unknown_text(each.id for each in settings.enclosures)}", file=sys.stderr)
        return Exit.UNKNOWN
    task = Task(asked.task)
    try:
        day = _day(asked, today)
    except ValueError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.USAGE
    verb = "undo" if asked.undo else "done"
    try:
        if asked.undo:
            told = told_last(settings, tub.id, task)
            if told is None:
                print(f"matwarden: there is nothing to take back: {tub.id} has no '{task}' on record", file=sys.stderr)
                return Exit.REFUSED
            day = told
        answer = ask(settings, {"do": verb, "enclosure": tub.id, "task": task.value, "day": day.isoformat()})
        if answer is None:
            text = worded(verb, tub.name, task, day)
            record_deed(settings.store.directory, Deed(now_s, _me(), f"{verb} {task} {day}", tub.id, True, text))
            answer = {"ok": True, "text": text}
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE
    if answer["ok"] and not asked.undo and not asked.json:
        following = [each for each in due_of(settings) if each.enclosure == tub.id and each.task is task]
        if following:
            from matwarden.report.units import date_text

            answer = {**answer, "text": f"{answer['text']} Due again from {date_text(following[0].from_day)}."}
    return show(answer, asked.json)


def carry_out_upkeep(asked: argparse.Namespace) -> int:
    """Print what was done and what is due; returns the exit code.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.clocks import SystemClock
    from matwarden.core.dates import local_date
    from matwarden.report.upkeep_text import upkeep_text
    from matwarden.sinks.store_schema import StoreError
    from matwarden.upkeep import due_of

    settings = load(asked.settings)
    today = local_date(SystemClock().now().wall_s, ZoneInfo(settings.zone))
    try:
        due = due_of(settings)
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE
    if asked.json:
        print(json.dumps({"today": today.isoformat(), "due": [_document(each, today) for each in due]}, indent=2))
    else:
        print(upkeep_text({each.id: each.name for each in settings.enclosures}, due, today))
    return Exit.OK


def _document(due: Any, today: date) -> dict[str, Any]:
    return {
        "enclosure": due.enclosure,
        "task": due.task.value,
        "done_on": due.done_on.isoformat(),
        "due_from": due.from_day.isoformat(),
        "due_by": None if due.by_day is None else due.by_day.isoformat(),
        "due": due.is_due(today),
        "overdue": due.is_overdue(today),
    }


def _day(asked: argparse.Namespace, today: date) -> date:
    if asked.on is None:
        return today
    try:
        day = date.fromisoformat(asked.on)
    except ValueError:
        raise ValueError(f"'{asked.on}' is not a date such as 2026-01-14") from None
    if day > today:
        raise ValueError(f"{day} has not come yet: --on takes the day on which it was done")
    return day


def _me() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "somebody"
