"""What the probe drivers share: one attribute file of the kernel is read, and what went wrong is said in one clause.

The kernel numbers its devices in the order it finds them (`hwmon2`, `iio:device0`), so a number is no identity. A
driver finds its device once by what does not change, and keeps the *resolved* path: that path holds the parent device
as well as the number. When another probe is handed the old number, the kept path is gone and the driver looks again;
it can never read somebody else's tub.
"""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from matwarden_hardware.ports import ProbeError, Sample

__all__ = ["Device", "Numbered", "Opener", "clause", "milli", "named_devices", "one_of", "read_text"]

Opener = Callable[[Path], str]
"""Reads a whole attribute file. May raise OSError; a test passes its own to raise an errno on demand."""

# One attribute never exceeds a page (kernel documentation, filesystems/sysfs): more is not an attribute.
_PAGE = 4096

# Milli-units of any real sensor fit in nine digits; the bound keeps a damaged file from becoming a huge number.
_INTEGER = re.compile(r"-?[0-9]{1,9}")

_CLAUSES = {
    errno.EIO: "the answer was garbled on its way (input/output error); look at the wiring",
    errno.ETIMEDOUT: "no answer in time; look at plug and supply",
    errno.EAGAIN: "the kernel could not time the answer (try again)",
    errno.ENODATA: "the answer was cut short",
    errno.ENODEV: "the device is gone; look at plug and supply",
    errno.ENXIO: "nothing answers at its address; look at plug and supply",
    errno.EREMOTEIO: "nothing answers at its address; look at plug and supply",
    errno.EACCES: "this account may not read it; look at the service's permissions",
    errno.EPERM: "this account may not read it; look at the service's permissions",
}


class Device(NamedTuple):
    """A device directory as found: what its `name` file says, and its resolved path."""

    name: str
    path: Path


def read_text(path: Path) -> str:
    """The text of one attribute; bytes that are not ASCII become a mark that no parser accepts.

    Raises:
        OSError: as the kernel gave it.
    """
    with path.open("rb", buffering=0) as file:
        data = file.read(_PAGE)
    return (data or b"").decode("ascii", errors="replace")


def clause(error: OSError) -> str:
    """What an errno of a read means to a keeper."""
    known = _CLAUSES.get(error.errno or 0)
    return known or f"it cannot be read ({error.strerror or error})"


def milli(text: str) -> float:
    """A decimal integer of thousandths, as every `*_input` file holds: "25062" is 25.062.

    Raises:
        ProbeError: empty, or not such a number.
    """
    stripped = text.strip()
    if not stripped:
        raise ProbeError("empty answer")
    if _INTEGER.fullmatch(stripped) is None:
        raise ProbeError(f"the answer is not a number: {stripped[:20]!r}")
    return int(stripped) / 1000


def named_devices(directory: Path, prefix: str, opener: Opener) -> Iterator[Device]:
    """Every device below `directory` whose entry begins with `prefix`, in a stable order.

    Raises:
        OSError: the directory is there and cannot be listed.
    """
    try:
        entries = sorted(entry for entry in os.listdir(directory) if entry.startswith(prefix))
    except FileNotFoundError:
        return  # the kernel makes the directory when the first such device comes
    for entry in entries:
        # realpath, not Path.resolve: a loop of links must not raise RuntimeError (Python 3.11).
        path = Path(os.path.realpath(directory / entry))
        try:
            name = opener(path / "name").strip()
        except OSError:
            continue  # it vanished while we looked, or it is half made: not a device yet
        yield Device(name, path)


def one_of(matches: Sequence[Device], wanted: str, seen: Sequence[str], advice: str) -> Path:
    """The path of the only match.

    Raises:
        ProbeError: none, or more than one: then all are named, and `advice` says how to tell them apart.
    """
    if not matches:
        there = ", ".join(seen) if seen else "none at all"
        raise ProbeError(f"not found; the kernel has: {there}; look at plug and wiring, and dtoverlay in config.txt")
    if len(matches) > 1:
        places = " and ".join(str(device.path) for device in matches)
        raise ProbeError(f"{len(matches)} sensors are {wanted}: {places}; {advice}")
    return matches[0].path


class Numbered:
    """A probe whose directory carries a number: found when needed, kept while it works, looked for again after."""

    def __init__(
        self,
        label: str,
        find: Callable[[], Path],
        temperature: str,
        humidity: str,
        opener: Opener,
    ) -> None:
        self._label = label
        self._find = find
        self._temperature = temperature
        self._humidity = humidity
        self._opener = opener
        self._path: Path | None = None
        self._has_humidity = False

    def read(self) -> Sample:
        """One capture: temperature in degrees Celsius, relative humidity in percent as the kernel gives it.

        Raises:
            ProbeError: the text begins with what the probe is called in the settings.
        """
        attribute = ""
        try:
            if self._path is None:
                self._path = self._find()
                # Asked once per find, so that a sensor dying between two files is an error and not "no humidity".
                self._has_humidity = os.path.exists(self._path / self._humidity)
            attribute = self._temperature
            temperature_c = milli(self._opener(self._path / attribute))
            if not self._has_humidity:
                return Sample(temperature_c)
            attribute = self._humidity
            return Sample(temperature_c, milli(self._opener(self._path / attribute)))
        except FileNotFoundError:
            why = f"{attribute} has vanished; look at plug and wiring"
        except OSError as error:
            why = f"{attribute}: {clause(error)}" if attribute else clause(error)
        except ProbeError as error:
            why = f"{attribute}: {error}" if attribute else str(error)
        self._path = None
        raise ProbeError(f"{self._label}: {why}") from None

    def close(self) -> None:
        """Nothing is held between reads."""
