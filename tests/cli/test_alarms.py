"""`matwarden alarms` as a keeper types it: beside a running station, from the record, the history, the table."""

from __future__ import annotations

import getpass
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_process import REST_S, Daemon, Ran, command, eventually, offset, settings_file, shelf_text
from matwarden.core.alarm_table import ALARMS
from matwarden.exit_codes import Exit
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load

# After heat was first allowed: without that no reading is the doing of the mat.
TRIP = offset("oak-wall", 8.0, at_s=REST_S + 10.0)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shelf that ran for five hours; oak trips after one."""
    text = shelf_text("oak", "alder", more=offset("oak-wall", 8.0, at_s=3600.0))
    text = text.replace("every_s = 1\n", "every_s = 10\n").replace("step_s = 1\n", "step_s = 10\n")
    settings = settings_file(tmp_path_factory.mktemp("alarms"), text)
    run = Rehearsal(load(settings), open_devices)
    run.run_until(5 * 3600.0)
    run.close()
    return settings


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """A station whose oak has tripped."""
    daemon = Daemon(tmp_path_factory.mktemp("running"), shelf_text("oak", more=TRIP))
    daemon.until_answering()
    yield daemon
    daemon.kill()


def ask(settings: Path, *words: str) -> Ran:
    ran = command("alarms", *words, "-s", settings)
    assert "Traceback" not in ran.err
    return ran


def test_a_running_station_lists_what_is_on(running: Daemon) -> None:
    """The alarm, what it means, since when, and its sentence."""
    eventually(lambda: "cut-out/oak" in ask(running.settings).out, "the trip in the list")
    ran = ask(running.settings)
    assert ran.code == Exit.OK
    assert "cut-out/oak: on, nobody has seen it (since " in ran.out
    assert "NOT RUNNING" not in ran.out
    assert ask(running.settings, "--json").json["running"] is True


def test_the_record_lists_what_was_on_and_says_that_nothing_runs(recorded: Path) -> None:
    """The same list, with its age first."""
    ran = ask(recorded)
    assert ran.code == Exit.OK
    assert ran.out.startswith("NOT RUNNING, last recorded ")
    assert "cut-out/oak: on, nobody has seen it (since 16 Jan " in ran.out


def test_both_lists_have_the_same_keys(running: Daemon, recorded: Path) -> None:
    """A script need not know which of the two it reads."""
    eventually(lambda: ask(running.settings, "--json").json["alarms"] != [], "an alarm")
    live, kept = (ask(path, "--json").json["alarms"][0] for path in (running.settings, recorded))
    assert set(live) == set(kept)


def test_the_history_tells_each_change_and_the_figures(recorded: Path) -> None:
    """Local times, from and to; then how many, and that the record is young."""
    out = ask(recorded, "--history").out
    assert "  cut-out/oak  normal -> unacknowledged" in out
    assert "; the record goes back no further" in " ".join(out.split())
    document = ask(recorded, "--history", "--json").json
    assert document["transitions"][0]["previous"] == "normal"
    assert document["quality"]["covers_s"] == pytest.approx(5 * 3600, abs=60)
    assert document["quality"]["count"] == sum(e["state"] == "unacknowledged" for e in document["transitions"])


def test_the_table_needs_no_settings_and_takes_those_there_are(recorded: Path) -> None:
    """Every alarm; with settings the tubs and their bands as well."""
    plain, own = command("alarms", "--table", "--json"), ask(recorded, "--table", "--json")
    for ran in (plain, own):
        assert [each["alarm"] for each in ran.json["alarms"]] == [spec.condition for spec in ALARMS]
    assert {tub["id"] for tub in own.json["tubs"]} >= {"oak", "alder"}


@pytest.mark.parametrize("words", [(), ("--history",), ("--table",)])
def test_each_fits_a_terminal(recorded: Path, words: tuple[str, ...]) -> None:
    """No line is wider than 80 columns."""
    assert max(map(len, ask(recorded, *words).out.splitlines())) <= 80


def test_without_a_record_it_says_so_with_5(tmp_path: Path) -> None:
    """Nothing runs and nothing ever ran: which directory, no traceback."""
    settings = settings_file(tmp_path, shelf_text("oak"))
    for words in ((), ("--history",)):
        ran = ask(settings, *words)
        assert ran.code == Exit.STORE
        assert "nothing is recorded in" in ran.err


def test_days_that_are_none_are_refused_with_64(recorded: Path) -> None:
    """Zero days, fewer, or not a number."""
    for days in ("0", "-3", "nan"):
        assert ask(recorded, "--history", "--days", days).code == Exit.USAGE


def test_the_digest_judges_the_alarms_too(recorded: Path) -> None:
    """In its text how many; in its JSON all figures, the same as the history's."""
    assert "alarm" in command("digest", "-s", recorded).out.splitlines()[-1]
    document = command("digest", "--json", "-s", recorded).json
    assert document["alarm_quality"] == ask(recorded, "--history", "--json").json["quality"]
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_the_history_tells_who_acknowledged(running: Daemon) -> None:
    """The user of the machine who typed it, and the transition that came of it."""
    eventually(lambda: "cut-out/oak" in ask(running.settings).out, "the trip in the list")
    assert running.command("ack", "cut-out/oak").code == Exit.OK
    eventually(lambda: ": ack cut-out/oak" in ask(running.settings, "--history").out, "the acknowledgement")
    out = ask(running.settings, "--history").out
    assert f"{getpass.getuser()}: ack cut-out/oak" in out
    assert "cut-out/oak  unacknowledged -> acknowledged" in out
