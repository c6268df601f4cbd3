"""A terminal that closes, and a demo that is pointed at a real record."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_process import Daemon, command, environment, eventually, settings_file, shelf_text
from matwarden.control_client import ask

_ENDS = (signal.SIGHUP, signal.SIGQUIT)


@pytest.fixture(scope="module")
def heating(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[signal.Signals, Daemon]]:
    """A daemon for each signal, side by side, heating oak."""
    daemons = {number: Daemon(tmp_path_factory.mktemp(number.name), shelf_text("oak")) for number in _ENDS}
    try:
        for daemon in daemons.values():
            daemon.until_allowed("oak")
        yield daemons
    finally:
        for daemon in daemons.values():
            daemon.kill()


@pytest.mark.parametrize("number", _ENDS)
def test_a_closing_terminal_ends_it_in_order_with_the_relay_cut(
    number: signal.Signals, heating: dict[signal.Signals, Daemon]
) -> None:
    """SIGHUP and SIGQUIT are asked stops like any other."""
    assert heating[number].stop(number) == 0
    assert not heating[number].allows("oak")


def test_the_demo_does_not_touch_a_directory_that_no_demo_made(tmp_path: Path) -> None:
    """A real station's record has the same files: it is left alone."""
    record = tmp_path / "matwarden.db"
    record.write_bytes(b"somebody's record")
    ran = command("demo", "--out", tmp_path)
    assert ran.code == 5
    assert "may hold the record of a real station" in ran.err
    assert record.read_bytes() == b"somebody's record"


def test_what_is_ignored_at_the_start_stays_ignored(tmp_path: Path) -> None:
    """Started with nohup it outlives the terminal that closes."""
    settings = settings_file(tmp_path, shelf_text("oak"))
    with subprocess.Popen(["nohup", sys.executable, "-m", "matwarden", "run", "-s", settings], env=environment()) as it:
        eventually((tmp_path / "control.sock").exists, "its socket")
        it.send_signal(signal.SIGHUP)
        assert ask(tmp_path / "control.sock", {"do": "status"})["ok"]
        it.send_signal(signal.SIGTERM)
        assert it.wait(30.0) == 0
