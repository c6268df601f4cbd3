"""A DS18B20 probe on the 1-wire bus, read through the kernel's `w1_therm` driver.

The kernel offers two files. `temperature` holds the number alone, and turns every fault into an empty answer. This
driver reads `w1_slave` instead, because it shows what the number was made from: the nine bytes of the part's scratchpad
and the kernel's verdict on their checksum. So the checksum is computed again here, and a data line shorted to ground
is told from 0 degrees, though nine zero bytes have a valid checksum.

Line 1 is the capture: nine bytes, `: crc=xx`, YES or NO. Line 2 repeats the last *good* bytes and ends in `t=` and
thousandths of a degree: after a NO it shows an old value, so nothing of line 2 counts before line 1 says YES.

Scratchpad (DS18B20 datasheet, memory map): 0-1 temperature, low byte first, two's complement, 1/16 degree C; 2-3
alarm registers; 4 configuration, 0RR11111; 5-7 reserved, of which 7 reads 10 hex; 8 CRC of the first eight. There is
no exception to the fixed bits: a part without them is not a DS18B20, and nobody says what its reset value is.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from matwarden_hardware.ports import DriverError, ProbeError, Sample
from matwarden_hardware.sysfs import Opener, clause, read_text

__all__ = ["OneWireProbe", "crc8", "parse_w1_slave"]

_ADDRESS = re.compile(r"28-[0-9a-f]{12}")
_LINE_1 = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)")
_LINE_2 = re.compile(r"((?:[0-9a-f]{2} ){9})t=(-?[0-9]{1,6})")

# In 1/16 degree. 85.0 is the register's value at power-on (datasheet, Table 1 note); 127.9375 is what the part answers
# when its supply broke down during the conversion (kernel documentation, ABI sysfs-driver-w1_therm, `features`).
# Either counts only with byte 6 at 0C, as it stands before the first finished conversion.
_POWER_ON_16THS = 85 * 16
_BROWN_OUT_16THS = 0x07FF
_RESERVED_6_BEFORE_CONVERSION = 0x0C
_RESERVED_7 = 0x10


class OneWireProbe:
    """One DS18B20 by the address burnt into it.

    Args:
        address: as the kernel writes it: "28-" and twelve hexadecimal digits.
        root: where sysfs is mounted.
        opener: reads one file.

    Raises:
        DriverError: the address has another form, or is of another family of parts.

    Nothing is opened before the first read: a probe that is absent at start may come later.
    """

    def __init__(self, address: str, root: Path = Path("/sys"), opener: Opener = read_text) -> None:
        if _ADDRESS.fullmatch(address.lower()) is None:
            raise DriverError(
                f'probe "{address}" is no DS18B20 address; write "28-" and twelve of 0-9 a-f, '
                "as listed in /sys/bus/w1/devices"
            )
        self._label = f"probe {address}"
        self._bus = root / "bus/w1/devices"
        self._device = self._bus / address.lower()
        self._opener = opener

    def read(self) -> Sample:
        """One conversion: blocks up to 750 ms, and longer while other probes of the bus are read.

        Raises:
            ProbeError: absent, empty, bad checksum, short circuit, or an errno of the kernel.
        """
        try:
            return parse_w1_slave(self._opener(self._device / "w1_slave"))
        except FileNotFoundError:
            why = self._what_is_missing()
        except OSError as error:
            why = clause(error)
        except ProbeError as error:
            why = str(error)
        raise ProbeError(f"{self._label}: {why}") from None

    def _what_is_missing(self) -> str:
        if not os.path.exists(self._bus):
            return 'there is no 1-wire bus; add "dtoverlay=w1-gpio" to config.txt and restart the Pi'
        if not os.path.exists(self._device):
            return "not on the bus (never there, or vanished); look at plug and wiring"
        return "the kernel gives no w1_slave for it; load the module w1_therm"

    def close(self) -> None:
        """Nothing is held between reads. Safe to call twice."""


def parse_w1_slave(text: str) -> Sample:
    """The temperature of one `w1_slave` text, in degrees Celsius, exact to the part's own step.

    Raises:
        ProbeError: the text is not proof of one complete and undamaged capture.
    """
    if not text.strip():
        raise ProbeError("empty answer (no finished measurement, or its checksum failed several times)")
    lines = text.removesuffix("\n").split("\n")
    capture = _LINE_1.fullmatch(lines[0])
    if len(lines) != 2 or capture is None:
        raise ProbeError("the answer is incomplete or garbled")
    scratchpad = bytes.fromhex(capture[1])
    _refuse_damage(scratchpad, kernel_agrees=capture[2] == "YES")
    raw = int.from_bytes(scratchpad[:2], "little", signed=True)
    kept = _LINE_2.fullmatch(lines[1])
    # The kernel divides as C does, towards zero.
    thousandths = abs(raw) * 1000 // 16 * (1 if raw >= 0 else -1)
    if kept is None or bytes.fromhex(kept[1]) != scratchpad or int(kept[2]) != thousandths:
        raise ProbeError("the answer contradicts itself: its two lines differ")
    unfinished = scratchpad[6] == _RESERVED_6_BEFORE_CONVERSION
    if unfinished and raw == _BROWN_OUT_16THS:
        raise ProbeError("its supply broke down while it measured; look at the supply wire and the pull-up")
    # Below 12 bits the lowest bits are undefined (datasheet, configuration register), so they are dropped.
    undefined_bits = 3 - (scratchpad[4] >> 5)
    temperature_c = (raw >> undefined_bits << undefined_bits) / 16
    return Sample(temperature_c, at_power_on_value=unfinished and raw == _POWER_ON_16THS)


def _refuse_damage(scratchpad: bytes, kernel_agrees: bool) -> None:
    if scratchpad == bytes(9):
        raise ProbeError("short circuit: all zero; the data wire touches ground")
    if scratchpad == b"\xff" * 9:
        raise ProbeError("nobody answers: all ones; look at plug and wiring")
    if not kernel_agrees or crc8(scratchpad[:8]) != scratchpad[8]:
        raise ProbeError("checksum wrong; look at wiring and cable length")
    if scratchpad[4] & 0x9F != 0x1F or scratchpad[7] != _RESERVED_7:
        raise ProbeError(
            f"not a DS18B20 to the letter: fixed bytes 4 and 7 read {scratchpad[4]:02x} and {scratchpad[7]:02x}; "
            "replace it by a genuine part"
        )


def crc8(data: bytes) -> int:
    """The 1-wire CRC (Maxim application note 27): x^8 + x^5 + x^4 + 1, low bit first, starting at 0."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc
