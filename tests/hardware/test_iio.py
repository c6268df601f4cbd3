"""The industrial I/O driver on a tree in the kernel's layout."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from helpers_sysfs import SysfsTree, failing, replace_by_real_io_error
from matwarden_hardware.iio import IioProbe
from matwarden_hardware.ports import ProbeError, Sample


def sensor(tree: SysfsTree, number: int, parent: str, thousandths: str = "22200", name: str = "dht11@4") -> Path:
    """A temperature and humidity device as the kernel shows it."""
    return tree.iio(number, name, parent, in_temp_input=thousandths, in_humidityrelative_input="80000")


def refusal(probe: IioProbe) -> str:
    with pytest.raises(ProbeError) as caught:
        probe.read()
    return str(caught.value)


@pytest.mark.parametrize(
    ("thousandths", "temperature_c"), [("35100", 35.1), ("-10100", -10.1), ("0", 0.0), ("22222", 22.222)]
)
def test_thousandths(tmp_path: Path, thousandths: str, temperature_c: float) -> None:
    """The kernel's thousandths become degrees, below zero too."""
    # Unit: Linux documentation, ABI/testing/sysfs-bus-iio (millidegrees Celsius, thousandths of a percent).
    # 35.1 and -10.1 degrees: worked examples of the AM2302 datasheet.
    sensor(SysfsTree(tmp_path), 0, "dht11@4", thousandths)
    assert IioProbe("dht11@4", tmp_path).read() == Sample(temperature_c, 80.0)


def test_without_humidity(tmp_path: Path) -> None:
    """A part with no humidity channel gives None for it."""
    SysfsTree(tmp_path).iio(0, "thermo", "1-0048", in_temp_input="22250")
    assert IioProbe("thermo", tmp_path).read() == Sample(22.25, None)


def test_found_whatever_its_number(tmp_path: Path) -> None:
    """A device is found by its name among others, whichever number the kernel gave it."""
    tree = SysfsTree(tmp_path)
    sensor(tree, 0, "dht11@17", "19000", name="dht11@17")
    sensor(tree, 7, "dht11@4", "26700")
    assert IioProbe("dht11@4", tmp_path).read().temperature_c == 26.7


def test_triggers_are_no_sensors(tmp_path: Path) -> None:
    """What else the kernel lists beside the devices is passed over, whatever its name."""
    # Linux documentation, ABI/testing/sysfs-bus-iio: triggers stand in the same folder and have a `name` too.
    tree = SysfsTree(tmp_path)
    sensor(tree, 0, "dht11@4", "26700")
    trigger = tmp_path / "bus/iio/devices/trigger0"
    trigger.mkdir()
    (trigger / "name").write_text("dht11@4\n")
    assert IioProbe("dht11@4", tmp_path).read().temperature_c == 26.7


def test_half_made_device_is_passed_over(tmp_path: Path) -> None:
    """A device that has no name yet does not keep another from being found."""
    tree = SysfsTree(tmp_path)
    (sensor(tree, 0, "dht11@17") / "name").unlink()
    sensor(tree, 1, "dht11@4", "26700")
    assert IioProbe("dht11@4", tmp_path).read().temperature_c == 26.7


def test_swapped_numbers(tmp_path: Path) -> None:
    """When two devices swap their numbers between two reads, each probe still reads its own tub."""
    tree = SysfsTree(tmp_path)
    first = sensor(tree, 0, "dht11@4", "26700")
    second = sensor(tree, 1, "dht11@17", "19000", name="dht11@17")
    probe = IioProbe("dht11@4", tmp_path)
    assert probe.read().temperature_c == 26.7
    tree.unplug(first)
    tree.unplug(second)
    sensor(tree, 0, "dht11@17", "19000", name="dht11@17")
    sensor(tree, 1, "dht11@4", "26600")
    assert "in_temp_input has vanished" in refusal(probe)
    assert probe.read().temperature_c == 26.6


def test_twins_are_refused(tmp_path: Path) -> None:
    """Two devices of one name are refused and both named, and the parent's name tells them apart."""
    tree = SysfsTree(tmp_path)
    sensor(tree, 0, "1-0040", "21000", name="hygro")
    sensor(tree, 1, "3-0040", "24000", name="hygro")
    message = refusal(IioProbe("hygro", tmp_path))
    assert "2 sensors are named hygro" in message
    assert "1-0040/iio:device0 and " in message
    assert "3-0040/iio:device1" in message
    assert IioProbe("3-0040", tmp_path).read().temperature_c == 24.0


def test_not_found(tmp_path: Path) -> None:
    """An unknown name is refused with a list of what is there."""
    sensor(SysfsTree(tmp_path), 0, "dht11@17", name="dht11@17")
    assert "probe dht11@4: not found; the kernel has: dht11@17 (at dht11@17)" in refusal(IioProbe("dht11@4", tmp_path))


def test_no_subsystem(tmp_path: Path) -> None:
    """Without any such device in the kernel the keeper is sent to config.txt."""
    assert "none at all; look at plug and wiring, and dtoverlay in config.txt" in refusal(IioProbe("x", tmp_path))


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.EIO, "garbled on its way"),
        (errno.ETIMEDOUT, "no answer in time"),
        (errno.EAGAIN, "could not time the answer"),
        (errno.ENODEV, "the device is gone"),
        (errno.EACCES, "may not read it"),
        (errno.ENOMEM, "it cannot be read (Cannot allocate memory)"),
    ],
)
def test_errno_becomes_a_clause(tmp_path: Path, number: int, words: str) -> None:
    """Each error number of the kernel becomes a clause that names probe and file."""
    sensor(SysfsTree(tmp_path), 0, "dht11@4")
    message = refusal(IioProbe("dht11@4", tmp_path, failing("in_temp_input", number)))
    assert message.startswith("probe dht11@4: in_temp_input: ")
    assert words in message


def test_humidity_failing_is_a_failed_capture(tmp_path: Path) -> None:
    """A humidity channel that fails is an error, never 'no humidity'."""
    sensor(SysfsTree(tmp_path), 0, "dht11@4")
    probe = IioProbe("dht11@4", tmp_path, failing("in_humidityrelative_input", errno.EIO))
    assert "in_humidityrelative_input: the answer was garbled" in refusal(probe)


def test_real_io_error_then_well_again(tmp_path: Path) -> None:
    """After an error of the kernel itself, the next good capture is read without a restart."""
    file = sensor(SysfsTree(tmp_path), 0, "dht11@4") / "in_temp_input"
    replace_by_real_io_error(file)
    probe = IioProbe("dht11@4", tmp_path)
    assert "in_temp_input: the answer was garbled" in refusal(probe)
    file.unlink()
    file.write_text("23300\n")
    assert probe.read().temperature_c == 23.3


@pytest.mark.parametrize("text", ["nan", "inf", "1e3", "22.2", "0x10", "1_000", "9" * 40, "- 5", "22200 22200"])
def test_not_an_integer(tmp_path: Path, text: str) -> None:
    """Anything but one plain integer is refused, even what Python could read as a number."""
    sensor(SysfsTree(tmp_path), 0, "dht11@4", text)
    assert "in_temp_input: the answer is not a number" in refusal(IioProbe("dht11@4", tmp_path))
