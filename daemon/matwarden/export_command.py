"""`matwarden export`: readings, hours or days of any range, one after the other, to standard output."""

from __future__ import annotations

import argparse
import csv
import io
import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from matwarden.exit_codes import Exit
from matwarden.settings import Settings, load
from matwarden.time_range import RangeError, add_range_arguments, moment

if TYPE_CHECKING:
    from matwarden.sinks.store_moments import RecordedReading

__all__ = ["add_arguments", "carry_out"]

_UNITS = {"temperature": "Cel", "humidity": "%RH"}


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden export`."""
    sub.add_argument(
        "enclosure", nargs="?", metavar="ENCLOSURE", help="only of this tub; default: of all, and the room"
    )
    add_range_arguments(sub, "the beginning of the record")
    sub.add_argument(
        "--format", choices=("csv", "senml"), default="csv", help="CSV (RFC 4180) or SenML JSON (RFC 8428); default csv"
    )


def carry_out(asked: argparse.Namespace) -> int:
    """Write what was asked for; returns the exit code.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.clocks import SystemClock
    from matwarden.sinks.store_moments import readings_in
    from matwarden.sinks.store_schema import StoreError

    settings = load(asked.settings)
    now_s = SystemClock().now().wall_s
    zone = ZoneInfo(settings.zone)
    try:
        since_s = float("-1e10") if asked.since is None else moment(asked.since, zone, now_s)
        until_s = float("1e11") if asked.until is None else moment(asked.until, zone, now_s, end=True)
    except RangeError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.USAGE
    if until_s <= since_s:
        print("matwarden: --to is not after --from", file=sys.stderr)
        return Exit.USAGE
    probes = None if asked.enclosure is None else _probes(settings, asked.enclosure)
    if probes is not None and not probes:
        known = ", ".join(each.id for each in settings.enclosures)
        print(f"matwarden: there is no enclosure '{asked.enclosure}'; there are {known}", file=sys.stderr)
        return Exit.UNKNOWN
    try:
        found = readings_in(settings.store.directory, since_s, until_s, probes)
        if asked.format == "senml":
            from matwarden.report.senml import senml

            pieces: Iterable[str] = senml(settings.house_id, found)
        else:
            pieces = _csv(settings, found)
        write = sys.stdout.write
        for piece in pieces:
            write(piece)
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE
    return Exit.OK


def _probes(settings: Settings, enclosure: str) -> list[str]:
    return [probe.id for each in settings.enclosures if each.id == enclosure for probe in each.probes]


def _csv(settings: Settings, found: Iterable[RecordedReading]) -> Iterator[str]:
    """A header, then a line a reading: RFC 4180, with the line ends it asks for."""
    from matwarden.core.units import rfc3339_ms_z

    terms = {probe.id: probe for each in settings.enclosures for probe in each.probes}
    terms |= {probe.id: probe for probe in settings.room_probes}
    buffer = io.StringIO()
    write = csv.writer(buffer).writerow

    def written(row: Iterable[object]) -> str:
        write(row)
        text = buffer.getvalue()
        buffer.seek(0)
        buffer.truncate()
        return text

    yield written(("time", "probe", "enclosure", "role", "side", "quantity", "value", "unit"))
    for reading in found:
        # One that is no longer in the settings is still in the record.
        probe = terms.get(reading.probe)
        place = ("", "", "") if probe is None else (probe.enclosure or "", probe.role.value, probe.side or "")
        quantity = reading.quantity.value
        value = f"{reading.value:.3f}"
        yield written((rfc3339_ms_z(reading.wall_s), reading.probe, *place, quantity, value, _UNITS[quantity]))
