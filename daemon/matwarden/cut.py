"""`matwarden cut`: drive every relay line to cut, with nothing but the list of lines and the GPIO library.

It reads no settings and opens no store, so it works with a broken settings file, a full disk or a damaged record; the
service manager runs it after every end of the daemon, whatever ended it. The running daemon writes the list of lines
whenever it has opened its relays.

What it leaves: the line driven to cut and then released. A Raspberry Pi kernel keeps that level; with `strict_gpiod`
the line becomes an input and the resistor at the relay says cut. Not tried on a real Pi.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple, TextIO

from matwarden.exit_codes import Exit
from matwarden.lock_holder import LOCK, end_by_force, holder
from matwarden_hardware.ports import DriverError

__all__ = [
    "DEFAULT_LINES",
    "LINES",
    "RECORD",
    "RelayLine",
    "add_arguments",
    "carry_out",
    "force_cut_all",
    "parse_lines",
    "run",
    "written",
]

LINES = "relay-lines"
DEFAULT_LINES = Path("/var/lib/matwarden") / LINES
RECORD = "record"
"""Stands for the chip of a simulated relay."""


class RelayLine(NamedTuple):
    """One relay's line, or the permit's.

    Attributes:
        chip: a GPIO chip as `/dev/gpiochip0`; or `record` for the simulated shelf.
        line: the line's number; of a simulated relay, the file that records its level.
        active: `high` or `low`; of a simulated relay, its tub.
    """

    chip: str
    line: str
    active: str

    @property
    def name(self) -> str:
        """The line as a keeper knows it."""
        return f"simulated relay of {self.active}" if self.chip == RECORD else f"{self.chip} line {self.line}"


def written(lines: Iterable[RelayLine]) -> str:
    """The list as it is kept: one line each, fields apart by tabs."""
    return "".join("\t".join(line) + "\n" for line in lines)


def parse_lines(text: str) -> tuple[list[RelayLine], list[str]]:
    """The lines of a kept list, and what of it cannot be read: one bad row must not keep the others on."""
    lines, problems = [], []
    for number, row in enumerate(text.splitlines(), 1):
        chip, *rest = row.split("\t")
        known = len(rest) == 2 and all(rest) and (chip == RECORD or (_is_number(rest[0]) and rest[1] in _LEVELS))
        if chip and known:
            lines.append(RelayLine(chip, *rest))
        else:
            problems.append(f"row {number} is {row[:80]!r}; expected chip, line and polarity, apart by tabs")
    return lines, problems


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
    parser.add_argument(
        "--kill",
        action="store_true",
        help="first end the daemon that holds the lines, by SIGKILL: the last resort when it does not answer",
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
    """Cut what was asked for. Every line is tried, whatever became of the others, before a word is said."""
    lines, problems = _wanted(asked)
    lock = (asked.lines or DEFAULT_LINES).parent / LOCK
    ended = end_by_force(lock) if asked.kill and lines else ""
    uncut = force_cut_all(lines, lock)
    if ended:
        _say(sys.stderr, f"matwarden cut: {ended}")
    for problem in problems:
        _say(sys.stderr, f"matwarden cut: {problem}")
    for line in lines:
        if line in uncut:
            _say(sys.stderr, f"matwarden cut: {line.name} is NOT known to be cut: {uncut[line]}")
        else:
            _say(sys.stdout, f"{line.name}: cut")
    if uncut:
        _say(sys.stderr, "matwarden cut: unplug the mats of the lines named above")
        return Exit.DEVICE
    return Exit.UNKNOWN if problems else Exit.OK


def force_cut_all(lines: Sequence[RelayLine], lock: Path) -> dict[RelayLine, str]:
    """Cut every line, those of a chip in one request; returns why, of each that is not known to be cut."""
    uncut: dict[RelayLine, str] = {}
    for chip in dict.fromkeys(line.chip for line in lines):
        of_chip = [line for line in lines if line.chip == chip]
        try:
            uncut.update(_cut_record(of_chip, lock) if chip == RECORD else _cut_chip(chip, of_chip, lock))
        except Exception as error:  # the other chips must be tried: whatever went wrong with this one is told
            uncut.update((line, str(error) or repr(error)) for line in of_chip)
    return uncut


_LEVELS = ("high", "low")


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 6


def _wanted(asked: argparse.Namespace) -> tuple[list[RelayLine], list[str]]:
    """The lines to cut, each once, and what could not be understood. What is named by hand goes before the list."""
    lines: list[RelayLine] = []
    problems: list[str] = []
    for text in asked.line:
        chip, _, rest = text.partition(":")
        number, _, active = rest.partition(":")
        if chip and chip != RECORD and _is_number(number) and active in _LEVELS:
            lines.append(RelayLine(chip, number, active))
        else:
            problems.append(f"'{text}' is not a relay line such as /dev/gpiochip0:17:high")
    path = asked.lines or (None if asked.line else DEFAULT_LINES)
    if path is not None:
        try:
            listed, bad = parse_lines(path.read_text(encoding="utf-8", errors="replace"))
        except FileNotFoundError:
            problems.append(f"there is no list of relay lines at {path}; name each line with --line")
        except (OSError, ValueError) as error:
            problems.append(f"{path} cannot be used ({error}); name each line with --line")
        else:
            lines += listed
            problems += [f"{path}: {problem}; name that line with --line" for problem in bad]
    once = {(line.chip, line.active if line.chip == RECORD else int(line.line)): line for line in reversed(lines)}
    return list(reversed(once.values())), problems


def _cut_chip(chip: str, lines: Sequence[RelayLine], lock: Path) -> dict[RelayLine, str]:
    from matwarden_hardware.lines import force_cut

    uncut = force_cut(chip, {int(line.line): line.active == "high" for line in lines})
    found = {}
    for line in lines:
        trouble = uncut.get(int(line.line))
        if trouble is not None:
            found[line] = trouble.why + (_daemon(lock) if trouble.busy else "")
    return found


def _cut_record(lines: Sequence[RelayLine], lock: Path) -> dict[RelayLine, str]:
    from matwarden_hardware.twin.record import record_cut

    # A real line is held by the process that opened it; a simulated one as long as that process is there.
    daemon = _daemon(lock)
    if daemon:
        return {line: f"the simulated shelf is still there{daemon}" for line in lines}
    found = {}
    for line in lines:
        try:
            record_cut(Path(line.line), line.active)
        except DriverError as error:
            found[line] = str(error)
    return found


def _daemon(lock: Path) -> str:
    """Who is in charge, as the end of a sentence; empty when no daemon is."""
    process = holder(lock)
    if process is None:
        return ""
    who = f"process {process}" if process else "a process"
    return (
        f". matwarden is in charge of it ({who}): stop it, as with systemctl stop matwarden, or cut one tub with "
        "matwarden hold; if it does not answer: matwarden cut --kill"
    )


def _say(stream: TextIO | None, text: str) -> None:
    """A line to whoever listens. A full disk or a reader that has gone is no reason to end otherwise."""
    if stream is not None:
        with contextlib.suppress(OSError, ValueError):
            os.write(stream.fileno(), f"{text}\n".encode(errors="replace"))
