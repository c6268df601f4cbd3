"""GPIO lines of the file: none stands twice, and those with a trap in them are told.

The pulls at reset are those of the Raspberry Pi's GPIO documentation (GPIO 0 to 8 up, 9 to 27 down; 2 and 3 have fixed
pull-ups on the board); the lines of the serial console, of I2S and the default of the 1-wire overlay are those of its
documentation of the header.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import REAL, TWIN, checked, edited, lines
from matwarden.settings import check
from matwarden.settings.render import render_resolved
from matwarden.settings.resolved import GpioPermit, TwinPermit

PERMIT = '[permit]\ndriver = "gpio"\nchip = "{chip}"\nline = {line}\n\n[store]'
ROWAN = (
    ('role = "air"\nenclosure = "rowan"', 'role = "wall"\nenclosure = "rowan"'),
    (
        "[store]",
        '[[mat]]\nenclosure = "rowan"\nplacement = "back"\nsetpoint = 25.0\ndriver = "gpio"\nchip = "/dev/gpiochip4"\n'
        'line = 17\nactive = "high"\n\n[store]',
    ),
)


def permit(line: int, chip: str = "/dev/gpiochip0") -> tuple[str, str]:
    return "[store]", PERMIT.format(chip=chip, line=line)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (0, "GPIO 0 is pulled up at reset: the relay may be on until the program runs. GPIO 16, 17 and 22 to 27 are"),
        (2, "GPIO 2 has a fixed pull-up on the board and is of the I2C bus: the relay may be on until"),
        (3, "GPIO 3 has a fixed pull-up on the board"),
        (4, "GPIO 4 is the line that 1-wire and DHT overlays take when none is named, and is pulled up at reset"),
        (8, "GPIO 8 is pulled up at reset"),
        (14, "GPIO 14 is the serial console's: it goes high and low while the board boots"),
        (15, "GPIO 15 is the serial console's"),
        (18, "GPIO 18 is of the I2S sound bus"),
        (21, "GPIO 21 is of the I2S sound bus"),
    ],
)
def test_a_poor_line_for_a_relay_is_a_warning(line: int, says: str, tmp_path: Path) -> None:
    """The one warning names the mat, the line, what is wrong with it, and better ones."""
    outcome = checked(tmp_path, edited(REAL, ("line = 17", f"line = {line}")))
    (warning,) = outcome.warnings
    assert outcome.settings is not None
    assert warning.startswith(f"mat of oak: line: {says}")
    assert "22 to 27" in warning


@pytest.mark.parametrize("line", [9, 13, 16, 17, 22, 27])
def test_a_good_line_is_no_warning(line: int, tmp_path: Path) -> None:
    """Lines that are pulled down at reset and serve nothing else are taken without a word."""
    assert checked(tmp_path, edited(REAL, ("line = 17", f"line = {line}"))).warnings == ()


def test_another_chip_has_other_lines(tmp_path: Path) -> None:
    """On a chip that is not the header's, line 4 is as good as any."""
    changed = edited(REAL, ("line = 17", "line = 4"), ("/dev/gpiochip0", "/dev/gpiochip2"))
    assert checked(tmp_path, changed).warnings == ()


def test_active_low_is_a_warning_with_its_reason(tmp_path: Path) -> None:
    """A relay that allows at low may be on while nobody holds its line; a pull-up is then no second warning."""
    outcome = checked(tmp_path, edited(REAL, ('active = "high"', 'active = "low"'), ("line = 17", "line = 5")))
    (warning,) = outcome.warnings
    assert warning.startswith("mat of oak: active: low; such a relay is off only while something holds its line high")
    assert "the mat may have power" in warning


@pytest.mark.parametrize(
    ("edits", "problem"),
    [
        ((permit(17),), "permit: line: found line 17 of /dev/gpiochip0, which mat of oak has already; "),
        (
            (('driver = "iio"\ndevice = "dht11@4"', 'driver = "dht22"\npin = 24'), permit(24)),
            "permit: line: found line 24 of /dev/gpiochip0, which probe rowan-air has already; ",
        ),
        (
            (*ROWAN, ("/dev/gpiochip4", "/dev/gpiochip0")),
            "mat of rowan: line: found line 17 of /dev/gpiochip0, which mat of oak has already; ",
        ),
    ],
)
def test_a_line_that_stands_twice_is_a_problem(
    edits: tuple[tuple[str, str], ...], problem: str, tmp_path: Path
) -> None:
    """Two relays, a relay and the permit, the permit and a DHT22's pin: one line cannot be both."""
    text = REAL
    for edit in edits:
        text = text.replace(*edit) if edit[0] == "/dev/gpiochip4" else edited(text, edit)
    (found,) = lines(checked(tmp_path, text))
    assert found.startswith(problem + "allowed: hardware of its own")


@pytest.mark.parametrize(
    ("edits", "where"),
    [
        (ROWAN, "mat of rowan: line: line 17 of /dev/gpiochip4, and mat of oak has line 17 of /dev/gpiochip0: "),
        ((permit(17, "/dev/gpiochip4"),), "permit: line: line 17 of /dev/gpiochip4, and mat of oak has line 17 of "),
    ],
)
def test_one_line_by_two_names_of_its_chip_is_a_warning(
    edits: tuple[tuple[str, str], ...], where: str, tmp_path: Path
) -> None:
    """Where gpiochip0 and gpiochip4 may be one chip, one number on both is told."""
    warnings = checked(tmp_path, edited(REAL, *edits)).warnings
    assert [text for text in warnings if text.startswith(where)] == [text for text in warnings if "two names" in text]
    assert any("two names of one chip" in text for text in warnings)


def test_two_expanders_are_two_chips(tmp_path: Path) -> None:
    """One number on two chips that are not the header's says nothing."""
    text = edited(REAL, ("/dev/gpiochip0", "/dev/gpiochip2"), permit(17, "/dev/gpiochip3"))
    assert checked(tmp_path, text).warnings == ()


@pytest.mark.parametrize(("line", "warned"), [(0, False), (4, True), (14, True), (20, True), (24, False)])
def test_a_line_that_something_else_moves_is_no_permit(line: int, warned: bool, tmp_path: Path) -> None:
    """A pull at reset is no pulse; a line that a bus or the console moves could give the permit in its place."""
    assert bool(checked(tmp_path, edited(REAL, permit(line))).warnings) is warned


def test_the_permit_as_it_is_used(tmp_path: Path) -> None:
    """A permit on a line, and a simulated one; a file without one has none, and `check` shows the one there is."""
    real = checked(tmp_path, edited(REAL, permit(24))).settings
    twin = checked(tmp_path, edited(TWIN, ("[simulation]\n", '[permit]\ndriver = "twin"\n\n[simulation]\n'))).settings
    none = checked(tmp_path, REAL).settings
    assert real is not None
    assert twin is not None
    assert none is not None
    assert (real.permit, twin.permit, none.permit) == (GpioPermit("/dev/gpiochip0", 24), TwinPermit(), None)
    assert "permit    /dev/gpiochip0 line 24; changes its level" in render_resolved(real)


@pytest.mark.parametrize(
    ("base", "table", "problem"),
    [
        (TWIN, 'driver = "gpio"\nchip = "/dev/gpiochip0"\nline = 24', 'permit: driver: found "gpio"; allowed: "twin"'),
        (REAL, 'driver = "twin"', "simulation: found nothing, though permit has driver"),
        (REAL, 'driver = "gpio"\nchip = "/dev/gpiochip0"', "permit: line: found nothing; allowed: a whole number"),
        (
            REAL,
            'driver = "gpio"\nchip = "gpiochip0"\nline = 24',
            'permit: chip: found "gpiochip0"; allowed: a GPIO chip',
        ),
        (REAL, 'driver = "twin"\nline = 24', "permit: line: found a key that means nothing here"),
        (REAL, 'driver = "relay"', 'permit: driver: found "relay"; allowed: "gpio" or "twin"'),
        (REAL, "", "permit: driver: found nothing"),
    ],
)
def test_a_slip_in_the_permit_is_told(base: str, table: str, problem: str, tmp_path: Path) -> None:
    """Each slip is told where it is; a simulated permit never mixes with real relays."""
    file = tmp_path / "shelf.toml"
    file.write_text(base + f"\n[permit]\n{table}\n", encoding="utf-8")
    assert any(line.startswith(problem) for line in lines(check(file)))


def test_the_permit_is_one_table(tmp_path: Path) -> None:
    """`[[permit]]` and `permit = 1` are refused with the right brackets."""
    for text in (REAL + "\n[[permit]]\ndriver = 'twin'\n", "permit = 1\n" + REAL):
        (found,) = lines(checked(tmp_path, text))
        assert found.startswith("permit: found")
        assert "one table [permit]" in found
