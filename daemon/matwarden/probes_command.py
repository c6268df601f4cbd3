"""`matwarden probes`: what the machine has, what each tells now, and the lines that put it into the settings."""

from __future__ import annotations

import argparse
import json
import re
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from itertools import count
from pathlib import Path
from typing import Any, NamedTuple

from matwarden.devices import Discover, FoundProbe
from matwarden.exit_codes import Exit
from matwarden.report.probes_text import heading, probe_text, rest_text, settings_lines
from matwarden.settings import Settings, load
from matwarden.settings.resolved import Dht22, Hwmon, Iio, OneWire, TwinProbe
from matwarden_hardware.ports import Probe, ProbeError, Sample

__all__ = ["Survey", "add_arguments", "carry_out", "reading", "survey"]

# A conversion takes 750 ms, and a running station with twenty probes may be served first.
DEADLINE_S = 15.0


class Survey(NamedTuple):
    """What was found, against the settings if there are any.

    Attributes:
        found: what to list, in order. used_by: the probe ids that mean it, of the same length.
        missing: why a probe of the settings is not among them, by probe id.
        hidden: how many parts of the machine itself were left out.
    """

    found: list[FoundProbe]
    used_by: list[list[str]]
    missing: dict[str, str]
    hidden: int


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden probes`."""
    sub.add_argument("-s", "--settings", type=Path, metavar="FILE", help="mark what these settings use or miss")
    sub.add_argument("--all", action="store_true", help="list what measures the computer itself too")
    sub.add_argument("--sysfs", type=Path, default=Path("/sys"), help=argparse.SUPPRESS)


def carry_out(asked: argparse.Namespace, discover: Discover) -> int:
    """Look, read, print; one probe after the other, so that a running station waits for one reading at the most.

    Raises:
        SettingsError: settings were named and cannot be used.
    """
    settings = load(asked.settings) if asked.settings else None
    try:
        everything = discover(asked.sysfs)
    except OSError as error:
        print(f"matwarden: cannot list the devices of this machine: {error}", file=sys.stderr)
        return Exit.DEVICE
    seen = survey(everything, settings, asked.all)
    names = _suggestions(seen, settings)
    if asked.json:
        print(json.dumps(_document(seen, names), indent=2, ensure_ascii=False))
        return Exit.OK
    unit = settings.unit if settings else None
    print(heading(len(seen.found)))
    for found, users in zip(seen.found, seen.used_by, strict=True):
        print(probe_text(found, reading(found.probe), users, unit), flush=True)
    tables = [settings_lines(found, name) for found, name in zip(seen.found, names, strict=True) if name]
    print(rest_text(tables, seen.missing, seen.hidden), end="")
    return Exit.OK


def survey(everything: Sequence[FoundProbe], settings: Settings | None, show_all: bool) -> Survey:
    """Match what was found with the settings. Touches nothing."""
    used_by: list[list[str]] = [[] for _ in everything]
    missing: dict[str, str] = {}
    for name, driver in settings.probe_drivers.items() if settings else ():
        if isinstance(driver, Dht22):
            missing[name] = f"a DHT22 on GPIO {driver.pin}: not asked here, since a running station may be asking it"
        elif isinstance(driver, TwinProbe):
            missing[name] = "simulated"
        else:
            kind, keys = _named(driver)
            matches = [n for n, found in enumerate(everything) if found.driver == kind and keys in found.answers_to]
            if len(matches) == 1:
                used_by[matches[0]].append(name)
            elif matches:
                places = " and ".join(everything[number].place for number in matches)
                missing[name] = f"{_shown(keys)} means {len(matches)} devices: {places}; name it by its keys above"
            else:
                missing[name] = f"{_shown(keys)} is not there; look at plug and wiring{_overlay(kind)}"
    listed = [n for n, found in enumerate(everything) if show_all or used_by[n] or not found.part_of_machine]
    hidden = len(everything) - len(listed)
    return Survey([everything[n] for n in listed], [used_by[n] for n in listed], missing, hidden)


def reading(probe: Probe | None, deadline_s: float = DEADLINE_S) -> Sample | str | None:
    """What a probe tells now, or why not; None for what cannot be used."""
    if probe is None:
        return None
    answer: list[Sample | str] = []

    def take() -> None:
        try:
            answer.append(probe.read())
        except ProbeError as error:
            answer.append(re.sub(r"^probe .*?: ", "", str(error)))

    # Nothing can end a read that hangs in the kernel; the thread is left to it.
    thread = threading.Thread(target=take, daemon=True)
    thread.start()
    thread.join(deadline_s)
    if not answer:
        return f"no answer within {deadline_s:g} s"
    first = answer[0]
    if isinstance(first, Sample) and first.at_power_on_value:
        return f"{first.temperature_c:g} °C is what it says before it has measured; look at its supply, and ask again"
    return first


def _overlay(kind: str) -> str:
    return "" if kind == "one-wire" else ", and dtoverlay in config.txt"


def _named(driver: OneWire | Iio | Hwmon) -> tuple[str, dict[str, str]]:
    if isinstance(driver, OneWire):
        return "one-wire", {"address": driver.address}
    if isinstance(driver, Iio):
        return "iio", {"device": driver.device}
    return "hwmon", {"chip": driver.chip} | ({"address": driver.address} if driver.address else {})


def _shown(keys: Mapping[str, str]) -> str:
    return ", ".join(f'{key} = "{value}"' for key, value in keys.items())


def _suggestions(seen: Survey, settings: Settings | None) -> list[str | None]:
    """For each of `seen` that is not in use yet an id nobody has: the end of an address, or the device's own name."""
    taken = set(settings.probe_drivers) if settings else set()
    names: list[str | None] = []
    for found, users in zip(seen.found, seen.used_by, strict=True):
        if found.probe is None or users:
            names.append(None)
            continue
        stem = "probe-" + found.keys["address"][-4:] if found.driver == "one-wire" else _id(found.keys)
        name = next(each for each in _numbered(stem) if each not in taken)
        taken.add(name)
        names.append(name)
    return names


def _numbered(stem: str) -> Iterator[str]:
    yield stem
    for number in count(2):
        yield f"{stem}-{number}"


def _id(keys: Mapping[str, str]) -> str:
    """Keys as an id: small letters, digits and single hyphens."""
    text = " ".join(keys.values()).lower().replace("0x", "")
    return re.sub(r"[^a-z0-9]+", "-", text).strip("-")[:56].strip("-") or "probe"


def _document(seen: Survey, names: Sequence[str | None]) -> dict[str, Any]:
    """For scripts; temperatures in Celsius, whatever the keeper's unit."""
    probes = []
    for found, users, name in zip(seen.found, seen.used_by, names, strict=True):
        told = reading(found.probe)
        probes.append(
            {
                "driver": found.driver,
                **found.keys,
                "place": found.place,
                "supported": found.probe is not None,
                "temperature_c": told.temperature_c if isinstance(told, Sample) else None,
                "humidity_pct": told.humidity_pct if isinstance(told, Sample) else None,
                "why_no_reading": found.why_not or (told if isinstance(told, str) else None),
                "used_by": users,
                "settings": settings_lines(found, name) if name else None,
            }
        )
    return {"probes": probes, "not_found": seen.missing, "hidden": seen.hidden}
