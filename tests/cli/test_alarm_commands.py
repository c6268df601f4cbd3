"""The commands about alarms, as processes against a running daemon: what they print and how they end."""

from __future__ import annotations

import getpass
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_process import Daemon, command, settings_file, shelf_text
from matwarden.exit_codes import Exit
from matwarden.sinks.store_read import Recorded


@pytest.fixture(scope="module")
def daemon(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    running = Daemon(tmp_path_factory.mktemp("alarms"), shelf_text("oak"))
    running.until_answering()
    yield running
    if running.process.poll() is None:
        running.kill()


def test_a_shelf_is_made_and_ended_and_the_record_says_by_whom(daemon: Daemon) -> None:
    """`shelve --for`, then `unshelve`: both end with 0, and stand in the record with the user's name."""
    made = daemon.command("shelve", "cold/oak", "--for", "4h", "--json")
    assert (made.code, made.json["alarms"], made.json["shelved_left_s"]) == (Exit.OK, ["cold/oak"], 4 * 3600.0)
    ended = daemon.command("unshelve", "cold/oak")
    assert (ended.code, ended.out) == (Exit.OK, "Shown again: cold/oak.\n")
    deeds = [(deed.by, deed.verb, deed.target) for deed in Recorded(daemon.directory / "data").deeds()]
    assert deeds[:2] == [(getpass.getuser(), verb, "cold/oak") for verb in ("shelve", "unshelve")]


def test_out_of_service_and_back(daemon: Daemon) -> None:
    """`service off` says how to put it back and that the guard goes on; `service on` does it."""
    out = daemon.command("service", "off", "cold/rowan")
    assert out.code == Exit.OK
    assert "matwarden service on cold/rowan" in out.out
    assert "guard goes on" in out.out
    assert daemon.command("service", "on", "rowan").out == "In service again: cold/rowan.\n"


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("ack", "cold/oka"), Exit.UNKNOWN, "did you mean cold/oak"),
        (("shelve", "oak", "--for", "48h"), Exit.REFUSED, "at most 24 h"),
        (("shelve", "oak", "--for", "soon"), Exit.USAGE, "is not a time"),
        (("shelve", "oak"), Exit.USAGE, "--for"),
        (("service", "perhaps", "oak"), Exit.USAGE, "perhaps"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_what_cannot_be_done_ends_with_its_code_and_a_sentence(
    daemon: Daemon, words: tuple[str, ...], code: Exit, says: str
) -> None:
    """Unknown is 8, refused 7, not understood 64; what was wrong stands on the error output."""
    ran = daemon.command(*words)
    assert (ran.code, ran.out) == (code, "")
    assert says in ran.err
    assert "Traceback" not in ran.err


def test_nothing_to_acknowledge_is_no_error(daemon: Daemon) -> None:
    """`ack all` with nothing on ends with 0 and says so."""
    ran = daemon.command("ack", "all")
    assert (ran.code, ran.out) == (Exit.OK, "Nothing of all waits for an acknowledgement.\n")


def test_without_a_running_station_nothing_is_done(tmp_path: Path) -> None:
    """Code 6, as for every verb that needs one."""
    ran = command("ack", "all", "-s", settings_file(tmp_path, shelf_text("oak")))
    assert (ran.code, ran.err.startswith("matwarden: not running")) == (Exit.NOT_RUNNING, True)
