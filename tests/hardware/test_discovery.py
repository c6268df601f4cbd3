"""What is found in a tree of the kernel's layout, and that it is named by what does not change."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_sysfs import GOOD_SCRATCHPAD, SysfsTree, w1_slave
from matwarden_hardware.discovery import Found, discover
from matwarden_hardware.hwmon import HwmonProbe
from matwarden_hardware.iio import IioProbe
from matwarden_hardware.onewire import OneWireProbe
from matwarden_hardware.ports import Probe, ProbeError

ADDRESS = "28-0316a2793f01"


def dht(tree: SysfsTree, number: int, node: str, thousandths: int = 22200) -> Path:
    """What the kernel's dht11 driver shows: its device's name is that of its platform device."""
    return tree.iio(number, node, node, in_temp_input=str(thousandths), in_humidityrelative_input="80000")


def sht(tree: SysfsTree, number: int, address: str, thousandths: int = 25000, chip: str = "sht4x") -> Path:
    return tree.hwmon(number, chip, address, temp1_input=str(thousandths), humidity1_input="44000")


def only(root: Path) -> Found:
    (found,) = discover(root)
    return found


def told_c(root: Path) -> dict[str, float]:
    """What each found probe reads, by its keys."""
    return {" ".join(found.keys.values()): found.probe.read().temperature_c for found in discover(root) if found.probe}


def test_a_machine_without_any_bus_has_nothing(tmp_path: Path) -> None:
    """No folder of any kind is no error: the kernel makes each with its first device."""
    assert discover(tmp_path) == []


def test_one_of_each(tmp_path: Path) -> None:
    """A probe of each kind is found with its driver and its keys, and reads through that driver."""
    tree = SysfsTree(tmp_path)
    tree.one_wire(ADDRESS, w1_slave(GOOD_SCRATCHPAD))
    dht(tree, 0, "dht11@4", 26700)
    sht(tree, 2, "1-0044", 25100)
    found = [(each.driver, each.keys) for each in discover(tmp_path)]
    assert found == [
        ("one-wire", {"address": ADDRESS}),
        ("iio", {"device": "dht11@4"}),
        ("hwmon", {"chip": "sht4x", "address": "0x44"}),
    ]
    assert told_c(tmp_path) == {ADDRESS: 22.25, "dht11@4": 26.7, "sht4x 0x44": 25.1}


@pytest.mark.parametrize("family", ["10", "22", "3b"])
def test_another_thermometer_of_the_bus_is_listed_as_not_supported(tmp_path: Path, family: str) -> None:
    """A part that the kernel would read, and this program refuses, is shown with the reason."""
    # Family codes 10 (DS18S20), 22 (DS1822), 3B (DS1825) from memory, as in the kernel's w1_family.h.
    SysfsTree(tmp_path).one_wire(f"{family}-0316a2793f01", w1_slave(GOOD_SCRATCHPAD))
    found = only(tmp_path)
    assert found.probe is None
    assert found.why_not.startswith("not supported: a ")
    assert not found.part_of_machine


def test_what_is_no_thermometer_is_passed_over(tmp_path: Path) -> None:
    """The bus master and a memory chip of family 2d are not listed."""
    tree = SysfsTree(tmp_path)
    tree.one_wire("2d-0316a2793f01", "")
    tree.one_wire("w1_bus_master1", "")
    assert discover(tmp_path) == []


def test_noise_on_the_bus_is_called_noise(tmp_path: Path) -> None:
    """An address of family 00 that a floating wire makes is told with what to look at."""
    SysfsTree(tmp_path).one_wire("00-800000000000", "")  # from memory: seen on buses without a pull-up
    assert "pull-up is missing" in only(tmp_path).why_not


def test_names_outlast_renumbering(tmp_path: Path) -> None:
    """After a start in which every device got the other's number, the same names mean the same tubs."""
    one, other = SysfsTree(tmp_path / "one"), SysfsTree(tmp_path / "other")
    for tree, numbers in ((one, (0, 1)), (other, (1, 0))):
        dht(tree, numbers[0], "dht11@4", 26700)
        dht(tree, numbers[1], "dht11@11", 19000)
        sht(tree, numbers[0], "1-0044", 25000)
        sht(tree, numbers[1], "1-0045", 21000)
    expected = {"dht11@4": 26.7, "dht11@11": 19.0, "sht4x 0x44": 25.0, "sht4x 0x45": 21.0}
    assert told_c(one.root) == told_c(other.root) == expected


def test_an_open_probe_outlasts_renumbering(tmp_path: Path) -> None:
    """Two dht11 swap numbers under open probes: each refuses once or reads its own, never the other's."""
    tree = SysfsTree(tmp_path)
    before = [dht(tree, 0, "dht11@4", 26700), dht(tree, 1, "dht11@11", 19000)]
    probes = [found.probe for found in discover(tmp_path) if found.probe]
    assert [probe.read().temperature_c for probe in probes] == [19.0, 26.7]
    for real in before:
        tree.unplug(real)
    dht(tree, 1, "dht11@4", 26700)
    dht(tree, 0, "dht11@11", 19000)
    for probe, own_c in zip(probes, [19.0, 26.7], strict=True):
        with pytest.raises(ProbeError, match="has vanished"):
            probe.read()
        assert probe.read().temperature_c == own_c


def test_the_same_chip_on_two_buses_is_named_with_its_bus(tmp_path: Path) -> None:
    """Where an address alone means two sensors, the keys carry the bus, and each reads its own."""
    tree = SysfsTree(tmp_path)
    sht(tree, 0, "1-0044", 21000)
    sht(tree, 1, "3-0044", 24000)
    assert told_c(tmp_path) == {"sht4x 1-0044": 21.0, "sht4x 3-0044": 24.0}


def test_two_devices_of_one_name_are_named_by_their_parents(tmp_path: Path) -> None:
    """Two sensors of a kind on two buses: the name both have names neither, the parent's does."""
    tree = SysfsTree(tmp_path)
    tree.iio(0, "htu21", "1-0040", in_temp_input="21000")
    tree.iio(1, "htu21", "3-0040", in_temp_input="24000")
    assert told_c(tmp_path) == {"1-0040": 21.0, "3-0040": 24.0}


@pytest.mark.parametrize(
    ("chip", "address"), [("sht3x", "1-0044"), ("sht3x", "1-0045"), ("sht4x", "1-0044"), ("lm75", "1-004f")]
)
def test_names_of_the_i2c_sensor_overlay(tmp_path: Path, chip: str, address: str) -> None:
    """What dtoverlay=i2c-sensor makes is found under the overlay's own word, at the address given there."""
    # Raspberry Pi overlays/README, i2c-sensor: sht3x and sht4x at 0x44 or 0x45, lm75 with addr up to 0x4f.
    SysfsTree(tmp_path).hwmon(3, chip, address, temp1_input="23000")
    if chip != "lm75":
        (tmp_path / "class/hwmon/hwmon3/humidity1_input").write_text("44000\n")
    found = only(tmp_path)
    assert found.keys == {"chip": chip, "address": f"0x{address[-2:]}"}
    assert found.probe is not None
    assert found.probe.read().temperature_c == 23.0


def test_a_chip_answers_to_its_name_and_both_forms_of_its_address(tmp_path: Path) -> None:
    """Whichever way the settings name a chip, it is known to be that one."""
    sht(SysfsTree(tmp_path), 0, "1-0044")
    chip = {"chip": "sht4x"}
    assert only(tmp_path).answers_to == (chip, {**chip, "address": "0x44"}, {**chip, "address": "1-0044"})


def test_the_kernel_s_dht11_without_a_pin_in_its_name(tmp_path: Path) -> None:
    """The overlay as it ships names its device dht11@0 whatever the pin; that is its name then."""
    # raspberrypi/linux, dht11-overlay.dts: one node dht11@0, without an override of the number.
    dht(SysfsTree(tmp_path), 0, "dht11@0", 22222)
    assert told_c(tmp_path) == {"dht11@0": 22.222}


def test_what_measures_the_computer_is_kept_apart(tmp_path: Path) -> None:
    """The processor and a clock chip are listed, as part of the machine and with no probe."""
    tree = SysfsTree(tmp_path)
    tree.hwmon(0, "cpu_thermal", "thermal_zone0", temp1_input="51000")
    tree.hwmon(1, "ds3231", "1-0068", temp1_input="24250")
    tree.hwmon(2, "pwmfan", "fan", fan1_input="0")
    found = {each.keys["chip"]: each for each in discover(tmp_path)}
    assert set(found) == {"cpu_thermal", "ds3231"}
    assert all(each.part_of_machine and each.probe is None and each.why_not for each in found.values())


def test_raw_values_are_not_supported(tmp_path: Path) -> None:
    """A device that leaves the arithmetic to its reader is listed with what it has."""
    SysfsTree(tmp_path).iio(0, "hts221", "1-005f", in_temp_raw="1200", in_temp_scale="15.625", in_temp_offset="300")
    found = only(tmp_path)
    assert found.probe is None
    assert found.why_not == "not supported: it has no in_temp_input, only in_temp_raw"


def test_other_industrial_devices_are_passed_over(tmp_path: Path) -> None:
    """A light sensor tells no temperature."""
    SysfsTree(tmp_path).iio(0, "bh1750", "1-0023", in_illuminance_raw="120")
    assert discover(tmp_path) == []


def opened(driver: str, keys: dict[str, str], root: Path) -> Probe:
    """The probe that the settings would open."""
    if driver == "one-wire":
        return OneWireProbe(keys["address"], root)
    if driver == "iio":
        return IioProbe(keys["device"], root)
    return HwmonProbe(keys["chip"], keys.get("address"), root)


def test_every_name_means_its_device_to_the_driver(tmp_path: Path) -> None:
    """Each set of keys a device answers to opens that very device, or is refused because two answer to it."""
    tree = SysfsTree(tmp_path)
    tree.one_wire(ADDRESS, w1_slave(GOOD_SCRATCHPAD))
    for number, (bus, thousandths) in enumerate([(1, 21000), (3, 24000)]):
        tree.iio(number, "htu21", f"{bus}-0040", in_temp_input=str(thousandths))
        sht(tree, number, f"{bus}-0044", thousandths + 500)
    everything = discover(tmp_path)
    for found in everything:
        assert found.probe is not None
        own_c = found.probe.read().temperature_c
        for keys in found.answers_to:
            probe = opened(found.driver, keys, tmp_path)
            if sum(keys in each.answers_to for each in everything) == 1:
                assert probe.read().temperature_c == own_c
            else:
                with pytest.raises(ProbeError, match="2 sensors are "):
                    probe.read()
