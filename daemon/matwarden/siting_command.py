"""`matwarden siting`: places side by side, from probes left on shelves."""

from __future__ import annotations

import argparse
import json
import sys
from zoneinfo import ZoneInfo

from matwarden.exit_codes import Exit
from matwarden.settings import Settings, load
from matwarden.terms import Enclosure
from matwarden.time_range import RangeError, add_range_arguments, moment

__all__ = ["add_arguments", "carry_out"]

_DAYS_S = 30 * 86_400.0


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden siting`."""
    sub.add_argument(
        "probes",
        nargs="*",
        metavar="PROBE",
        help="its id in the settings; default: every room probe, and those inside tubs without a mat",
    )
    add_range_arguments(sub, "30d")
    sub.add_argument(
        "--tub",
        metavar="ENCLOSURE",
        help="the tub that is to stand there: its band counts, and its fit if it is commissioned; "
        "default: the tub with the narrowest band",
    )


def carry_out(asked: argparse.Namespace) -> int:
    """Print the comparison; returns the exit code.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.control_client import unknown_text
    from matwarden.sinks.store_read import Recorded
    from matwarden.sinks.store_schema import StoreError
    from matwarden.siting import tightest

    settings = load(asked.settings)
    zone = ZoneInfo(settings.zone)
    tub = tightest(settings.enclosures)
    if asked.tub is not None:
        named = next((each for each in settings.enclosures if each.id == asked.tub), None)
        if named is None:
            print(f"matwarden: {unknown_text(each.id for each in settings.enclosures)}", file=sys.stderr)
            return Exit.UNKNOWN
        tub = named
    try:
        # "Now" is the record's: of a program that has ended, the end of what it recorded.
        seen_s = Recorded(settings.store.directory).last_seen()
        if seen_s is None:
            print("matwarden: nothing was ever recorded", file=sys.stderr)
            return Exit.STORE
        until_s = seen_s if asked.until is None else moment(asked.until, zone, seen_s, end=True)
        since_s = until_s - _DAYS_S if asked.since is None else moment(asked.since, zone, seen_s)
        if until_s <= since_s:
            print("matwarden: --to is not after --from", file=sys.stderr)
            return Exit.USAGE
        return _show(asked, settings, tub, since_s, until_s)
    except RangeError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.USAGE
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE


def _show(asked: argparse.Namespace, settings: Settings, tub: Enclosure, since_s: float, until_s: float) -> int:
    from matwarden.report.siting_document import siting_document
    from matwarden.report.siting_text import siting_text
    from matwarden.siting import every_probe, places_named, places_of, sited

    try:
        probes = places_named(settings, asked.probes) if asked.probes else places_of(settings)
    except KeyError as error:
        known = ", ".join(each.id for each in every_probe(settings))
        print(f"matwarden: there is no probe '{error.args[0]}' in the settings; there are {known}", file=sys.stderr)
        return Exit.UNKNOWN
    if not probes:
        print(
            "matwarden: no probe lies in a place: give a probe the role room, leave one in a tub without a mat, or "
            "name the probes of a tub that was not heated",
            file=sys.stderr,
        )
        return Exit.UNKNOWN
    found = sited(settings, tub, probes, since_s, until_s)
    if found is None:
        print("matwarden: nothing was recorded then", file=sys.stderr)
        return Exit.UNKNOWN
    if asked.json:
        print(json.dumps(siting_document(found.found, tub), indent=2, ensure_ascii=False))
    else:
        print(siting_text(found.found, _whose(asked, settings, tub), settings.unit, ZoneInfo(settings.zone)))
    return Exit.OK if found.found.places else Exit.REFUSED


def _whose(asked: argparse.Namespace, settings: Settings, tub: Enclosure) -> str:
    """Whose band it is that counts, and why."""
    if asked.tub is None and len({each.band for each in settings.enclosures}) > 1:
        return f"{tub.name}'s, the narrowest of the house"
    if asked.tub is None and len(settings.enclosures) > 1:
        return "that of every tub"
    return f"{tub.name}'s"
