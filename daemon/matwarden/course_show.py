"""Showing a running experiment: one line drawn anew on a terminal; elsewhere one a part, and one each half hour."""

from __future__ import annotations

import shutil
from typing import TextIO
from zoneinfo import ZoneInfo

from matwarden.course_run import Progress
from matwarden.report.course_text import progress_line
from matwarden.terms import Unit

__all__ = ["Shown"]

_LINE_EVERY_S = 1800.0
# ECMA-48: erase to the line's end.
_REST_OF_LINE = "\x1b[K"


class Shown:
    """Where progress goes.

    Args:
        out: the stream. terminal: it is one that a person looks at.
    """

    def __init__(self, out: TextIO, terminal: bool, unit: Unit, zone: ZoneInfo) -> None:
        self._out, self._terminal, self._unit, self._zone = out, terminal, unit, zone
        self._number = 0
        self._next_s = float("-inf")
        self._drawn = False

    def __call__(self, progress: Progress) -> None:
        line = progress_line(progress, self._unit, self._zone)
        new_part = progress.number != self._number
        if self._terminal:
            if new_part and self._drawn:
                self._out.write("\n")
            width = shutil.get_terminal_size((80, 24)).columns
            self._out.write(f"\r{line[: width - 1]}{_REST_OF_LINE}")
            self._drawn = True
        elif new_part or progress.wall_s >= self._next_s:
            self._out.write(f"{line}\n")
            self._next_s = progress.wall_s + _LINE_EVERY_S
        self._number = progress.number
        self._out.flush()

    def close(self) -> None:
        """Leave the line as it stands."""
        if self._drawn:
            self._out.write("\n")
            self._out.flush()
            self._drawn = False
