"""`matwarden probes`, over a sysfs tree in the kernel's layout: what is there, what it tells, the lines to paste."""

from __future__ import annotations

import threading
import tomllib
from itertools import takewhile
from pathlib import Path

import pytest

from helpers_process import Ran, command, settings_file
from helpers_settings import FAHRENHEIT, REAL, checked, edited, lines
from helpers_sysfs import GOOD_SCRATCHPAD, SysfsTree, replace_by_real_io_error, scratchpad, w1_slave
from matwarden.exit_codes import Exit
from matwarden.probes_command import reading
from matwarden_hardware.ports import Sample

WALL, AIR, SPARE = "28-0316a2793f01", "28-0316a2793f02", "28-0316a2793f09"


@pytest.fixture
def tree(tmp_path: Path) -> SysfsTree:
    return SysfsTree(tmp_path / "sys")


def ask(tree: SysfsTree, *words: str | Path) -> Ran:
    ran = command("probes", "--sysfs", tree.root, *words)
    assert "Traceback" not in ran.err
    assert ran.code == Exit.OK
    assert "--json" in words or max(map(len, ran.out.splitlines()), default=0) <= 80
    return ran


def told(ran: Ran, name: str) -> str:
    """What is said of one probe, as one line."""
    _, below = ran.out.split(f" {name} (", 1)
    return " ".join(line.strip() for line in takewhile(lambda line: line[:1] == " ", below.splitlines()[1:]))


def test_every_probe_is_told_with_its_reading_in_both_units(tree: SysfsTree) -> None:
    """Without settings nobody knows the keeper's unit: both are shown; humidity where there is some."""
    tree.one_wire(WALL, w1_slave(GOOD_SCRATCHPAD))
    tree.hwmon(4, "sht4x", "1-0044", temp1_input="25000", humidity1_input="44000")
    ran = ask(tree)
    # DS18B20 datasheet, 1/16 degree a bit: 0164 hex is 22.25 degrees; 25 C is 77 F.
    assert told(ran, WALL) == "22.2 °C (72.0 °F); not in use"
    assert told(ran, "sht4x 0x44") == "25.0 °C (77.0 °F), 44 % humidity; not in use"


def test_a_probe_that_cannot_be_read_says_why(tree: SysfsTree) -> None:
    """Broken, unfinished and unsupported parts are listed with their reasons, and the others are read all the same."""
    tree.one_wire(WALL, "")
    tree.one_wire(AIR, w1_slave(scratchpad("50 05 4b 46 7f ff 0c 10")))
    tree.one_wire(SPARE, w1_slave(GOOD_SCRATCHPAD))
    tree.one_wire("10-000802b4ba0e", "")
    file = tree.iio(0, "dht11@4", "dht11@4", in_temp_input="22000") / "in_temp_input"
    replace_by_real_io_error(file)
    ran = ask(tree)
    assert told(ran, WALL).startswith("no reading: empty answer")
    # DS18B20 datasheet: 85 degrees is what the register holds at power-on.
    assert told(ran, AIR).startswith("no reading: 85 °C is what it says before it has measured")
    assert told(ran, "dht11@4").startswith("no reading: in_temp_input: the answer was garbled")
    assert told(ran, "10-000802b4ba0e").startswith("not supported: a DS18S20")
    assert told(ran, SPARE).startswith("22.2 °C")


def test_the_lines_to_paste_make_sound_settings_once_filled_in(tree: SysfsTree, tmp_path: Path) -> None:
    """Pasted as they are, they are refused for their gaps alone; filled in, they name the probe."""
    for address in (SPARE, "28-ffffffff3f09"):
        tree.one_wire(address, w1_slave(GOOD_SCRATCHPAD))
    tree.hwmon(1, "sht4x", "1-0045", temp1_input="25000", humidity1_input="44000")
    tree.iio(0, "dht11@11", "dht11@11", in_temp_input="22000")
    pasted = ask(tree).out.split("fill in the gaps:\n")[1]
    outcome = checked(tmp_path, REAL + pasted)
    assert {line.split(":")[1] for line in lines(outcome)} == {" role", " enclosure"}
    filled = pasted.replace('role = ""', 'role = "air"').replace('enclosure = ""', 'enclosure = "rowan"')
    outcome = checked(tmp_path, REAL + filled)
    assert outcome.settings is not None, lines(outcome)
    assert {"probe-3f09", "probe-3f09-2", "sht4x-45", "dht11-11"} <= set(outcome.settings.probe_drivers)


def test_what_the_settings_use_and_miss(tree: SysfsTree, tmp_path: Path) -> None:
    """With settings each probe says who uses it, in their unit; those that are not there are told after."""
    tree.one_wire(WALL, w1_slave(GOOD_SCRATCHPAD))
    tree.one_wire(SPARE, w1_slave(GOOD_SCRATCHPAD))
    tree.hwmon(4, "sht4x", "1-0044", temp1_input="25000", humidity1_input="44000")
    ran = ask(tree, "-s", settings_file(tmp_path, FAHRENHEIT))
    assert told(ran, WALL) == "72.0 °F; in use: oak-wall"
    assert told(ran, "sht4x 0x44") == "77.0 °F, 44 % humidity; in use: room"
    assert told(ran, SPARE) == "72.0 °F; not in use"
    rest = " ".join(ran.out.split("In the settings and not above:")[1].split())
    assert f'oak-air: address = "{AIR}" is not there' in rest
    assert 'rowan-air: device = "dht11@4" is not there' in rest
    assert ran.out.count("[[probe]]") == 1


def test_a_name_that_means_two_devices_is_told(tree: SysfsTree, tmp_path: Path) -> None:
    """Settings that the station would refuse to guess by: which two, and neither is called in use."""
    for number, bus in enumerate((1, 3)):
        tree.hwmon(number, "sht4x", f"{bus}-0044", temp1_input="25000", humidity1_input="44000")
    ran = ask(tree, "-s", settings_file(tmp_path, REAL))
    assert told(ran, "sht4x 1-0044").endswith("not in use")
    assert 'room: chip = "sht4x", address = "0x44" means 2 devices: hardware monitor, at 1-0044' in " ".join(
        ran.out.split()
    )


def test_a_dht22_of_our_own_is_left_alone(tree: SysfsTree, tmp_path: Path) -> None:
    """A probe without an address is told by its pin and not asked: a running station may be asking it."""
    text = edited(REAL, ('driver = "iio"\ndevice = "dht11@4"', 'driver = "dht22"\npin = 4'))
    ran = ask(tree, "-s", settings_file(tmp_path, text))
    assert "rowan-air: a DHT22 on GPIO 4: not asked here" in " ".join(ran.out.split())


def test_what_measures_the_computer_is_left_out_and_that_is_said(tree: SysfsTree) -> None:
    """The processor's temperature is no tub's; --all lists it with the reason, and never with lines to paste."""
    tree.hwmon(0, "cpu_thermal", "thermal_zone0", temp1_input="51000")
    short = ask(tree)
    assert "cpu_thermal" not in short.out
    assert "1 other chip tells the temperature of the machine or of itself: see --all." in short.out
    full = ask(tree, "--all")
    assert told(full, "cpu_thermal").startswith("not on an I2C bus: it measures the computer")
    assert "[[probe]]" not in full.out


def test_nothing_found_says_where_to_look(tree: SysfsTree) -> None:
    """An empty list is no error, and the keeper is sent to config.txt and the wiring."""
    ran = ask(tree)
    assert "No probe was found." in ran.out
    assert "config.txt" in ran.out


def test_scripts_are_told_the_same(tree: SysfsTree, tmp_path: Path) -> None:
    """`--json`: identity, reading in Celsius or the reason, users, and the lines as TOML; null where there is none."""
    tree.one_wire(WALL, w1_slave(GOOD_SCRATCHPAD))
    tree.one_wire(SPARE, "")
    tree.one_wire("22-000802b4ba0e", "")
    document = ask(tree, "--json", "-s", settings_file(tmp_path, REAL)).json
    other, wall, spare = document["probes"]
    assert (other["supported"], other["temperature_c"], other["settings"]) == (False, None, None)
    assert (wall["address"], wall["temperature_c"], wall["humidity_pct"]) == (WALL, 22.25, None)
    assert (wall["used_by"], wall["why_no_reading"], wall["settings"]) == (["oak-wall"], None, None)
    assert spare["why_no_reading"].startswith("empty answer")
    (table,) = tomllib.loads(spare["settings"])["probe"]
    assert table == {"id": "probe-3f09", "role": "", "enclosure": "", "driver": "one-wire", "address": SPARE}
    assert set(document["not_found"]) == {"oak-air", "rowan-air", "room"}


def test_settings_that_cannot_be_used_end_with_2(tree: SysfsTree, tmp_path: Path) -> None:
    """Who names settings is told what is wrong with them, as everywhere."""
    ran = command("probes", "--sysfs", tree.root, "-s", settings_file(tmp_path, "[house]\n"))
    assert ran.code == Exit.SETTINGS
    assert "problems" in ran.err


def test_a_probe_that_never_answers_does_not_stop_the_list() -> None:
    """After the deadline the next one is asked; the reading that hangs is given up."""
    release = threading.Event()

    class Hanging:
        def read(self) -> Sample:
            release.wait(60)
            return Sample(22.0)

        def close(self) -> None: ...

    assert reading(Hanging(), deadline_s=0.05) == "no answer within 0.05 s"
    release.set()


def test_check_warns_of_an_offset_that_is_old(tmp_path: Path) -> None:
    """`matwarden check` shows the offset with its day and warns, to people and to scripts; it stays usable."""
    file = settings_file(tmp_path, edited(REAL, ("offset = -0.2", "offset = -0.2\nchecked = 2020-02-29")))
    ran = command("check", file)
    assert ran.code == Exit.OK
    assert "offset    oak-air: -0.2 °C added to each reading, last checked 2020-02-29\n" in ran.out
    assert "warning   probe oak-air: last checked 2020-02-29, more than 12 months ago" in ran.out
    (warning,) = command("check", "--json", file).json["warnings"]
    assert warning.startswith("probe oak-air: last checked 2020-02-29")
