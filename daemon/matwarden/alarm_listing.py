"""`matwarden alarms`: what is on, what was in the last days and how good it was, and every alarm there is."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping
from typing import Any

from matwarden.exit_codes import Exit
from matwarden.first_cut import DEFAULT_SETTINGS
from matwarden.settings import Settings, load

__all__ = ["add_arguments", "carry_out"]

# A year is more than any question needs, and still read in a moment.
_DAYS_AT_MOST = 3660.0

Ask = Callable[[Settings], dict[str, Any] | None]


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden alarms`."""
    what = sub.add_mutually_exclusive_group()
    what.add_argument("--history", action="store_true", help="what changed in the last days, who did it, how many")
    what.add_argument("--table", action="store_true", help="every alarm there is: limits, delays, what to do")
    sub.add_argument("--days", type=float, default=30.0, metavar="N", help="how far back, with --history (default: 30)")


def carry_out(asked: argparse.Namespace, ask: Ask) -> int:
    """Print what was asked for; returns the exit code.

    Args:
        ask: the running station's list of alarms; None when none runs.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.sinks.store_schema import StoreError

    if asked.table:
        return _table(asked)
    if not 0.0 < asked.days <= _DAYS_AT_MOST:
        print(f"matwarden: --days {asked.days:g} is not between 0 and {_DAYS_AT_MOST:g}", file=sys.stderr)
        return Exit.USAGE
    settings = load(asked.settings)
    try:
        return _history(asked, settings) if asked.history else _list(asked, settings, ask)
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE


def _table(asked: argparse.Namespace) -> int:
    from matwarden.report.alarm_table_text import table_document, table_text
    from matwarden.settings.alarm_times import HOUSE_TIMES
    from matwarden.terms import Unit

    if asked.settings == DEFAULT_SETTINGS and not DEFAULT_SETTINGS.exists():
        document, unit = table_document(HOUSE_TIMES), Unit.C
    else:
        settings = load(asked.settings)
        document, unit = table_document(settings.alarms.times, settings.enclosures), settings.unit
    _print(asked, document, lambda: table_text(document, unit))
    return Exit.OK


def _history(asked: argparse.Namespace, settings: Settings) -> int:
    from zoneinfo import ZoneInfo

    from matwarden.alarm_history import deeds_of, history_document, history_of, quality_of
    from matwarden.report.alarm_list_text import history_text
    from matwarden.report.alarm_quality_text import quality_lines

    history = history_of(settings, asked.days)
    quality = quality_of(history, settings)
    document = history_document(history, quality, deeds_of(settings, history))
    figures = quality_lines(quality, asked.days)
    _print(asked, document, lambda: history_text(document, figures, ZoneInfo(settings.zone)))
    return Exit.OK


def _list(asked: argparse.Namespace, settings: Settings, ask: Ask) -> int:
    from zoneinfo import ZoneInfo

    from matwarden.alarm_history import recorded_alarms
    from matwarden.clocks import SystemClock
    from matwarden.report.alarm_list_text import list_text

    answer = ask(settings)
    if answer is not None:
        if "alarms" not in answer:
            print(answer["text"], file=sys.stderr)
            return Exit.REFUSED
        document = {"running": True, "alarms": answer["alarms"]}
    else:
        document = recorded_alarms(settings, SystemClock().now().wall_s)
    _print(asked, document, lambda: list_text(document, ZoneInfo(settings.zone)))
    return Exit.OK


def _print(asked: argparse.Namespace, document: Mapping[str, Any], text: Callable[[], str]) -> None:
    print(json.dumps(dict(document), indent=2, ensure_ascii=False) if asked.json else text())
