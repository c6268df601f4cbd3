"""`matwarden cut`: drive every relay line to cut, with nothing but the list of lines and the GPIO library.

It reads no settings and opens no store, so it works with a broken settings file, a full disk or a damaged record; the
service manager runs it after every end of the daemon, whatever ended it. The running daemon writes the list of lines
whenever it has opened its relays.

What it leaves: the line driven to cut and then released. A Raspberry Pi kernel keeps that level; with `strict_gpiod`
the line becomes an input and the resistor at the relay says cut. Not tried on a real Pi.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from matwarden.exit_codes import Exit
from matwarden_hardware.ports import DriverError

__all__ = ["DEFAULT_LINES", "LINES", "RelayLine", "add_arguments", "carry_out", "parse_lines", "run", "written"]

LINES = "relay-lines"
DEFAULT_LINES = Path("/var/lib/matwarden") / LINES


class RelayLine(NamedTuple):
    """One relay's line.

    Attributes:
        chip: a GPIO chip as `/dev/gpiochip0`; or `record` for the simulated shelf.
        line: the line's number; of a simulated relay, the file that records its level.
        active: `high` or `low`; of a simulated relay, its tub.
    """

    chip: str
    line: str
    active: str


def written(lines: Sequence[RelayLine]) -> str:
    """The list as it is kept: one line each, fields apart by tabs."""
    return "".join("\t".join(line) + "\n" for line in lines)


def parse_lines(text: str) -> list[RelayLine]:
    """The lines of a kept list.

    Raises:
        ValueError: a line is not three fields apart by tabs.
    """
    lines = []
    for number, row in enumerate(text.splitlines(), 1):
        fields = row.split("\t")
        if len(fields) != 3 or not all(fields):
            raise ValueError(f"line {number} is {row!r}; expected chip, line and polarity, apart by tabs")
        lines.append(RelayLine(*fields))
    return lines


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What `cut` takes."""
    parser.add_argument(
        "--line",
        action="append",
        default=[],
        metavar="CHIP:LINE:high|low",
        help="a relay's line, as /dev/gpiochip0:17:high; may be given again",
    )
    parser.add_argument(
        "--lines",
        type=Path,
        metavar="FILE",
        help=f"the list the daemon keeps (default, without --line: {DEFAULT_LINES})",
    )


def run(arguments: Sequence[str]) -> int:
    """The command, without the rest of the program."""
    parser = argparse.ArgumentParser(prog="matwarden cut", description="Drive every relay line to cut.")
    parser.epilog = "example: matwarden cut --line /dev/gpiochip0:17:high"
    add_arguments(parser)
    try:
        return carry_out(parser.parse_args(arguments))
    except SystemExit as left:
        return Exit.USAGE if left.code else Exit.OK


def carry_out(asked: argparse.Namespace) -> int:
    """Cut what was asked for; every line is tried, whatever became of the others."""
    lines, problem = _wanted(asked)
    if problem:
        print(f"matwarden cut: {problem}", file=sys.stderr)
        return Exit.UNKNOWN
    failed = 0
    for line in lines:
        name = f"{line.chip} line {line.line}"
        try:
            _cut(line)
        except Exception as error:  # each line must be tried: whatever went wrong with this one is told
            failed += 1
            print(f"matwarden cut: {name} is NOT known to be cut: {error}", file=sys.stderr)
        else:
            print(f"{name}: cut")
    if failed:
        print("matwarden cut: unplug the mats of the lines named above", file=sys.stderr)
    return Exit.DEVICE if failed else Exit.OK


def _wanted(asked: argparse.Namespace) -> tuple[list[RelayLine], str]:
    lines: list[RelayLine] = []
    for text in asked.line:
        chip, _, rest = text.partition(":")
        number, _, active = rest.partition(":")
        if not (chip and number.isdecimal() and active in ("high", "low")):
            return [], f"'{text}' is not a relay line such as /dev/gpiochip0:17:high"
        lines.append(RelayLine(chip, number, active))
    path = asked.lines or (None if lines else DEFAULT_LINES)
    if path is not None:
        try:
            lines += parse_lines(path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return [], f"there is no list of relay lines at {path}; name each line with --line"
        except (OSError, ValueError) as error:
            return [], f"{path} cannot be used ({error}); name each line with --line"
    return lines, ""


def _cut(line: RelayLine) -> None:
    if line.chip == "record":
        from matwarden_hardware.twin.record import record_cut

        record_cut(Path(line.line), line.active)
        return
    from matwarden_hardware.gpio import GpioRelay

    # Opening it is cutting it: one request makes the line an output at the level for cut.
    relay = GpioRelay(line.chip, int(line.line), line.active == "high")
    try:
        if relay.read_back():
            raise DriverError("the line does not read back as cut")
    finally:
        relay.close()
