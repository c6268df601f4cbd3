"""Settings judged in a child process, while this one loads what it will need: sooner, and without the judges' memory.

As a program (`python -m matwarden.settings.apart FILE`) this module is that child. Whatever goes wrong with it, the
file is judged here as ever: that also tells what is wrong with it.
"""

from __future__ import annotations

import contextlib
import pickle
import subprocess
import sys
from pathlib import Path

from matwarden.settings import load
from matwarden.settings.resolved import Settings

__all__ = ["Apart"]

_LIMIT_S = 60.0


class Apart:
    """A file that is being judged; `settings` waits for it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._child: subprocess.Popen[bytes] | None = None
        command = [sys.executable, "-P", "-m", "matwarden.settings.apart", str(path)]
        # Without room for a process there is none; then this one judges.
        with contextlib.suppress(OSError):
            self._child = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
            )

    def settings(self) -> Settings:
        """The settings of the file.

        Raises:
            SettingsError: they cannot be used; it carries every problem.
        """
        found = self._answer()
        return found if found is not None else load(self._path)

    def _answer(self) -> Settings | None:
        if self._child is None:
            return None
        with self._child as child:
            try:
                answer, _ = child.communicate(timeout=_LIMIT_S)
            except subprocess.TimeoutExpired:
                child.kill()
                return None
        if child.returncode != 0:
            return None
        try:
            # From our own child, over a pipe.
            found = pickle.loads(answer)
        except Exception:  # another version's, or cut short
            return None
        return found if isinstance(found, Settings) else None


if __name__ == "__main__":
    sys.stdout.buffer.write(pickle.dumps(load(Path(sys.argv[1]))))
