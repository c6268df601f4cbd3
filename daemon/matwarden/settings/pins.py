"""The GPIO lines of the file: none may stand twice, and some are a poor choice for a relay or a permit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from matwarden.settings import rows
from matwarden.settings.problems import Findings
from matwarden.settings.tables import Table

__all__ = ["judge_lines"]

# The chip of the Pi's header pins. Older kernels of the Raspberry Pi 5 call it gpiochip4, newer ones know both names
# (hardware: seen in libraries and kernel sources, not on a Pi).
HEADER_CHIP = "/dev/gpiochip0"
_HEADER_CHIPS = (HEADER_CHIP, "/dev/gpiochip4")
_BETTER = "GPIO 16, 17 and 22 to 27 are the better choice."
# The table of pulls at reset of the Raspberry Pi's GPIO documentation; the fixed pull-ups are on every board with a
# 40-pin header. What takes which line by default is said in the overlays of its kernel.
_PULLED_UP = range(9)
_TAKEN = {
    2: "has a fixed pull-up on the board and is of the I2C bus",
    3: "has a fixed pull-up on the board and is of the I2C bus",
    4: "is the line that 1-wire and DHT overlays take when none is named, and is pulled up at reset",
    14: "is the serial console's: it goes high and low while the board boots",
    15: "is the serial console's",
    18: "is of the I2S sound bus",
    19: "is of the I2S sound bus",
    20: "is of the I2S sound bus",
    21: "is of the I2S sound bus",
}
_ACTIVE_LOW = (
    "low; such a relay is off only while something holds its line high, so with the Pi unpowered, booting or reset, or "
    'its program gone, the mat may have power. Take a board with active = "high", or one whose papers say that an '
    "open input is off, and try that before you trust it."
)


class _Line(NamedTuple):
    where: str
    key: str
    chip: str
    number: int
    found: str


Tables = Sequence[Table[rows.ProbeRow] | Table[rows.MatRow] | Table[rows.PermitRow]]


def judge_lines(findings: Findings, tables: Tables) -> None:
    """Tell every line that stands twice, and warn of lines and polarities with a trap in them."""
    owners: dict[tuple[str, int], str] = {}
    for line in _lines(tables):
        chip, number = line.chip, line.number
        owner = owners.setdefault((chip, number), line.where)
        if owner != line.where:
            findings.problem(
                f"{line.where}: {line.key}",
                f"{line.found}, which {owner} has already",
                "hardware of its own",
                "Correct one of the two: they cannot be the same part.",
            )
        other = next((name for name in _HEADER_CHIPS if name != chip), "") if chip in _HEADER_CHIPS else ""
        if (other, number) in owners:
            findings.warn(
                f"{line.where}: {line.key}: line {number} of {chip}, and {owners[other, number]} has line {number} of "
                f"{other}: on some boards these are two names of one chip, and so the same pin. Name one chip in both."
            )
    for table in tables:
        _advise(findings, table)


def _lines(tables: Tables) -> Iterator[_Line]:
    for table in tables:
        row = table.row
        if isinstance(row, rows.Dht22Probe) and table.sound("pin"):
            yield _Line(table.where, "pin", HEADER_CHIP, row.pin, str(row.pin))
        elif isinstance(row, (rows.GpioMat, rows.GpioPermit)) and table.sound("chip", "line"):
            yield _Line(table.where, "line", row.chip, row.line, f"line {row.line} of {row.chip}")


def _advise(findings: Findings, table: Table[rows.ProbeRow] | Table[rows.MatRow] | Table[rows.PermitRow]) -> None:
    row = table.row
    if isinstance(row, rows.GpioMat) and table.sound("active") and row.active == "low":
        findings.warn(f"{table.where}: active: {_ACTIVE_LOW}")
    if not isinstance(row, (rows.GpioMat, rows.GpioPermit)) or not table.sound("chip", "line"):
        return
    if row.chip not in _HEADER_CHIPS:
        return
    why = _TAKEN.get(row.line, "")
    # A pull is no pulse: it matters to a relay, and of those to one that allows at high.
    is_relay_at_high = isinstance(row, rows.GpioMat) and table.sound("active") and row.active == "high"
    if is_relay_at_high and row.line in _PULLED_UP:
        why = f"{why or 'is pulled up at reset'}: the relay may be on until the program runs"
    if why:
        findings.warn(f"{table.where}: line: GPIO {row.line} {why}. {_BETTER}")
