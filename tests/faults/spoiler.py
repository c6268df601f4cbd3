"""A disk and a clock that a test spoils under a running program: trouble.c before the C library, and its knobs.

Nothing is mounted and no clock is set, so it needs no right that a user lacks.
"""

from __future__ import annotations

import mmap
import shutil
import struct
import subprocess
from pathlib import Path

__all__ = ["NoCompilerError", "Spoiler"]

_SOURCE = Path(__file__).resolve().parent / "trouble.c"


class NoCompilerError(Exception):
    """This machine has none that can make trouble.c."""


class Spoiler:
    """What one program meets.

    Args:
        directory: where library and knobs go; must not lie under `under`.
        under: the directory whose files are met.

    Raises:
        NoCompilerError: the library cannot be made.
    """

    def __init__(self, directory: Path, under: Path) -> None:
        compiler = shutil.which("cc") or shutil.which("gcc")
        library, knobs = directory / "trouble.so", directory / "knobs"
        command = [str(compiler), "-shared", "-fPIC", "-O1", "-o", str(library), str(_SOURCE)]
        if compiler is None or subprocess.run(command, capture_output=True, check=False).returncode:
            raise NoCompilerError
        knobs.write_bytes(bytes(4096))
        with knobs.open("r+b") as file:
            self._knobs = mmap.mmap(file.fileno(), 4096)
        self.environment = {
            "LD_PRELOAD": str(library),
            "TROUBLE_KNOBS": str(knobs),
            "TROUBLE_UNDER": str(under.resolve()),
        }

    def step_clock(self, by_s: float) -> None:
        """The wall clock is off by so much from now on."""
        struct.pack_into("q", self._knobs, 0, round(by_s * 1e9))

    def slow_disk(self, by_s: float) -> None:
        """Every write and every sync takes so much longer."""
        struct.pack_into("q", self._knobs, 8, round(by_s * 1e6))

    def refuse(self, error: int) -> None:
        """Changes are refused with this error number; 0: no more."""
        struct.pack_into("q", self._knobs, 16, error)
