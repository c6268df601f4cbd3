"""A sysfs tree in the kernel's own format, in a temporary directory, with every way a probe can fail.

Layout and texts follow the kernel's documentation: w1/slaves/w1_therm, ABI/testing/sysfs-bus-iio and
hwmon/sysfs-interface. Class and bus entries are links into `devices/`, as in a real tree.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

from matwarden_hardware.onewire import crc8
from matwarden_hardware.sysfs import read_text

GOOD_SCRATCHPAD = "64 01 4b 46 7f ff 0c 10 01"  # 22.25 C


def scratchpad(first_eight: str) -> str:
    """Eight bytes in hexadecimal, and their CRC after them."""
    data = bytes.fromhex(first_eight)
    return (data + bytes([crc8(data)])).hex(" ")


def w1_slave(nine: str, verdict: str = "YES", kept: str | None = None, thousandths: int | None = None) -> str:
    """What `w1_slave` holds after `nine` was captured; `kept` are the bytes of the last good capture."""
    second = nine if kept is None else kept
    raw = int.from_bytes(bytes.fromhex(second)[:2], "little", signed=True)
    # As C divides; checked against the datasheet's table in test_onewire.
    shown = int(raw * 1000 / 16) if thousandths is None else thousandths
    return f"{nine} : crc={crc8(bytes.fromhex(nine)[:8]):02x} {verdict}\n{second} t={shown}\n"


class SysfsTree:
    """A tree to which devices are added, moved and taken away."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def one_wire(self, address: str, text: str) -> Path:
        """A 1-wire device, reached as `bus/w1/devices/<address>`; returns its `w1_slave`."""
        real = self.root / "devices/w1_bus_master1" / address
        self._files(real, {"name": address, "w1_slave": text})
        self._link("bus/w1/devices", address, real)
        return real / "w1_slave"

    def iio(self, number: int, name: str, parent: str, **files: str) -> Path:
        """An IIO device with the given attribute files; returns its real directory."""
        real = self.root / "devices/platform" / parent / f"iio:device{number}"
        self._files(real, {"name": name, **files})
        self._link("bus/iio/devices", real.name, real)
        return real

    def hwmon(self, number: int, name: str, address: str, **files: str) -> Path:
        """A hardware monitor at an I2C address such as "1-0044"; returns its real directory."""
        bus = address.split("-")[0]
        real = self.root / "devices/platform/soc" / f"i2c-{bus}" / address / "hwmon" / f"hwmon{number}"
        self._files(real, {"name": name, **files})
        self._link("class/hwmon", real.name, real)
        return real

    def unplug(self, real: Path) -> None:
        """The kernel forgets a device: its directory goes, and the link that led to it."""
        for folder in ("bus/w1/devices", "bus/iio/devices", "class/hwmon"):
            (self.root / folder / real.name).unlink(missing_ok=True)
        shutil.rmtree(real)

    def _files(self, real: Path, files: dict[str, str]) -> None:
        real.mkdir(parents=True)
        for file, text in files.items():
            (real / file).write_text(text if file == "w1_slave" or text == "" else f"{text}\n")

    def _link(self, folder: str, name: str, real: Path) -> None:
        (self.root / folder).mkdir(parents=True, exist_ok=True)
        (self.root / folder / name).symlink_to(real)


def replace_by_real_io_error(file: Path) -> None:
    """Reading this process's memory at address 0 is an input/output error of the kernel itself."""
    file.unlink()
    file.symlink_to("/proc/self/mem")


def failing(attribute: str, number: int) -> Callable[[Path], str]:
    """Reads files, but the one called `attribute` fails with errno `number`."""

    def opener(path: Path) -> str:
        if path.name == attribute:
            raise OSError(number, os.strerror(number), str(path))
        return read_text(path)

    return opener
