"""What `matwarden install` lays where, and what it only advises. Values in, values out: nothing here touches a file."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from enum import Enum
from pathlib import PurePosixPath
from typing import NamedTuple

from matwarden.settings.resolved import Hwmon, Iio, OneWire, Settings

__all__ = [
    "BOOT_FILE",
    "CREDENTIALS",
    "DIRECTORIES",
    "ETC",
    "LAID",
    "SYSUSERS",
    "UNIT",
    "WATCHDOG_DROP_IN",
    "BootLine",
    "Deed",
    "Directory",
    "PlannedFile",
    "already_there",
    "boot_lines",
    "deed",
    "digest_of",
    "files",
    "parse_laid",
    "unusable_program",
    "written_laid",
]

ETC = "/etc/matwarden"
CREDENTIALS = f"{ETC}/credentials"
UNIT = "/etc/systemd/system/matwarden.service"
SYSUSERS = "/etc/sysusers.d/matwarden.conf"
# What was laid and with which digest, as sha256sum(1) writes it: tells a file the keeper changed from an older one of
# ours.
LAID = f"{ETC}/.laid"
# The same place on Raspberry Pi OS Bookworm and Trixie.
BOOT_FILE = "/boot/firmware/config.txt"

# The hardware watchdog counts to 15 s at the most on older kernels; a longer time was refused there without a word.
WATCHDOG_DROP_IN = ("/etc/systemd/system.conf.d/matwarden-watchdog.conf", "[Manager]\nRuntimeWatchdogSec=14\n")

# A file for systemd-sysusers and not a useradd: it can be laid into an image, where nothing can be run (the next boot
# makes the user); it says nothing new when it is read again; and `g` makes the group where no other package has.
_SYSUSERS_TEXT = """\
# The user of matwarden.service, in the group that may use the GPIO lines.
g gpio -
u matwarden - "matwarden" /var/lib/matwarden
m matwarden gpio
"""

_SHIPPED_PREFIX = "/opt/matwarden/"
# What ProtectHome= and PrivateTmp= of the unit hide from the program, its Python and its library alike.
_HIDDEN = ("/home", "/root", "/run/user", "/tmp", "/var/tmp")


class Directory(NamedTuple):
    """A directory to be, and why its mode is what it is."""

    path: str
    mode: int
    why: str


DIRECTORIES = (
    Directory(ETC, 0o755, "the settings hold no secret"),
    Directory(CREDENTIALS, 0o700, "secrets, for root only"),
)


class PlannedFile(NamedTuple):
    """A file to be. `path` is that on the machine, whatever the root."""

    path: str
    content: bytes
    mode: int = 0o644


class Deed(Enum):
    """What becomes of one file."""

    WRITE = "written"
    REPLACE = "renewed"
    LEAVE = "as it was"
    BESIDE = "kept"


class BootLine(NamedTuple):
    """A line for config.txt, and what it is for."""

    line: str
    why: str


def files(unit: bytes, example: bytes, schema: bytes, program: PurePosixPath) -> list[PlannedFile]:
    """Everything that is laid, with the unit naming the program where it is.

    Args:
        unit, example, schema: as shipped.
        program: PREFIX/bin/matwarden, absolute.
    """
    prefix = f"{program.parent.parent}/".encode()
    return [
        PlannedFile(UNIT, unit.replace(_SHIPPED_PREFIX.encode(), prefix)),
        PlannedFile(SYSUSERS, _SYSUSERS_TEXT.encode()),
        PlannedFile(f"{ETC}/matwarden.example.toml", example),
        PlannedFile(f"{ETC}/matwarden.schema.json", schema),
    ]


def deed(new: bytes, there: bytes | None, laid_before: str | None) -> Deed:
    """What to do with one file.

    Args:
        there: what is in its place. laid_before: the digest of what we laid there last; None when never.
    """
    if there is None:
        return Deed.WRITE
    if there == new:
        return Deed.LEAVE
    return Deed.REPLACE if digest_of(there) == laid_before else Deed.BESIDE


def digest_of(content: bytes) -> str:
    """SHA-256, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def written_laid(digests: Mapping[str, str]) -> str:
    """The record of what was laid, one line a file: digest, two spaces, path."""
    return "".join(f"{digest}  {path}\n" for path, digest in sorted(digests.items()))


def parse_laid(text: str) -> dict[str, str]:
    """Digests by path; a line that is none is left out: its file then counts as the keeper's."""
    pairs = (line.split("  ", 1) for line in text.splitlines())
    return {pair[1]: pair[0] for pair in pairs if len(pair) == 2 and len(pair[0]) == 64}


def unusable_program(program: PurePosixPath, others: Sequence[PurePosixPath] = ()) -> str:
    """Why the unit could not start the program; empty when it could.

    Args:
        others: what it needs besides: its Python and its library, with links followed.
    """
    if not program.is_absolute() or program.parts[-2:] != ("bin", "matwarden"):
        return f"{program} is not the whole path of a program PREFIX/bin/matwarden"
    if not str(program).isascii() or any(sign in str(program) for sign in " \t\n\"'\\%$;"):
        return f"{program} has a sign in it that a unit file cannot carry"
    for path in (program, *others):
        if any(path.is_relative_to(place) for place in _HIDDEN):
            return (
                f"{path} is where the unit sees nothing (ProtectHome, PrivateTmp); install matwarden into an "
                "environment in /opt/matwarden, not in editable mode"
            )
    return ""


def boot_lines(settings: Settings | None) -> list[BootLine]:
    """What config.txt should say: for the relays always, and for the probes of the settings; 1-wire without any.

    The names are those of the overlays' README in Raspberry Pi's firmware. None was tried on a Pi.
    """
    lines = [
        BootLine("dtparam=strict_gpiod", "a relay line falls back when its program dies"),
        BootLine("dtparam=watchdog=on", "a frozen board is started again"),
    ]
    if settings is None:
        return [*lines, BootLine("dtoverlay=w1-gpio,gpiopin=4", "1-wire probes on GPIO 4")]
    return list(dict.fromkeys([*lines, *_probe_lines(settings)]))


def _probe_lines(settings: Settings) -> Iterator[BootLine]:
    for driver in settings.probe_drivers.values():
        if isinstance(driver, OneWire):
            yield BootLine("dtoverlay=w1-gpio,gpiopin=4", "1-wire probes on GPIO 4")
        elif isinstance(driver, Iio):
            if driver.device.startswith("dht11"):
                yield BootLine("dtoverlay=dht11,gpiopin=N", f"{driver.device}; N is the GPIO of its data wire")
            else:
                yield BootLine("dtoverlay=...", f"{driver.device}; see /boot/firmware/overlays/README")
        elif isinstance(driver, Hwmon):
            yield BootLine("dtparam=i2c_arm=on", "the I2C bus")
            if driver.chip in ("sht3x", "sht4x"):
                address = (driver.address or "")[-2:]
                suffix = f",addr=0x{address}" if address not in ("", "44") else ""
                yield BootLine(f"dtoverlay=i2c-sensor,{driver.chip}{suffix}", f"{driver.chip} probes")
            else:
                yield BootLine("dtoverlay=i2c-sensor,...", f"{driver.chip}; see /boot/firmware/overlays/README")


def already_there(line: str, config: str) -> bool:
    """Whether config.txt says this for every model: before any [filter], or after [all]. Other pins count as well."""
    wanted = line.split(",gpiopin=")[0]
    for_all = True
    for raw in config.splitlines():
        text = raw.split("#")[0].strip()
        if text.startswith("["):
            for_all = text == "[all]"
        elif for_all and (text == wanted or text.startswith(f"{wanted},")):
            return True
    return False
