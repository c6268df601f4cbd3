"""`matwarden siting`: places side by side, from probes left on shelves."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from matwarden.exit_codes import Exit
from matwarden.settings import Settings, load
from matwarden.terms import Enclosure
from matwarden.time_range import RangeError, add_range_arguments, moment

if TYPE_CHECKING:
    from matwarden.core.in_tub import InTub
    from matwarden.siting import Sited

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
    from matwarden.siting import commissioned, tightest

    settings = load(asked.settings)
    zone = ZoneInfo(settings.zone)
    tub = tightest(settings.enclosures, commissioned(settings))
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
    from matwarden.core.in_tub import ranked_by_tub
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
    tubs, notes = _in_tub(settings, tub, found) if found.found.places else ({}, [])
    ordered = ranked_by_tub(found.found, tubs) if tubs else found.found
    if asked.json:
        print(json.dumps(siting_document(ordered, tub, tubs), indent=2, ensure_ascii=False))
    else:
        zone, whose = ZoneInfo(settings.zone), _whose(asked, settings, tub)
        print(siting_text(ordered, whose, settings.unit, zone, tubs, tub.name, notes))
    return Exit.OK if found.found.places else Exit.REFUSED


def _in_tub(settings: Settings, tub: Enclosure, found: Sited) -> tuple[dict[str, InTub], list[str]]:
    """What the tub would have done in each place, where its fit is kept; and what is to be known about that."""
    from matwarden.core.units import difference_text
    from matwarden.report.siting_text import PROBE_K
    from matwarden.siting import commissioned, every_probe

    fitted = commissioned(settings)
    if tub not in fitted:
        others = " or ".join(f"--tub {each.id}" for each in fitted)
        return {}, [f"A commissioned tub tells more: ask with {others}."] if fitted else []
    try:
        from matwarden.commissioned import CommissionedError
        from matwarden.siting_fit import in_fitted
    except ModuleNotFoundError as error:
        extra = "needs matwarden[analysis]: pip install 'matwarden[analysis]'"
        return {}, [f"What {tub.name} would have done in each place {extra} ({error.name} is missing)."]
    try:
        tubs = in_fitted(settings, tub, found)
    except CommissionedError as error:
        return {}, [f"What {tub.name} would have done in each place cannot be told: {error}."]
    notes = []
    if any(each.other_probe for each in tubs.values()):
        notes.append(
            f"{tub.name} was fitted with another probe in the room: that two probes may each be off "
            f"({difference_text(PROBE_K, settings.unit)}) is in its intervals."
        )
    if any(each.energy_wh_per_day is None for each in tubs.values()):
        notes.append(f"The watts of {tub.name}'s mat are not in the settings, so no energy is told.")
    inside = [each.id for each in every_probe(settings) if each.id in tubs and each.enclosure is not None]
    if inside:
        notes.append(
            f"{', '.join(inside)}: read inside a tub, which evens out what the place does; {tub.name} there is told "
            "with milder nights than it would have."
        )
    return tubs, notes


def _whose(asked: argparse.Namespace, settings: Settings, tub: Enclosure) -> str:
    """Whose band it is that counts, and why."""
    if asked.tub is None and len({each.band for each in settings.enclosures}) > 1:
        return f"{tub.name}'s, the narrowest of the house"
    if asked.tub is None and len(settings.enclosures) > 1:
        return "that of every tub"
    return f"{tub.name}'s"
