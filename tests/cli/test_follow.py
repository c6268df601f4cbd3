"""`matwarden status --follow` on a real terminal: drawn anew, and the terminal is left as it was found."""

from __future__ import annotations

import signal
import time
from pathlib import Path

import pytest

from helpers_process import PATIENCE_S, Daemon, command, settings_file, shelf_text
from helpers_terminal import at_terminal
from matwarden.exit_codes import Exit

_ENTERED, _LEFT = "\x1b[?1049h", "\x1b[?1049l"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_every_way_to_end_it_gives_the_terminal_back(tmp_path: Path, number: signal.Signals) -> None:
    """The screen of before is back, the cursor too, and it ends as done."""
    settings = settings_file(tmp_path, shelf_text("oak"))
    with at_terminal("status", "--follow", "-s", settings) as terminal:
        terminal.until("NOT RUNNING")
        terminal.process.send_signal(number)
        terminal.until(_LEFT)
        assert terminal.process.wait(PATIENCE_S) == Exit.OK
        assert terminal.seen.count(_ENTERED) == 1
        assert "\x1b[?25h" in terminal.seen
        assert "Traceback" not in terminal.seen


def test_a_station_that_comes_and_goes_is_followed(tmp_path: Path) -> None:
    """It need not be started anew."""
    text = shelf_text("oak")
    with at_terminal("status", "--follow", "-s", settings_file(tmp_path, text)) as terminal:
        terminal.until("NOT RUNNING")
        daemon = Daemon(tmp_path, text)
        try:
            terminal.until("in band")
        finally:
            daemon.kill()
        before = terminal.seen.count("NOT RUNNING")
        deadline = time.monotonic() + PATIENCE_S
        while terminal.seen.count("NOT RUNNING") == before:
            assert time.monotonic() < deadline
            terminal.until_more()


def test_scripts_ask_anew_instead(tmp_path: Path) -> None:
    """`--follow` has no JSON."""
    ran = command("status", "--follow", "--json", "-s", settings_file(tmp_path, shelf_text("oak")))
    assert ran.code == Exit.USAGE
