"""A relay driver that never comes back: the control loop hangs in it while every other thread lives on."""

from __future__ import annotations

import contextlib
import fcntl
import os
import socket
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from helpers_process import Daemon, eventually, shelf_text
from helpers_systemd import missing

WATCHDOG_S = 4.0
# A page, the smallest pipe there is (pipe(7)): the line `... cut oak` fits into what is left of it, `... allow oak`
# then does not, and a write of less than PIPE_BUF bytes waits until all of it fits.
PIPE_BYTES, LEFT_BYTES = 4096, 28


@pytest.mark.skipif(not missing(), reason="tests/systemd/test_real_systemd.py tries it, and what follows, for real")
def test_no_ping_comes_from_a_loop_that_hangs_in_a_relay_driver(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The relay's record is a full pipe that nobody reads: the process lives on, and no timer of its own pings."""
    pipe = tmp_path / "relays.txt"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    writer = os.open(pipe, os.O_WRONLY)
    fcntl.fcntl(writer, fcntl.F_SETPIPE_SZ, PIPE_BYTES)
    os.write(writer, b"x" * (PIPE_BYTES - LEFT_BYTES))
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(str(tmp_path / "notify"))
        ear.setblocking(False)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        monkeypatch.setenv("WATCHDOG_USEC", str(int(WATCHDOG_S * 1e6)))
        monkeypatch.setattr(Daemon, "_lines", lambda self: [])
        daemon = Daemon(tmp_path, shelf_text("oak"))
        try:
            eventually(lambda: "WATCHDOG=1" in _heard(ear), f"a ping: {daemon.log}")
            eventually(_silent(ear, WATCHDOG_S), "the loop to hang")
            assert daemon.process.poll() is None
            assert not daemon.ask("status")["ok"]
        finally:
            daemon.kill()
            os.close(writer)
            os.close(reader)


def _heard(ear: socket.socket) -> list[str]:
    lines: list[str] = []
    with contextlib.suppress(BlockingIOError):
        while True:
            lines += ear.recv(4096).decode().splitlines()
    return lines


def _silent(ear: socket.socket, for_s: float) -> Callable[[], bool]:
    since_s = time.monotonic()

    def silent() -> bool:
        nonlocal since_s
        if _heard(ear):
            since_s = time.monotonic()
        return time.monotonic() - since_s >= for_s

    return silent
