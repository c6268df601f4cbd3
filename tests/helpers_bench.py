"""Relay lines that processes share and that outlive them: `tests/process/bench` in place of the GPIO library."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

from helpers_process import PATIENCE_S, ROOT, Ran

CHIP = "/dev/gpiochip0"

# What a daemon does with its lock and its lines, in ten lines: it takes both, allows heat, says so, and hangs.
_HOLDER = """
import os, sys, time
from pathlib import Path
from matwarden.sinks.store_file import open_store
from matwarden_hardware.gpio import GpioRelay
store = open_store(Path(sys.argv[1]), 0.0)
relays = [GpioRelay(sys.argv[2], int(line), True) for line in sys.argv[3:]]
for relay in relays:
    relay.drive(True)
print("allowed", flush=True)
time.sleep(600)
"""


class Bench:
    """A directory of lines, and commands that see them as the machine's GPIO chips."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory / "bench"
        self.directory.mkdir()
        self.store = directory / "data"

    def levels(self, line: int, chip: str = CHIP) -> list[bool]:
        """Every level the line was driven to, in order; True is high."""
        path = self.directory / f"{Path(chip).name}-{line}.levels"
        return [row == "1" for row in path.read_text(encoding="utf-8").split()] if path.exists() else []

    def leave(self, line: int, high: bool, chip: str = CHIP) -> None:
        """The level a line was left at by something that is gone."""
        path = self.directory / f"{Path(chip).name}-{line}.levels"
        path.write_text("1\n" if high else "0\n", encoding="utf-8")

    def list_lines(self, *rows: tuple[str, int, str]) -> Path:
        """The list that a daemon would have kept."""
        self.store.mkdir(exist_ok=True)
        path = self.store / "relay-lines"
        path.write_text("".join(f"{chip}\t{line}\t{active}\n" for chip, line, active in rows), encoding="utf-8")
        return path

    def holder(self, *lines: int, chip: str = CHIP) -> subprocess.Popen[str]:
        """A process that has the record's lock, holds these lines and allows heat at each; it answers nobody."""
        words = [sys.executable, "-c", _HOLDER, str(self.store), chip, *map(str, lines)]
        process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=self.environment())
        assert process.stdout is not None
        assert process.stdout.readline() == "allowed\n"
        process.send_signal(signal.SIGSTOP)
        return process

    def matwarden(self, *words: str | Path, stdout: int = subprocess.PIPE, **more: str) -> Ran:
        """A command on a machine with these lines."""
        done = subprocess.run(
            [sys.executable, "-m", "matwarden", *map(str, words)],
            stdout=stdout,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            env=self.environment() | more,
            timeout=PATIENCE_S,
            check=False,
        )
        return Ran(done.returncode, (done.stdout or b"").decode(), done.stderr.decode())

    def run(self, settings: Path) -> subprocess.Popen[bytes]:
        """The daemon, begun on a machine with these lines."""
        return subprocess.Popen(
            [sys.executable, "-m", "matwarden", "run", "-s", str(settings)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
            env=self.environment(),
        )

    def environment(self) -> dict[str, str]:
        """Hardly anything: no home, no language, no path to programs."""
        paths = (ROOT / "tests" / "process" / "bench", ROOT / "daemon", ROOT / "hardware")
        return {
            "PYTHONPATH": os.pathsep.join(map(str, paths)),
            "PYTHONDONTWRITEBYTECODE": "1",
            "MATWARDEN_BENCH": str(self.directory),
        }
