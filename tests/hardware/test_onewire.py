"""The 1-wire driver against the part's datasheet, the CRC's application note and the kernel's text format."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers_sysfs import GOOD_SCRATCHPAD, SysfsTree, replace_by_real_io_error, scratchpad, w1_slave
from matwarden_hardware.onewire import OneWireProbe, crc8, parse_w1_slave
from matwarden_hardware.ports import DriverError, ProbeError, Sample

ADDRESS = "28-0316a2791fff"

# DS18B20 datasheet, Table 1 "Temperature/Data Relationship": degrees, register. Third: what the kernel shows, in
# thousandths of a degree cut towards zero (C division; Linux documentation, w1/slaves/w1_therm: "t=").
TABLE_1 = [
    (125.0, "07d0", 125000),
    (85.0, "0550", 85000),
    (25.0625, "0191", 25062),
    (10.125, "00a2", 10125),
    (0.5, "0008", 500),
    (0.0, "0000", 0),
    (-0.5, "fff8", -500),
    (-10.125, "ff5e", -10125),
    (-25.0625, "fe6f", -25062),
    (-55.0, "fc90", -55000),
]

# Scratchpads with their ninth byte computed by an independent CRC package (crcmod 1.7, "crc-8-maxim").
SCRATCHPADS = [
    ("50 05 4b 46 7f ff 0c 10 1c", 85.0),
    ("ab 01 4b 46 7f ff 0c 10 20", 26.6875),
    ("91 01 4b 46 7f ff 0c 10 70", 25.0625),
    ("64 01 4b 46 7f ff 0c 10 01", 22.25),
    ("f8 ff 4b 46 7f ff 0c 10 c3", -0.5),
    ("5e ff 4b 46 7f ff 0c 10 6a", -10.125),
]


def refusal(text: str) -> str:
    with pytest.raises(ProbeError) as caught:
        parse_w1_slave(text)
    return str(caught.value)


@pytest.mark.parametrize(("temperature_c", "register", "thousandths"), TABLE_1)
def test_datasheet_table(temperature_c: float, register: str, thousandths: int) -> None:
    """Each row of the datasheet's table is read exactly, through the text the kernel would show."""
    low, high = register[2:], register[:2]
    text = w1_slave(scratchpad(f"{low} {high} 4b 46 7f ff 10 10"), thousandths=thousandths)
    assert parse_w1_slave(text) == Sample(temperature_c)


@pytest.mark.parametrize(("nine", "temperature_c"), SCRATCHPADS)
def test_published_scratchpads(nine: str, temperature_c: float) -> None:
    """Nine bytes whose checksum somebody else computed are accepted and read exactly."""
    assert parse_w1_slave(w1_slave(nine)).temperature_c == temperature_c


def test_a_recorded_capture() -> None:
    """A capture of a real part, as often shown to beginners, is read as the kernel read it."""
    # From memory, seen in many 1-wire guides; its checksum was confirmed with crcmod 1.7.
    text = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
    assert parse_w1_slave(text) == Sample(23.125)


def test_crc_application_note() -> None:
    """The CRC of the application note's example ROM, and after each of its bytes, is the published one."""
    # Maxim application note 27: ROM 02 1C B8 01 00 00 00 has CRC A2. Intermediate values: crcmod 1.7.
    rom = bytes.fromhex("021cb801000000")
    assert [crc8(rom[: n + 1]) for n in range(7)] == [0xBC, 0xAF, 0x1E, 0xDC, 0xF4, 0x15, 0xA2]
    assert crc8(rom + b"\xa2") == 0


def test_crc_check_string() -> None:
    """The CRC of the customary check string is the one the catalogue of CRCs lists."""
    # Check value of "CRC-8/MAXIM-DOW" in the catalogue of CRCs (from memory); crcmod 1.7 gives the same.
    assert crc8(b"123456789") == 0xA1


@pytest.mark.parametrize("bit", range(72))
def test_any_flipped_bit_is_refused(bit: int) -> None:
    """One wrong bit anywhere in the capture is never read as a temperature, even if the kernel says YES."""
    damaged = bytearray.fromhex(GOOD_SCRATCHPAD)
    damaged[bit // 8] ^= 1 << bit % 8
    assert "checksum wrong" in refusal(w1_slave(damaged.hex(" ")))


def test_no_is_refused_though_line_2_looks_good() -> None:
    """After a NO the second line shows an old good value, and it is not taken."""
    # Linux documentation, w1/slaves/w1_therm: on a bad CRC the last good bytes are kept and shown.
    assert "checksum wrong" in refusal(w1_slave("64 01 4b 46 7f ff 0c 10 02", "NO", kept=GOOD_SCRATCHPAD))


def test_the_kernels_no_counts() -> None:
    """A NO is refused even when the bytes shown beside it look whole."""
    assert "checksum wrong" in refusal(w1_slave(GOOD_SCRATCHPAD, "NO"))


def test_short_circuit_is_not_zero_degrees() -> None:
    """A data wire at ground gives nine zero bytes with a valid checksum and YES, and is refused."""
    assert crc8(bytes(8)) == 0
    assert "short circuit: all zero" in refusal(w1_slave("00 " * 8 + "00"))


def test_absent_part_reads_all_ones() -> None:
    """A bus that nobody pulls down gives nine FF, and is refused with that reason."""
    assert "nobody answers: all ones" in refusal(w1_slave("ff " * 8 + "ff", "NO", kept=GOOD_SCRATCHPAD))


def test_zero_degrees_is_a_temperature() -> None:
    """A freezing probe with its fixed bytes in place is read as 0 degrees."""
    assert parse_w1_slave(w1_slave(scratchpad("00 00 4b 46 7f ff 10 10"))) == Sample(0.0)


def test_power_on_value_is_flagged() -> None:
    """85 degrees before the first finished conversion is returned as read, and flagged."""
    assert parse_w1_slave(w1_slave("50 05 4b 46 7f ff 0c 10 1c")) == Sample(85.0, None, True)


def test_measured_85_is_not_flagged() -> None:
    """85 degrees after a finished conversion (byte 6 moved on) is a temperature like any other."""
    assert parse_w1_slave(w1_slave(scratchpad("50 05 4b 46 7f ff 10 10"))) == Sample(85.0)


def test_brown_out_is_refused() -> None:
    """The part's answer to a supply that broke down is refused, with that reason."""
    # Linux documentation, ABI/testing/sysfs-driver-w1_therm, `features`: 127.94 means insufficient power.
    assert "supply broke down" in refusal(w1_slave(scratchpad("ff 07 4b 46 7f ff 0c 10")))


@pytest.mark.parametrize("eight", ["64 01 4b 46 7f ff 0c 66", "64 01 4b 46 00 ff 0c 10", "64 01 4b 46 9f ff 0c 10"])
def test_fixed_bits_must_be_there(eight: str) -> None:
    """A good checksum over bytes that no DS18B20 can hold is refused."""
    # DS18B20 datasheet, memory map and configuration register: byte 4 is 0RR11111, byte 7 is 10h.
    assert "not a DS18B20 to the letter" in refusal(w1_slave(scratchpad(eight)))


@pytest.mark.parametrize(
    ("configuration", "temperature_c"), [("7f", 22.4375), ("5f", 22.375), ("3f", 22.25), ("1f", 22.0)]
)
def test_undefined_bits_are_dropped(configuration: str, temperature_c: float) -> None:
    """At 11, 10 and 9 bits the lowest 1, 2 and 3 bits of the register say nothing and count as zero."""
    # DS18B20 datasheet, temperature register: bit 0, bits 1-0, bits 2-0 undefined. 0167h is 22.4375 in full.
    text = w1_slave(scratchpad(f"67 01 4b 46 {configuration} ff 0c 10"))
    assert parse_w1_slave(text).temperature_c == temperature_c


@pytest.mark.parametrize(
    "text",
    [
        w1_slave(GOOD_SCRATCHPAD, thousandths=22187),
        w1_slave(GOOD_SCRATCHPAD, kept="91 01 4b 46 7f ff 0c 10 70"),
        w1_slave(GOOD_SCRATCHPAD, kept=scratchpad("64 01 4c 46 7f ff 0c 10")),
        w1_slave(GOOD_SCRATCHPAD).replace("t=22250", "t="),
        w1_slave(GOOD_SCRATCHPAD).replace(" t=22250", ""),
    ],
)
def test_lines_must_agree(text: str) -> None:
    """A second line that differs from the capture, or lacks its number, is refused."""
    assert "contradicts itself" in refusal(text)


@pytest.mark.parametrize("cut", range(1, len(w1_slave(GOOD_SCRATCHPAD)) - 1))
def test_any_truncation_is_refused(cut: int) -> None:
    """A text that stops early is never a reading, wherever it stops."""
    text = w1_slave(GOOD_SCRATCHPAD)[:cut]
    assert refusal(text)


@given(st.text(alphabet="0123456789abcdef :=crtYESNO\n-", max_size=160))
def test_junk_is_refused(text: str) -> None:
    """No text raises anything but the driver's own refusal."""
    assert refusal(text)


@given(st.binary(min_size=8, max_size=8))
def test_accepted_means_proved(eight: bytes) -> None:
    """Whatever eight bytes with a good checksum are read, they are refused or give the value of their register."""
    try:
        sample = parse_w1_slave(w1_slave(scratchpad(eight.hex(" "))))
    except ProbeError:
        return
    assert eight[7] == 0x10
    assert 0.0 <= int.from_bytes(eight[:2], "little", signed=True) / 16 - sample.temperature_c <= 7 / 16


def test_reads_through_the_tree(tmp_path: Path) -> None:
    """A probe on the bus is read by its address."""
    SysfsTree(tmp_path).one_wire(ADDRESS, w1_slave(GOOD_SCRATCHPAD))
    assert OneWireProbe(ADDRESS, tmp_path).read() == Sample(22.25)


def test_vanished_and_back(tmp_path: Path) -> None:
    """A probe that leaves the bus is missing by name, and is read again once it is back."""
    tree = SysfsTree(tmp_path)
    file = tree.one_wire(ADDRESS, w1_slave(GOOD_SCRATCHPAD))
    probe = OneWireProbe(ADDRESS, tmp_path)
    tree.unplug(file.parent)
    with pytest.raises(ProbeError, match=f"probe {ADDRESS}: not on the bus"):
        probe.read()
    tree.one_wire(ADDRESS, w1_slave("91 01 4b 46 7f ff 0c 10 70"))
    assert probe.read() == Sample(25.0625)


def test_no_bus(tmp_path: Path) -> None:
    """Without a bus the keeper is told which line of config.txt makes one."""
    with pytest.raises(ProbeError, match="no 1-wire bus.*dtoverlay=w1-gpio"):
        OneWireProbe(ADDRESS, tmp_path).read()


def test_no_therm_module(tmp_path: Path) -> None:
    """A device that the kernel knows but cannot measure with names the missing module."""
    SysfsTree(tmp_path).one_wire(ADDRESS, "").unlink()
    with pytest.raises(ProbeError, match="load the module w1_therm"):
        OneWireProbe(ADDRESS, tmp_path).read()


def test_empty_file(tmp_path: Path) -> None:
    """The kernel's silent failure, a file of no bytes, is refused."""
    SysfsTree(tmp_path).one_wire(ADDRESS, "")
    with pytest.raises(ProbeError, match=f"probe {ADDRESS}: empty answer"):
        OneWireProbe(ADDRESS, tmp_path).read()


def test_real_io_error(tmp_path: Path) -> None:
    """An input/output error from the kernel itself becomes a refusal that sends the keeper to the wiring."""
    replace_by_real_io_error(SysfsTree(tmp_path).one_wire(ADDRESS, ""))
    with pytest.raises(ProbeError, match=f"probe {ADDRESS}: the answer was garbled.*wiring"):
        OneWireProbe(ADDRESS, tmp_path).read()


@pytest.mark.parametrize(
    "address", ["", "28-0316a2791ff", "10-000802b5a1c3", "28-0316a2791fffff", "../28-0316a2791fff", "28-0316a2791ffg"]
)
def test_bad_address(address: str) -> None:
    """An address that no DS18B20 can have is refused when the driver is made, and the form is shown."""
    with pytest.raises(DriverError, match='write "28-" and twelve of 0-9 a-f'):
        OneWireProbe(address)


def test_capital_address(tmp_path: Path) -> None:
    """An address copied in capitals finds the same probe."""
    SysfsTree(tmp_path).one_wire(ADDRESS, w1_slave(GOOD_SCRATCHPAD))
    assert OneWireProbe(ADDRESS.upper(), tmp_path).read() == Sample(22.25)
