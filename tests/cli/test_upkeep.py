"""`matwarden done` and `upkeep`: through the running station, and into the record while none runs."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from helpers_process import Daemon, Ran, command, settings_file, shelf_text
from matwarden.exit_codes import Exit
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load
from matwarden.sinks.store_read import Recorded

_TODAY = datetime.now(UTC).date()


def ask(settings: Path, *words: str) -> Ran:
    ran = command(*words, "-s", settings)
    assert "Traceback" not in ran.err
    return ran


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    """A shelf that ran for a minute and ended."""
    settings = settings_file(tmp_path, shelf_text("oak", "alder"))
    run = Rehearsal(load(settings), open_devices)
    run.run_until(60.0)
    run.close()
    return settings


def test_what_was_done_is_kept_with_who_and_when_and_shows_in_the_digest(recorded: Path) -> None:
    """Nothing runs: it goes straight into the record."""
    long_ago = (_TODAY - timedelta(days=400)).isoformat()
    assert ask(recorded, "done", "oak", "substrate", "--on", long_ago).code == Exit.OK
    deed = Recorded(load(recorded).store.directory).deeds()[-1]
    assert (deed.verb, deed.target, deed.ok) == (f"done substrate {long_ago}", "oak", True)
    assert deed.by
    told = ask(recorded, "upkeep", "--json").json["due"]
    assert [(each["enclosure"], each["task"], each["overdue"]) for each in told] == [("oak", "substrate", True)]
    # The digest's own day is in January 2026, when the simulated shelf ran.
    digest = ask(recorded, "digest").out
    expected = [line for line in digest.splitlines() if line.startswith("Due: Oak: change its substrate")]
    assert len(expected) == (1 if long_ago < "2025-10-16" else 0)


def test_a_slip_is_taken_back(recorded: Path) -> None:
    """The newest of its kind; and where there is none that is said."""
    ask(recorded, "done", "oak", "food")
    assert ask(recorded, "done", "oak", "food", "--undo").code == Exit.OK
    assert ask(recorded, "upkeep", "--json").json["due"] == []
    again = ask(recorded, "done", "oak", "food", "--undo")
    assert again.code == Exit.REFUSED
    assert "nothing to take back" in again.err


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("elm", "food"), Exit.UNKNOWN, "oak"),
        (("oak", "bath"), Exit.USAGE, "invalid choice: 'bath'"),
        (("oak", "food", "--on", "soon"), Exit.USAGE, "'soon' is not a date"),
        (("oak", "food", "--on", "2999-01-01"), Exit.USAGE, "has not come yet"),
    ],
)
def test_what_cannot_be_is_said_in_words(recorded: Path, words: tuple[str, ...], code: Exit, told: str) -> None:
    """With the code the README names; nothing is recorded."""
    ran = ask(recorded, "done", *words)
    assert ran.code == code
    assert told in ran.err
    assert Recorded(load(recorded).store.directory).deeds() == []


def test_without_a_record_there_is_nothing_to_write_into(tmp_path: Path) -> None:
    """It says when there will be one."""
    ran = ask(settings_file(tmp_path, shelf_text("oak")), "done", "oak", "food")
    assert ran.code == Exit.STORE
    assert "once matwarden runs" in ran.err


def test_the_running_station_records_it(tmp_path: Path) -> None:
    """At once: it is in the record before the answer's line was read twice, and outlives a kill."""
    daemon = Daemon(tmp_path, shelf_text("oak"))
    try:
        daemon.until_answering()
        ran = daemon.command("done", "oak", "food")
        assert ran.code == Exit.OK
        assert ran.out.startswith("Oak: fed on ")
        listed = daemon.command("upkeep", "--json").json["due"]
        refused = daemon.ask("done", enclosure="oak", task="dance", day="2026-01-01")
    finally:
        daemon.kill()
    assert [each["task"] for each in listed] == ["food"]
    assert refused["ok"] is False
    settings = load(daemon.settings)
    assert [deed.verb for deed in Recorded(settings.store.directory).deeds()] == [f"done food {listed[0]['done_on']}"]
