"""`matwarden extremes`: lowest and highest of every series over any range, a year as quickly as a night."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.exit_codes import Exit
from matwarden.settings import load
from matwarden.time_range import RangeError, add_range_arguments, moment

__all__ = ["add_arguments", "carry_out"]


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden extremes`."""
    sub.add_argument(
        "enclosure", nargs="?", metavar="ENCLOSURE", help="only of this tub; default: of all, and the room"
    )
    add_range_arguments(sub, "the beginning of the record")


def carry_out(asked: argparse.Namespace) -> int:
    """Print them; returns the exit code.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.clocks import SystemClock
    from matwarden.control_client import unknown_text
    from matwarden.report.extremes_text import extremes_document, extremes_text
    from matwarden.sinks.store_schema import StoreError
    from matwarden.sinks.store_sums_read import Sums
    from matwarden.terms import ProbeTerms, Quantity

    settings = load(asked.settings)
    zone = ZoneInfo(settings.zone)
    now_s = SystemClock().now().wall_s
    places: dict[str, Sequence[ProbeTerms]] = {each.name: each.probes for each in settings.enclosures}
    if asked.enclosure is not None:
        places = {each.name: each.probes for each in settings.enclosures if each.id == asked.enclosure}
        if not places:
            print(f"matwarden: {unknown_text(each.id for each in settings.enclosures)}", file=sys.stderr)
            return Exit.UNKNOWN
    elif settings.room_probes:
        places["Room"] = settings.room_probes
    try:
        since_s = -1e10 if asked.since is None else moment(asked.since, zone, now_s)
        until_s = 1e11 if asked.until is None else moment(asked.until, zone, now_s, end=True)
    except RangeError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.USAGE
    if until_s <= since_s:
        print("matwarden: --to is not after --from", file=sys.stderr)
        return Exit.USAGE
    keys = [(probe.id, quantity) for probes in places.values() for probe in probes for quantity in Quantity]
    try:
        sums = Sums(settings.store.directory)
        found = sums.series_extremes(since_s, until_s, keys)
        days = sums.series_days(since_s, until_s, keys)
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE
    if not found:
        print("matwarden: nothing was recorded then", file=sys.stderr)
        return Exit.UNKNOWN
    return _print(
        asked, extremes_document(places, found, days), lambda: extremes_text(places, found, days, settings.unit, zone)
    )


def _print(asked: argparse.Namespace, document: Mapping[str, Any], text: Any) -> int:
    print(json.dumps(document, indent=2, ensure_ascii=False) if asked.json else text())
    return Exit.OK
