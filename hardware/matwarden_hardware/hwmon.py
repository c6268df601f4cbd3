"""A temperature and humidity sensor on the I2C bus that the kernel serves through its hardware monitoring subsystem.

Files (kernel documentation, hwmon/sysfs-interface): `temp1_input` in thousandths of a degree Celsius and, if the part
has it, `humidity1_input` in thousandths of a percent. The kernel checks the part's CRC of every word; a mismatch is
EIO, a short transfer ENODATA, an absent part an errno of the bus.

Relative humidity is held to 0..100: the part's own formula leaves that range near its ends, its datasheet says to crop
the result, and the kernel does not.
"""

from __future__ import annotations

import re
from pathlib import Path

from matwarden_hardware.ports import DriverError, Sample
from matwarden_hardware.sysfs import Device, Numbered, Opener, named_devices, one_of, read_text

__all__ = ["HwmonProbe"]

_ANY_BUS = re.compile(r"0x([0-9a-f]{2})")
_ONE_BUS = re.compile(r"[0-9]+-00[0-9a-f]{2}")


class HwmonProbe:
    """The sensor whose `name` file says `chip`, at an I2C address if one is given.

    Args:
        chip: for example "sht4x".
        address: "0x44" on whichever bus, or "1-0044" as the kernel writes bus and address; None for any.
        root: where sysfs is mounted.
        opener: reads one file.

    Raises:
        DriverError: the address has neither form.

    Nothing is opened before the first read: a sensor that is absent at start may come later.
    """

    def __init__(
        self, chip: str, address: str | None = None, root: Path = Path("/sys"), opener: Opener = read_text
    ) -> None:
        self._chip = chip
        self._place = None if address is None else _place(chip, address)
        self._label = chip if address is None else f"{chip} at {address}"
        self._directory = root / "class/hwmon"
        self._opener = opener
        self._probe = Numbered(f"probe {self._label}", self._find, "temp1_input", "humidity1_input", opener)

    def _find(self) -> Path:
        devices = list(named_devices(self._directory, "hwmon", self._opener))
        matches = [d for d in devices if d.name == self._chip and self._is_here(d)]
        seen = [f"{d.name} (at {_parent(d)})" for d in devices]
        return one_of(matches, self._label, seen, 'give its bus too, as in "1-0044"')

    def _is_here(self, device: Device) -> bool:
        return self._place is None or self._place.fullmatch(_parent(device)) is not None

    def read(self) -> Sample:
        """One capture, relative humidity within 0..100.

        Raises:
            ProbeError: absent, ambiguous, empty, not a number, or an errno of the kernel.
        """
        sample = self._probe.read()
        if sample.humidity_pct is None or 0.0 <= sample.humidity_pct <= 100.0:
            return sample
        return sample._replace(humidity_pct=min(100.0, max(0.0, sample.humidity_pct)))

    def close(self) -> None:
        """Nothing is held between reads. Safe to call twice."""
        self._probe.close()


def _parent(device: Device) -> str:
    """The name of the device that owns a hwmon directory: `.../1-0044/hwmon/hwmon3` gives "1-0044"."""
    return device.path.parent.parent.name


def _place(chip: str, address: str) -> re.Pattern[str]:
    lower = address.lower()
    on_any_bus = _ANY_BUS.fullmatch(lower)
    if on_any_bus is not None:
        return re.compile(f"[0-9]+-00{on_any_bus[1]}")
    if _ONE_BUS.fullmatch(lower) is not None:
        return re.compile(re.escape(lower))
    raise DriverError(
        f'probe {chip}: "{address}" is no I2C address; write "0x44", or "1-0044" with the number of its bus'
    )
