"""`matwarden history`: a chart of one tub's past on the terminal."""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.exit_codes import Exit
from matwarden.settings import Settings, load
from matwarden.terms import Enclosure
from matwarden.time_range import RangeError, add_range_arguments, moment

__all__ = ["add_arguments", "carry_out"]

_DAY_S = 86_400.0


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden history`."""
    sub.add_argument("enclosure", metavar="ENCLOSURE", help="its id in the settings file")
    add_range_arguments(sub, "24h")


def carry_out(asked: argparse.Namespace) -> int:
    """Print the chart; returns the exit code.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.control_client import unknown_text
    from matwarden.sinks.store_read import Recorded
    from matwarden.sinks.store_schema import StoreError

    settings = load(asked.settings)
    zone = ZoneInfo(settings.zone)
    enclosure = next((each for each in settings.enclosures if each.id == asked.enclosure), None)
    if enclosure is None:
        print(f"matwarden: {unknown_text(each.id for each in settings.enclosures)}", file=sys.stderr)
        return Exit.UNKNOWN
    try:
        # "Now" is the record's: of a program that has ended, the end of what it recorded.
        seen_s = Recorded(settings.store.directory).last_seen()
        if seen_s is None:
            print("matwarden: nothing was ever recorded", file=sys.stderr)
            return Exit.STORE
        until_s = seen_s if asked.until is None else moment(asked.until, zone, seen_s, end=True)
        since_s = until_s - _DAY_S if asked.since is None else moment(asked.since, zone, seen_s)
        if until_s <= since_s:
            print("matwarden: --to is not after --from", file=sys.stderr)
            return Exit.USAGE
        return _show(asked, settings, enclosure, since_s, until_s)
    except RangeError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.USAGE
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE


def _show(asked: argparse.Namespace, settings: Settings, enclosure: Enclosure, since_s: float, until_s: float) -> int:
    from matwarden.history import columns_between
    from matwarden.report.history_chart import Marks, chart, columns_for

    terminal = sys.stdout.isatty()
    width = shutil.get_terminal_size((80, 24)).columns
    columns = columns_between(settings, enclosure, since_s, until_s, columns_for(width))
    if not columns:
        print("matwarden: nothing was recorded then", file=sys.stderr)
        return Exit.UNKNOWN
    if asked.json:
        print(json.dumps(_document(enclosure, columns), indent=2, ensure_ascii=False))
        return Exit.OK
    colour = terminal and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
    unicode = (sys.stdout.encoding or "").lower().replace("-", "") in ("utf8", "utf16", "utf32")
    marks = Marks.of(unicode, colour)
    zone = ZoneInfo(settings.zone)
    print(chart(enclosure.name, enclosure.band, columns, settings.unit, zone, marks, enclosure.mat is not None))
    return Exit.OK


def _document(enclosure: Enclosure, columns: Sequence[Any]) -> dict[str, Any]:
    from matwarden.core.units import rfc3339_z

    def pair(step: Any) -> list[float] | None:
        return None if step is None else [step.lowest, step.highest]

    return {
        "enclosure": enclosure.id,
        "band_c": [enclosure.band.low_c, enclosure.band.high_c],
        "columns": [
            {
                "from": rfc3339_z(each.wall_s),
                "lasts_s": round(each.lasts_s, 3),
                "inside_c": pair(each.inside),
                "wall_c": pair(each.wall),
                "room_c": pair(each.room),
                "heat_share": None if each.heat_share is None else round(each.heat_share, 4),
                "alarm": each.alarm,
            }
            for each in columns
        ],
    }
