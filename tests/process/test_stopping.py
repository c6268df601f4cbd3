"""SIGTERM and SIGINT in the middle of heating: an ordered end."""

from __future__ import annotations

import signal
import sqlite3

import pytest

from helpers_kindled import Kindled
from helpers_process import Daemon
from matwarden.sinks.store_read import Recorded


@pytest.fixture(scope="module", params=[signal.SIGTERM, signal.SIGINT], ids=["SIGTERM", "SIGINT"])
def stopped(request: pytest.FixtureRequest, kindled: Kindled) -> Daemon:
    daemon = kindled.terminated if request.param is signal.SIGTERM else kindled.interrupted
    daemon.until_allowed("oak", "alder")
    daemon.stop(request.param)
    return daemon


def test_the_exit_code_is_0(stopped: Daemon) -> None:
    """Being asked to stop is no fault, and no traceback is printed."""
    assert stopped.process.returncode == 0
    assert "Traceback" not in stopped.log


def test_the_last_line_of_the_log_says_so(stopped: Daemon) -> None:
    """Whoever reads the log later can tell an ordered stop from a crash."""
    assert stopped.log.splitlines()[-1] == "INFO stopped as asked; every mat is cut"


def test_every_relay_is_left_cut(stopped: Daemon) -> None:
    """Each relay that was allowing is cut on the way out."""
    for tub in ("oak", "alder"):
        assert [level.allow for level in stopped.levels(tub)] == [False, True, False]


def test_the_socket_is_gone(stopped: Daemon) -> None:
    """Nothing is left where nobody listens."""
    assert not stopped.socket.exists()


def test_the_record_is_sound_and_up_to_date(stopped: Daemon) -> None:
    """SQLite finds the file whole, and the readings up to the end are in it."""
    with sqlite3.connect(stopped.directory / "data" / "matwarden.db") as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()
    recorded = Recorded(stopped.directory / "data")
    last_readings_s = [reading.wall_s for reading in recorded.latest_readings()]
    allowed_s = min(verdict.wall_s for verdict in recorded.latest_verdicts())
    assert len(last_readings_s) == 8
    assert min(last_readings_s) > allowed_s - 1.5
