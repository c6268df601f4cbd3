"""What can be asked whether or not anything runs: `matwarden status`, `digest` and `why`."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from matwarden.asking import ask, show
from matwarden.exit_codes import Exit
from matwarden.settings import Settings, load

__all__ = ["digest", "status", "why"]


def status(asked: argparse.Namespace) -> int:
    """Every tub, its heat and its alarms."""
    from zoneinfo import ZoneInfo

    from matwarden.clocks import SystemClock
    from matwarden.recorded import recorded_status
    from matwarden.report.status_text import status_text
    from matwarden.sinks.store_schema import StoreError

    settings = load(asked.settings)
    if asked.follow:
        from matwarden.follow import follow

        if asked.json:
            print("matwarden: --follow is for people: it has no --json; ask anew for each", file=sys.stderr)
            return Exit.USAGE
        return follow(settings)
    answer = ask(settings, {"do": "status"})
    if answer is not None:
        found = answer.get("status")
        if found is None:
            print(answer["text"], file=sys.stderr)
            return Exit.REFUSED
    else:
        try:
            found = recorded_status(settings, SystemClock().now().wall_s)
        except StoreError as error:
            print(f"matwarden: not running, and {error}", file=sys.stderr)
            return Exit.NOT_RUNNING
        if found is None:
            print("matwarden: not running, and nothing was ever recorded", file=sys.stderr)
            return Exit.NOT_RUNNING
    if asked.json:
        print(json.dumps(found, indent=2, ensure_ascii=False))
    else:
        print(status_text(found, settings.house_name, settings.unit, ZoneInfo(settings.zone)))
    return Exit.OK


def digest(asked: argparse.Namespace) -> int:
    """A digest that was made, or everything since."""
    from matwarden.night import kept_night, night_so_far
    from matwarden.sinks.store_schema import StoreError

    settings = load(asked.settings)
    if asked.date is not None and not _is_date(asked.date):
        print(f"matwarden: '{asked.date}' is not a date such as 2026-01-14", file=sys.stderr)
        return Exit.USAGE
    try:
        found = night_so_far(settings) if asked.date is None else kept_night(settings, asked.date)
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE
    if found is None:
        print(f"matwarden: there is no digest of {asked.date or 'the time so far'}", file=sys.stderr)
        return Exit.UNKNOWN
    text, document = found
    print(json.dumps(document, indent=2, ensure_ascii=False) if asked.json else text)
    return Exit.OK


def why(asked: argparse.Namespace) -> int:
    """Why heat is cut or allowed."""
    from matwarden.clocks import SystemClock
    from matwarden.recorded import recorded_why
    from matwarden.sinks.store_schema import StoreError

    settings = load(asked.settings)
    answer = ask(settings, {"do": "why", "enclosure": asked.enclosure})
    if answer is not None:
        return show(answer, asked.json)
    try:
        text = recorded_why(settings, asked.enclosure, SystemClock().now().wall_s)
    except StoreError as error:
        print(f"matwarden: not running, and {error}", file=sys.stderr)
        return Exit.NOT_RUNNING
    return show({"running": False, **_not_running(settings, asked.enclosure, text)}, asked.json)


def _not_running(settings: Settings, enclosure_id: str, text: str | None) -> dict[str, Any]:
    """What the station would answer to `why`, from the settings and the last recorded verdict."""
    from matwarden.control_client import no_mat_text, unknown_text

    found = next((each for each in settings.enclosures if each.id == enclosure_id), None)
    if found is None:
        return {"ok": False, "unknown": True, "text": unknown_text(each.id for each in settings.enclosures)}
    if found.mat is None:
        return {"ok": False, "text": no_mat_text(found.name)}
    return {"ok": True, "text": text or f"Nothing runs, so heat is cut. Nothing was ever decided for {found.name}."}


def _is_date(text: str) -> bool:
    from datetime import date

    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
