"""The first thing `matwarden run` does: cut what an earlier run may have left on, before anything slow is loaded.

Loading the program takes half a second on a PC and some seconds on a small board; the list of relay lines is there at
once. Nothing is said here: `run` opens the same lines soon, and says what is wrong with them.
"""

from __future__ import annotations

import argparse
import contextlib
import tomllib
from collections.abc import Sequence
from pathlib import Path

from matwarden.cut import DEFAULT_LINES, LINES, RECORD, force_cut_all, parse_lines
from matwarden.lock_holder import LOCK, holder

__all__ = ["DEFAULT_SETTINGS", "cut_before_start"]

DEFAULT_SETTINGS = Path("/etc/matwarden/matwarden.toml")


def cut_before_start(arguments: Sequence[str]) -> None:
    """Cut the lines that the last run with these settings had opened. Never raises, never says a word.

    Args:
        arguments: what follows `run`.
    """
    # SystemExit: a slip in the command line is told by whoever reads it in full.
    with contextlib.suppress(Exception, SystemExit):
        path = _list_of(arguments)
        if holder(path.parent / LOCK) is not None:
            return  # another run is in charge of them
        lines, _ = parse_lines(path.read_text(encoding="utf-8", errors="replace"))
        # A simulated relay is cut when it is opened, and nothing was on in between.
        force_cut_all([line for line in lines if line.chip != RECORD], path.parent / LOCK)


def _list_of(arguments: Sequence[str]) -> Path:
    """The list beside the record; where the settings cannot say, at its usual place."""
    parser = argparse.ArgumentParser(add_help=False, exit_on_error=False)
    parser.add_argument("-s", "--settings", default=DEFAULT_SETTINGS)
    try:
        settings = Path(parser.parse_known_args(arguments)[0].settings)
        with settings.open("rb") as file:
            directory = tomllib.load(file)["store"]["directory"]
        return settings.parent.joinpath(directory, LINES)
    except (OSError, ValueError, LookupError, TypeError, argparse.ArgumentError):
        return DEFAULT_LINES
