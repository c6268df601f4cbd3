"""Copies of the unit file inside a booted systemd, each with directories and a simulated shelf of its own."""

from __future__ import annotations

import contextlib
import fcntl
import os
import shutil
import tempfile
import time
from pathlib import Path
from types import TracebackType

from helpers_process import ROOT
from helpers_systemd import Machine
from matwarden.cut import LINES, RelayLine, written
from matwarden.sinks.store_file import open_store

# Shorter than in the unit, so that the test is; long enough for a busy machine.
_WATCHDOG_S = 6
# A page, the smallest pipe there is (pipe(7)). A write of less than PIPE_BUF bytes waits until all of it fits: into
# what is left goes one line `SECONDS cut oak`, and `SECONDS allow oak` then does not.
_PIPE_BYTES, _ONE_LINE_BYTES = 4096, 28


class FullPipe:
    """A relay's record that takes no more: whoever writes to it hangs until it is drained."""

    def __init__(self, path: Path, room_for: str) -> None:
        os.mkfifo(path)
        path.chmod(0o666)
        self._reader = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
        self._writer = os.open(path, os.O_WRONLY)
        fcntl.fcntl(self._writer, fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
        filling = _PIPE_BYTES - (_ONE_LINE_BYTES if room_for == "cut" else 0)
        os.write(self._writer, b"\n" * filling)
        self._seen = b""

    def drain(self) -> list[str]:
        """Let everybody write who waits; the levels that came through so far."""
        with contextlib.suppress(BlockingIOError):
            while more := os.read(self._reader, _PIPE_BYTES):
                self._seen += more
        return [line.split()[1].decode() for line in self._seen.splitlines() if line]

    def __enter__(self) -> FullPipe:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        os.close(self._writer)
        os.close(self._reader)


class Unit:
    """The unit file under another name. `lay` first."""

    def __init__(self, machine: Machine, stem: str) -> None:
        self.machine = machine
        self.name = f"{stem}.service"
        self.state = f"/var/lib/{stem}"
        # Beside the record's directory, so that it can be written when that cannot.
        self.record = f"/run/relays/{stem}.txt"
        self.pipe: FullPipe | None = None
        self._stem = stem

    def lay(self, settings: str, **credentials: str) -> None:
        """The unit, its settings, and those credentials: `push_paper="..."` is the file push-paper."""
        etc = self.machine.path(f"/etc/{self._stem}")
        etc.mkdir()
        for key, text in credentials.items():
            (etc / "credentials").mkdir(mode=0o700, exist_ok=True)
            (etc / "credentials" / key.replace("_", "-")).write_text(text, encoding="utf-8")
        for old, new in (
            ('directory = "data"', f'directory = "{self.state}"'),
            ('socket = "control.sock"', f'socket = "/run/{self._stem}/control.sock"'),
            ('record = "relays.txt"', f'record = "{self.record}"'),
        ):
            assert not settings or old in settings
            settings = settings.replace(old, new)
        (etc / "matwarden.toml").write_text(settings, encoding="utf-8")
        relays = self.machine.path("/run/relays")
        relays.mkdir(exist_ok=True)
        relays.chmod(0o777)
        text = (ROOT / "systemd" / "matwarden.service").read_text(encoding="utf-8")
        for place in ("/etc/", "/var/lib/", "StateDirectory=", "RuntimeDirectory=", "ConfigurationDirectory="):
            assert f"{place}matwarden" in text
            text = text.replace(f"{place}matwarden", f"{place}{self._stem}")
        self._drop_in().parent.mkdir()
        self.machine.path(f"/etc/systemd/system/{self.name}").write_text(text, encoding="utf-8")
        # The output where it can be read without a journal, and the record writable.
        self._drop_in().write_text(
            f"[Service]\nWatchdogSec={_WATCHDOG_S}\nReadWritePaths=/run/relays\n"
            f"StandardOutput=append:/run/{self._stem}.log\nStandardError=inherit\n",
            encoding="utf-8",
        )

    def run_instead(self, command: str, drop_in: str = "") -> None:
        """Another command in the unit's sandbox, once, with one more drop-in."""
        with self._drop_in().open("a", encoding="utf-8") as file:
            file.write(f"Type=oneshot\nRestart=no\nExecStopPost=\nExecStart=\nExecStart={command}\n{drop_in}")
        self.machine.run("systemctl", "daemon-reload", check=True)

    def wear_out(self) -> None:
        """State and settings on a disk of their own that has become read-only after an earlier run."""
        run, etc = self.machine.run, f"/etc/{self._stem}"
        settings = self.machine.path(f"{etc}/matwarden.toml").read_bytes()
        for place in (self.state, etc):
            run("mkdir", "-p", place, check=True)
            run("mount", "-t", "tmpfs", "-o", "mode=755", "tmpfs", place, check=True)
        state = self.machine.path(self.state)
        with tempfile.TemporaryDirectory() as made:
            open_store(Path(made), time.time()).close()
            shutil.copytree(made, state, dirs_exist_ok=True)
        state.chmod(0o750)
        (state / LINES).write_text(written([RelayLine("record", self.record, "oak")]), encoding="utf-8")
        run("chown", "-R", "matwarden:gpio", self.state, check=True)
        self.machine.path(f"{etc}/matwarden.toml").write_bytes(settings)
        self.machine.path(f"{etc}/credentials").mkdir(mode=0o700)
        for place in (self.state, etc):
            run("mount", "-o", "remount,ro", place, check=True)

    @property
    def log(self) -> str:
        """Everything its processes have printed."""
        path = self.machine.path(f"/run/{self._stem}.log")
        return path.read_text(encoding="utf-8") if path.exists() else "(no log)"

    @property
    def levels(self) -> list[str]:
        """What was done to its relay's line, in order."""
        path = self.machine.path(self.record)
        text = path.read_text(encoding="utf-8") if path.exists() else ""
        return [line.split()[1] for line in text[: text.rfind("\n") + 1].splitlines()]

    def shows(self, what: str) -> str:
        """One property of the unit."""
        return self.machine.shows(self.name, what)

    def heats(self) -> bool:
        """Whether the mat may have power now."""
        return self.levels[-1:] == ["allow"]

    def restarted(self) -> bool:
        """Whether it was started again and is ready."""
        return int(self.shows("NRestarts")) > 0 and self.shows("ActiveState") == "active"

    def _drop_in(self) -> Path:
        return self.machine.path(f"/etc/systemd/system/{self.name}.d/test.conf")
