"""A command at a terminal: what a person would see and type."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import select
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_process import PATIENCE_S, environment, heed_signals


def _take_terminal() -> None:
    heed_signals()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class Terminal:
    """A running `matwarden` whose terminal this is."""

    def __init__(self, *words: str | Path) -> None:
        self._ours, theirs = pty.openpty()
        self.seen = ""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "matwarden", *map(str, words)],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            start_new_session=True,
            # The terminal of the new session: Ctrl-C then comes as the signal it is.
            preexec_fn=_take_terminal,
            env=environment(),
        )
        os.close(theirs)

    def until(self, text: str) -> None:
        """Wait until it has shown this."""
        deadline = time.monotonic() + PATIENCE_S
        while text not in self.seen:
            if not self._look() or time.monotonic() > deadline:
                pytest.fail(f"it never showed {text!r}: {self.seen}")

    def until_more(self) -> None:
        """Wait until it has shown anything more."""
        if not self._look():
            pytest.fail(f"it shows nothing more: {self.seen}")

    def type(self, text: str) -> None:
        """Type this; a control character is one."""
        os.write(self._ours, text.encode())

    def end(self) -> int:
        """Its exit code, and the rest of what it shows."""
        while self._look():
            pass
        return self.process.wait(PATIENCE_S)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(PATIENCE_S)
        os.close(self._ours)

    def _look(self) -> bool:
        if not select.select([self._ours], [], [], PATIENCE_S)[0]:
            return False
        with contextlib.suppress(OSError):  # EIO: the last program at it has ended
            more = os.read(self._ours, 4096)
            self.seen += more.decode("utf-8", "replace").replace("\r\n", "\n")
            return bool(more)
        return False


@contextlib.contextmanager
def at_terminal(*words: str | Path) -> Iterator[Terminal]:
    """A command, ended with the block."""
    terminal = Terminal(*words)
    try:
        yield terminal
    finally:
        terminal.close()
