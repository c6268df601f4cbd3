"""The hardware monitoring driver on a tree in the kernel's layout."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from helpers_sysfs import SysfsTree, failing, replace_by_real_io_error
from matwarden_hardware.hwmon import HwmonProbe
from matwarden_hardware.ports import DriverError, ProbeError, Sample


def sensor(tree: SysfsTree, number: int, address: str, thousandths: int = 25000, humidity: int = 44000) -> Path:
    """A temperature and humidity sensor as the kernel shows it."""
    return tree.hwmon(number, "sht4x", address, temp1_input=str(thousandths), humidity1_input=str(humidity))


def refusal(probe: HwmonProbe) -> str:
    with pytest.raises(ProbeError) as caught:
        probe.read()
    return str(caught.value)


# SHT4x datasheet: T = -45 + 175 S/65535, RH = -6 + 125 S/65535, then cropped to 0..100. Columns: raw word S,
# degrees, percent before cropping, percent after.
SHT4X = [
    (0x0000, -45.0, -6.0, 0.0),
    (0x3333, -10.0, 19.0, 19.0),
    (0x6666, 25.0, 44.0, 44.0),
    (0x6873, 26.4019, 45.0014, 45.0014),
    (0xBEEF, 85.5230, 87.2307, 87.2307),
    (0xFFFF, 130.0, 119.0, 100.0),
]


@pytest.mark.parametrize(("raw", "temperature_c", "before_pct", "after_pct"), SHT4X)
def test_datasheet_formula(tmp_path: Path, raw: int, temperature_c: float, before_pct: float, after_pct: float) -> None:
    """What the kernel makes of a raw word is read in degrees and percent, and humidity is held to 0..100."""
    thousandths = round((-45 + 175 * raw / 65535) * 1000)
    humidity = round((-6 + 125 * raw / 65535) * 1000)
    assert humidity == pytest.approx(before_pct * 1000, abs=1)
    sensor(SysfsTree(tmp_path), 0, "1-0044", thousandths, humidity)
    sample = HwmonProbe("sht4x", "0x44", tmp_path).read()
    assert sample.temperature_c == pytest.approx(temperature_c, abs=1e-3)
    assert sample.humidity_pct == pytest.approx(after_pct, abs=1e-3)


def test_without_humidity(tmp_path: Path) -> None:
    """A part with no humidity channel gives None for it."""
    SysfsTree(tmp_path).hwmon(2, "lm75", "1-0048", temp1_input="22500")
    assert HwmonProbe("lm75", None, tmp_path).read() == Sample(22.5, None)


def test_found_by_address(tmp_path: Path) -> None:
    """Of two sensors of one kind, the address picks the right one whatever the numbers."""
    tree = SysfsTree(tmp_path)
    sensor(tree, 0, "1-0045", 21000)
    sensor(tree, 1, "1-0044", 24000)
    tree.hwmon(2, "jc42", "2-0044", temp1_input="51000")
    assert HwmonProbe("sht4x", "0x44", tmp_path).read().temperature_c == 24.0
    assert HwmonProbe("sht4x", "1-0045", tmp_path).read().temperature_c == 21.0


def test_two_buses_are_refused_and_told_apart(tmp_path: Path) -> None:
    """The same address on two buses is refused with both places named, and the bus number settles it."""
    tree = SysfsTree(tmp_path)
    sensor(tree, 0, "1-0044", 21000)
    sensor(tree, 1, "3-0044", 24000)
    message = refusal(HwmonProbe("sht4x", "0x44", tmp_path))
    assert message.startswith("probe sht4x at 0x44: 2 sensors are sht4x at 0x44: ")
    assert "i2c-1/1-0044/hwmon/hwmon0 and " in message
    assert message.endswith('i2c-3/3-0044/hwmon/hwmon1; give its bus too, as in "1-0044"')
    assert HwmonProbe("sht4x", "3-0044", tmp_path).read().temperature_c == 24.0


def test_never_another_ones_number(tmp_path: Path) -> None:
    """When another sensor is handed this one's number, it is not read in its place."""
    tree = SysfsTree(tmp_path)
    ours = sensor(tree, 3, "1-0044", 24000)
    probe = HwmonProbe("sht4x", "0x44", tmp_path)
    probe.read()
    tree.unplug(ours)
    sensor(tree, 3, "1-0045", 31000)
    assert "temp1_input has vanished" in refusal(probe)
    assert "not found; the kernel has: sht4x (at 1-0045)" in refusal(probe)


def test_back_under_another_number(tmp_path: Path) -> None:
    """A sensor that went and came back under another number is read again."""
    tree = SysfsTree(tmp_path)
    ours = sensor(tree, 3, "1-0044", 24000)
    probe = HwmonProbe("sht4x", "0x44", tmp_path)
    probe.read()
    tree.unplug(ours)
    assert "vanished" in refusal(probe)
    sensor(tree, 5, "1-0044", 23000)
    assert probe.read().temperature_c == 23.0


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.EIO, "garbled on its way"),
        (errno.ENODATA, "cut short"),
        (errno.EREMOTEIO, "nothing answers at its address"),
        (errno.ENXIO, "nothing answers at its address"),
        (errno.ETIMEDOUT, "no answer in time"),
    ],
)
def test_errno_becomes_a_clause(tmp_path: Path, number: int, words: str) -> None:
    """Each error number of bus and part becomes a clause that names probe and file."""
    sensor(SysfsTree(tmp_path), 0, "1-0044")
    message = refusal(HwmonProbe("sht4x", "0x44", tmp_path, failing("temp1_input", number)))
    assert message.startswith("probe sht4x at 0x44: temp1_input: ")
    assert words in message


def test_real_io_error(tmp_path: Path) -> None:
    """An input/output error from the kernel itself is a refusal."""
    replace_by_real_io_error(sensor(SysfsTree(tmp_path), 0, "1-0044") / "humidity1_input")
    assert "humidity1_input: the answer was garbled" in refusal(HwmonProbe("sht4x", None, tmp_path))


@pytest.mark.parametrize("address", ["44", "0x", "0x044", "1-44", "i2c-1", "", "0x44 "])
def test_bad_address(address: str) -> None:
    """An address in neither form is refused when the driver is made, and both forms are shown."""
    with pytest.raises(DriverError, match='write "0x44", or "1-0044"'):
        HwmonProbe("sht4x", address)
