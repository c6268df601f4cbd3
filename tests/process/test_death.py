"""Every death of the process ends with its relay cut, by a path that does not need the dead process.

No service manager runs here: the test stands in for it, with the datagrams of sd_notify(3) on a real socket and with
the same command that `ExecStopPost=` names. The relay's line is the simulated one's record.
"""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from helpers_process import ROOT, Daemon, command, eventually, shelf_text

WATCHDOG_S = 4.0


class Watch:
    """The service manager's end of the socket."""

    def __init__(self, path: Path) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self._socket.setblocking(False)
        self.heard: list[str] = []

    def listen(self) -> list[str]:
        """Every line heard so far."""
        with contextlib.suppress(BlockingIOError):
            while True:
                self.heard += self._socket.recv(4096).decode().splitlines()
        return self.heard

    def close(self) -> None:
        self._socket.close()


class Watched(NamedTuple):
    """A daemon, and where it tells its service manager how it is."""

    daemon: Daemon
    watch: Watch


# As many as tests below that need one: each kills its own.
SHELVES_N = 4


@pytest.fixture(scope="module")
def shelves(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Watched]]:
    """Daemons begun side by side, so that the rest before heat is waited for only once."""
    watched: list[Watched] = []
    try:
        for _ in range(SHELVES_N):
            directory = tmp_path_factory.mktemp("shelf")
            with pytest.MonkeyPatch.context() as patch:
                patch.setenv("NOTIFY_SOCKET", str(directory / "notify"))
                patch.setenv("WATCHDOG_USEC", str(int(WATCHDOG_S * 1e6)))
                patch.delenv("WATCHDOG_PID", raising=False)
                watch = Watch(directory / "notify")
                watched.append(Watched(Daemon(directory, shelf_text("oak")), watch))
        yield list(watched)
    finally:
        for daemon, watch in watched:
            daemon.kill()
            watch.close()


@pytest.fixture
def one(shelves: list[Watched]) -> Watched:
    """One that no test has had before."""
    one = shelves.pop()
    one.daemon.until_allowed("oak")
    return one


@pytest.fixture
def heating(one: Watched) -> Daemon:
    """A daemon that is heating oak, told where its service manager listens."""
    return one.daemon


@pytest.fixture
def watch(one: Watched) -> Watch:
    return one.watch


def _stop_post(directory: Path) -> None:
    """What `ExecStopPost=` does."""
    ran = command("cut", "--lines", directory / "data" / "relay-lines")
    assert (ran.code, ran.err) == (0, ""), ran


def test_it_is_ready_after_a_cycle_pings_while_it_lives_and_says_when_it_stops(heating: Daemon, watch: Watch) -> None:
    """The datagrams of a life in good order, as sd_notify(3) states them."""
    eventually(lambda: watch.listen().count("WATCHDOG=1") >= 3, "pings")
    assert watch.heard.count("READY=1") == 1
    assert watch.heard.index("READY=1") <= watch.heard.index("WATCHDOG=1") + 2
    assert any(line.startswith("STATUS=2 tubs watched") for line in watch.heard)
    assert heating.stop() == 0
    assert "STOPPING=1" in watch.listen()


def test_a_stopped_process_falls_silent_and_its_relay_is_cut_after_the_watchdog(heating: Daemon, watch: Watch) -> None:
    """SIGSTOP: no ping for the watchdog's time, then the kill and the command leave the line cut."""
    eventually(lambda: "WATCHDOG=1" in watch.listen(), "a ping")
    heating.process.send_signal(signal.SIGSTOP)
    watch.listen()
    watch.heard.clear()
    silent_until_s = time.monotonic() + WATCHDOG_S
    eventually(lambda: time.monotonic() >= silent_until_s, "the watchdog's time")
    assert watch.listen() == []
    assert heating.allows("oak")  # nothing has cut it yet: that is what the command is for
    heating.kill()
    _stop_post(heating.directory)
    assert not heating.allows("oak")


def test_a_killed_process_leaves_a_line_that_the_command_cuts(heating: Daemon) -> None:
    """SIGKILL in the middle of heating, then `matwarden cut`."""
    heating.kill()
    assert heating.allows("oak")
    _stop_post(heating.directory)
    assert not heating.allows("oak")


def test_cut_needs_neither_settings_nor_record(heating: Daemon) -> None:
    """With the settings broken and the record gone it still cuts."""
    heating.kill()
    heating.settings.write_text("not = [toml", encoding="utf-8")
    for file in (heating.directory / "data").glob("matwarden.db*"):
        file.unlink()
    _stop_post(heating.directory)
    assert not heating.allows("oak")


def test_cut_loads_none_of_the_heavy_libraries() -> None:
    """It must be quick and work when an installation is half broken."""
    script = "import sys; from matwarden.cut import run; run([]); print(*sys.modules)"
    paths = os.pathsep.join([str(ROOT / "daemon"), str(ROOT / "hardware")])
    told = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": paths},
    )
    loaded = set(told.stdout.split())
    assert loaded.isdisjoint({"pydantic", "sqlite3", "sqlite_utils", "apscheduler", "paho.mqtt", "apprise", "gpiod"})


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["--line", "gpiochip0-17"], 8, "'gpiochip0-17' is not a relay line such as /dev/gpiochip0:17:high"),
        (["--lines", "/nowhere/lines"], 8, "there is no list of relay lines at /nowhere/lines"),
        (["--line", "/dev/gpiochip99:17:high"], 3, "/dev/gpiochip99 line 17 is NOT known to be cut"),
        (["--bogus"], 64, "unrecognized arguments"),
    ],
)
def test_cut_says_what_it_could_not_do(words: list[str], code: int, says: str) -> None:
    """A sentence and an exit code, no traceback."""
    ran = command("cut", *words)
    assert ran.code == code
    assert says in ran.err
    assert "Traceback" not in ran.err
