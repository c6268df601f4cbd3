"""What the commands say when no station runs: from the record, with its age, or that there is none."""

from __future__ import annotations

import json
import re
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_process import Ran, command, offset, settings_file, shelf_text
from matwarden.core.units import parse_rfc3339
from matwarden.exit_codes import Exit
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load

DAY = "2026-01-17"


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shelf that ran from 17:00 UTC to an hour after the digest of 08:00 in Amsterdam; oak trips before it."""
    text = shelf_text("oak", "alder", more=offset("oak-wall", 8.0, at_s=13 * 3600.0))
    text = text.replace("every_s = 1\n", "every_s = 10\n").replace("step_s = 1\n", "step_s = 10\n")
    settings = settings_file(tmp_path_factory.mktemp("recorded"), text)
    run = Rehearsal(load(settings), open_devices)
    run.run_until(15 * 3600.0)
    run.close()
    return settings


def ask(settings: Path, *words: str) -> Ran:
    ran = command(*words, "-s", settings)
    assert "Traceback" not in ran.err
    return ran


def test_status_tells_the_last_state_and_its_age(recorded: Path) -> None:
    """First whether anything runs, how old this is in local time; then each tub, its alarms, and what to do."""
    ran = ask(recorded, "status")
    assert ran.code == Exit.OK
    # Its last reading was at 07:59:50 UTC: 08:59 in Amsterdam in winter, UTC+1.
    first = r"Our shelf: 3 alarms on; NOT RUNNING, last recorded .+ ago \(17 Jan 08:59\)"
    assert re.match(first, " ".join(ran.out.split()))
    assert "TRIPPED: reset it at the shelf with: matwarden reset oak" in ran.out
    # From the third reading that agreed, 30 s after six, to the last one.
    assert "ALARM cut-out/oak: on for 1 h 59 min" in ran.out


@pytest.mark.parametrize("verb", ["status", "digest"])
def test_a_text_fits_a_terminal(recorded: Path, verb: str) -> None:
    """No line is wider than 80 columns."""
    lines = ask(recorded, verb).out.splitlines()
    assert len(lines) > 5
    assert max(map(len, lines)) <= 80


def test_status_for_scripts_has_the_same_shape(recorded: Path) -> None:
    """`status --json` has the keys of a running station's, says that it is not running, and heat is allowed nowhere."""
    status = ask(recorded, "status", "--json").json
    assert status["running"] is False
    assert status["age_s"] > 0
    assert parse_rfc3339(status["at"]) == pytest.approx(parse_rfc3339("2026-01-17T08:00:00Z"), abs=11)
    assert set(status) == {"at", "age_s", "running", "enclosures", "room", "room_alarms", "sinks"}
    heats = [tub["heat"] for tub in status["enclosures"] if tub["heat"]]
    assert [heat["allowed"] for heat in heats] == [False, False]
    assert [heat["tripped"] for heat in heats] == [True, False]


def test_why_tells_the_last_verdict_and_its_age(recorded: Path) -> None:
    """Heat is cut since nothing runs; the last verdict with its numbers follows, and that a trip outlasts a restart."""
    ran = ask(recorded, "why", "oak")
    assert ran.code == Exit.OK
    assert re.match(r"Nothing runs, so heat is cut\. The last verdict, .+ ago, was: Heat is cut: .*30\.0 °C", ran.out)
    assert "That outlasts a restart." in ran.out


@pytest.mark.parametrize("verb", [("reset", "oak"), ("release", "oak"), ("hold", "oak", "--for", "5min")], ids=" ".join)
def test_what_needs_a_station_ends_with_6(recorded: Path, verb: tuple[str, ...]) -> None:
    """Nobody is there to reset, hold or release: a sentence that names the socket."""
    ran = ask(recorded, *verb)
    assert (ran.code, int(Exit.NOT_RUNNING)) == (6, 6)
    assert "not running: nobody answers at" in ran.err


def test_an_unknown_tub_ends_with_8(recorded: Path) -> None:
    """The tubs there are follow."""
    ran = ask(recorded, "why", "hazel")
    assert (ran.code, int(Exit.UNKNOWN)) == (8, 8)
    assert ran.err == "there is no enclosure of that name; there are: oak, alder, rowan\n"


def test_a_tub_without_a_mat_is_told_apart_from_an_unknown_one(recorded: Path) -> None:
    """Rowan has no mat: nothing is decided there, and that is no mistake in the name."""
    ran = ask(recorded, "why", "rowan")
    assert (ran.code, int(Exit.REFUSED)) == (7, 7)
    assert ran.err == "Rowan has no mat: there is nothing to decide\n"


@pytest.mark.parametrize("verb", [("status",), ("why", "oak"), ("digest",), ("digest", "--date", DAY)], ids=" ".join)
def test_without_a_record_that_is_said(tmp_path: Path, verb: tuple[str, ...]) -> None:
    """Nothing was ever recorded: where it would be, and a code that is not 0."""
    ran = ask(settings_file(tmp_path, shelf_text("oak")), *verb)
    assert ran.code in (Exit.NOT_RUNNING, Exit.STORE)
    assert "nothing is recorded in" in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ["shelf.toml"]


def test_the_digest_of_a_date_is_the_one_that_was_made(recorded: Path) -> None:
    """The digest made at 08:00 of that day, as a text and, for scripts, as a document of the same date."""
    text = ask(recorded, "digest", "--date", DAY)
    assert text.code == Exit.OK
    assert "Oak heat tripped" in text.out
    document = ask(recorded, "digest", "--date", DAY, "--json").json
    assert document["date"] == DAY
    assert json.dumps(document, allow_nan=False)


def test_the_digest_since_is_of_the_time_after_the_last_one(recorded: Path) -> None:
    """Without a date: from 08:00 to the end of the record at 09:00, local time."""
    ran = ask(recorded, "digest")
    assert ran.code == Exit.OK
    assert "17 Jan 08:00 to 17 Jan 08:59 (Europe/Amsterdam)" in ran.out
    assert ask(recorded, "digest", "--json").json["date"] is None


def test_a_date_without_a_digest_ends_with_8(recorded: Path) -> None:
    """Nothing is made up for a day that has none."""
    ran = ask(recorded, "digest", "--date", "2026-01-12")
    assert ran.code == Exit.UNKNOWN
    assert ran.err == "matwarden: there is no digest of 2026-01-12\n"


@pytest.mark.parametrize("day", ["yesterday", "2026-02-30", "20260117"])
def test_what_is_no_date_ends_with_64(recorded: Path, day: str) -> None:
    """A slip in the date is not a date without a digest."""
    ran = ask(recorded, "digest", "--date", day)
    assert ran.code == Exit.USAGE
    assert "is not a date such as 2026-01-14" in ran.err


@pytest.fixture
def hung_up(tmp_path: Path) -> Iterator[Path]:
    """A socket at which somebody takes the connection, and hangs up without a word."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listener:
        listener.bind(str(tmp_path / "control.sock"))
        yield settings_file(tmp_path, shelf_text("oak"))


def test_a_dead_ones_socket_is_nobody(hung_up: Path) -> None:
    """After a kill the socket's file is still there; that nobody listens is what counts."""
    ran = ask(hung_up, "hold", "oak", "--for", "5min")
    assert ran.code == Exit.NOT_RUNNING
