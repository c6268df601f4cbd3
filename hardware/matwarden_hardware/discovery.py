"""What the machine has that tells a temperature: found through sysfs, named as the settings name it, never by number.

Nothing is read but names; a found probe is opened by its identity through its own driver, as the station opens it.
What is there and cannot be used is listed too, with the reason: a keeper who plugged it in looks for it.

A DHT22 that a child process reads is not found: nothing on its wire can be asked who it is.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from matwarden_hardware.hwmon import HwmonProbe
from matwarden_hardware.iio import IioProbe
from matwarden_hardware.onewire import OneWireProbe
from matwarden_hardware.ports import Probe
from matwarden_hardware.sysfs import Device, named_devices, read_text

__all__ = ["Found", "discover"]

_ONE_WIRE = re.compile(r"([0-9a-f]{2})-[0-9a-f]{12}")
_I2C = re.compile(r"[0-9]+-00([0-9a-f]{2})")
_IIO_TEMPERATURE = re.compile(r"in_temp[0-9]*(_[a-z]+)?_(input|raw)")

_DS18B20 = "28"
# The kernel's w1_therm serves these families as well; codes from memory.
_OTHER_THERMOMETERS = {
    "10": "a DS18S20 or DS1820: its bytes mean something else",
    "22": "a DS1822: as a DS18B20, but only good to 2 K",
    "3b": "a thermocouple reader or DS1825: its bytes mean something else",
}

# Names of the kernel's drivers lm75, jc42, tmp102, ds1621 and sht3x for parts without humidity; from memory.
_I2C_THERMOMETERS = frozenset(["ds1621", "ds7505", "jc42", "lm75", "max31725", "mcp980x", "sts3x", "tmp102", "tmp75"])


class Found(NamedTuple):
    """One thing that tells a temperature, or looks as if it did.

    Attributes:
        driver: "one-wire", "iio" or "hwmon", as the settings say it.
        keys: the keys that name it in the settings, unambiguous among what was found.
        answers_to: every set of keys that means it, `keys` among them.
        place: where the kernel shows it, without its number.
        probe: reads it; None when it cannot be used.
        why_not: why it cannot be used; empty when it can.
        part_of_machine: True for what measures the computer itself or is no known sensor: of interest to few.
    """

    driver: str
    keys: dict[str, str]
    answers_to: tuple[dict[str, str], ...]
    place: str
    probe: Probe | None
    why_not: str = ""
    part_of_machine: bool = False


def discover(root: Path = Path("/sys")) -> list[Found]:
    """Everything with a temperature, in a stable order: the 1-wire bus, IIO devices, hardware monitors.

    Args:
        root: where sysfs is mounted.

    Raises:
        OSError: sysfs is there and cannot be listed.
    """
    return [*_one_wire(root), *_iio(root), *_hwmon(root)]


def _one_wire(root: Path) -> Iterator[Found]:
    try:
        entries = sorted(os.listdir(root / "bus/w1/devices"))
    except FileNotFoundError:
        return
    for entry in entries:
        match = _ONE_WIRE.fullmatch(entry)
        if match is None:
            continue  # the bus master
        keys = {"address": entry}
        family = match[1]
        if family == _DS18B20:
            yield Found("one-wire", keys, (keys,), "1-wire bus", OneWireProbe(entry, root))
        elif family == "00":
            why = "noise and no device: the pull-up is missing, or the data wire is loose"
            yield Found("one-wire", keys, (keys,), "1-wire bus", None, why)
        elif family in _OTHER_THERMOMETERS:
            why = f"not supported: {_OTHER_THERMOMETERS[family]}; use a DS18B20"
            yield Found("one-wire", keys, (keys,), "1-wire bus", None, why)


def _iio(root: Path) -> Iterator[Found]:
    devices = list(named_devices(root / "bus/iio/devices", "iio:device", read_text))
    # A device answers to its name and to its parent's: what two of them answer to names neither.
    taken = Counter(word for device in devices for word in {device.name, device.path.parent.name})
    for device in sorted(devices, key=lambda device: (device.name, device.path.parent.name)):
        parent = device.path.parent.name
        channels = [file for file in _files(device) if _IIO_TEMPERATURE.fullmatch(file)]
        if not channels:
            continue
        names = tuple({"device": word} for word in dict.fromkeys((device.name, parent)) if word)
        keys = next((each for each in names if taken[each["device"]] == 1), None)
        place = f"industrial I/O, at {parent}"
        if "in_temp_input" not in channels:
            why = f"not supported: it has no in_temp_input, only {', '.join(channels)}"
            yield Found("iio", keys or names[0], names, place, None, why)
        elif keys is None:
            why = "no name of its own: another device has the same name and the same parent"
            yield Found("iio", names[0], names, place, None, why)
        else:
            yield Found("iio", keys, names, place, IioProbe(keys["device"], root))


def _hwmon(root: Path) -> Iterator[Found]:
    devices = [
        (device.name, device.path.parent.parent.name, files)
        for device in named_devices(root / "class/hwmon", "hwmon", read_text)
        if "temp1_input" in (files := _files(device))
    ]
    taken = Counter((name, parent[-2:]) for name, parent, _ in devices if _I2C.fullmatch(parent))
    for name, parent, files in sorted(devices):
        chip = {"chip": name}
        on_i2c = _I2C.fullmatch(parent)
        if on_i2c is None:
            why = "not on an I2C bus: it measures the computer, not a tub"
            yield Found("hwmon", chip, (chip,), "hardware monitor", None, why, part_of_machine=True)
            continue
        anywhere, here = {**chip, "address": f"0x{on_i2c[1]}"}, {**chip, "address": parent}
        names = (chip, anywhere, here)
        keys = anywhere if taken[name, on_i2c[1]] == 1 else here
        place = f"hardware monitor, at {parent}"
        if "humidity1_input" in files or name in _I2C_THERMOMETERS:
            yield Found("hwmon", keys, names, place, HwmonProbe(name, keys["address"], root))
        else:
            why = "not known as a sensor of air or surfaces: it may measure itself, as clock chips do"
            yield Found("hwmon", keys, names, place, None, why, part_of_machine=True)


def _files(device: Device) -> list[str]:
    try:
        return sorted(os.listdir(device.path))
    except OSError:
        return []  # it vanished while we looked
