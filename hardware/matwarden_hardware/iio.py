"""A temperature and humidity probe that the kernel serves through its industrial I/O subsystem.

Files (kernel documentation, ABI/testing/sysfs-bus-iio): `in_temp_input` in thousandths of a degree Celsius and, if the
part has it, `in_humidityrelative_input` in thousandths of a percent. A read may block for a second; every fault is an
errno: EIO bad checksum or lost pulses, ETIMEDOUT too few pulses, EAGAIN the kernel's clock was too coarse.
"""

from __future__ import annotations

from pathlib import Path

from matwarden_hardware.ports import Sample
from matwarden_hardware.sysfs import Numbered, Opener, named_devices, one_of, read_text

__all__ = ["IioProbe"]


class IioProbe:
    """The device whose `name` file says `device`, or whose parent in the device tree is called so.

    Args:
        device: for example "dht11@4"; the parent's name ("1-0040") tells two devices of one name apart.
        root: where sysfs is mounted.
        opener: reads one file.

    Nothing is opened before the first read: a probe that is absent at start may come later.
    """

    def __init__(self, device: str, root: Path = Path("/sys"), opener: Opener = read_text) -> None:
        self._device = device
        self._directory = root / "bus/iio/devices"
        self._opener = opener
        self._probe = Numbered(f"probe {device}", self._find, "in_temp_input", "in_humidityrelative_input", opener)

    def _find(self) -> Path:
        devices = list(named_devices(self._directory, "iio:device", self._opener))
        matches = [d for d in devices if self._device in (d.name, d.path.parent.name)]
        seen = [f"{d.name} (at {d.path.parent.name})" for d in devices]
        return one_of(matches, f"named {self._device}", seen, "name it by the folder above instead")

    def read(self) -> Sample:
        """One capture.

        Raises:
            ProbeError: absent, ambiguous, empty, not a number, or an errno of the kernel.
        """
        return self._probe.read()

    def close(self) -> None:
        """Nothing is held between reads. Safe to call twice."""
        self._probe.close()
