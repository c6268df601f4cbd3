"""`matwarden away`: from the record and the running station, to a page and an exit code."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from helpers_process import Daemon, Ran, command, settings_file, shelf_text
from matwarden.away import facts_of
from matwarden.exit_codes import Exit
from matwarden.main import open_devices
from matwarden.recorded import recorded_status
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load

_PUSH = '\n[push]\n[[push.target]]\nname = "paper"\nurl = "file:pushes.txt"\n'
_DAY_S = 86_400.0
# 2026-01-16T17:00:00Z, eight days and an hour.
NOW_S = 1_768_582_800.0 + 8 * _DAY_S + 3600.0


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shelf that ran for eight simulated days in January 2026."""
    slower = {
        "every_s = 1\n": "every_s = 60\n",
        "step_s = 1\n": "step_s = 60\n",
        "stale_after_s = 30": "stale_after_s = 240",
    }
    text = shelf_text("oak", more=_PUSH)
    for quick, slow in slower.items():
        assert quick in text
        text = text.replace(quick, slow)
    settings = settings_file(tmp_path_factory.mktemp("recorded"), text)
    run = Rehearsal(load(settings), open_devices)
    run.run_until(8 * _DAY_S)
    run.close()
    return settings


def ask(settings: Path, *words: str) -> Ran:
    ran = command("away", *words, "-s", settings)
    assert "Traceback" not in ran.err
    return ran


def test_facts_are_those_of_the_record(recorded: Path) -> None:
    """As if one asked an hour after it ended."""
    settings = load(recorded)
    status = recorded_status(settings, NOW_S)
    assert status is not None
    facts = facts_of(settings, status, 7.0, NOW_S, Path("/nowhere"))
    oak = next(tub for tub in facts.tubs if tub.has_mat)
    assert facts.running is False
    assert facts.nights == 8
    assert oak.in_band_share is not None
    assert oak.in_band_share > 0.99
    assert oak.rated == 100_000
    assert oak.operations is not None
    assert oak.operations_per_day == pytest.approx(oak.operations / 8.0, rel=0.1)
    assert facts.push["paper"] is not None
    assert facts.push["paper"] < _DAY_S
    assert facts.mb_per_day is not None
    assert 0.05 < facts.mb_per_day < 5.0


def test_a_commissioning_says_how_cold_a_room_the_mat_holds(recorded: Path) -> None:
    """The cautious end of its interval, where that is warmer than what the nights say; for the band of now."""
    settings = load(recorded)
    status = recorded_status(settings, NOW_S)
    assert status is not None
    (oak, *_) = settings.enclosures
    home = settings.store.directory / "commissioned" / "oak" / "2026-01-18T000000Z"
    home.mkdir(parents=True)
    found = {"band_c": [oak.band.low_c - 1.0, 27.8], "findings": {"coldest_room": {"low": 15.0, "high": 16.5}}}
    (home / "tub.json").write_text(json.dumps(found), encoding="utf-8")
    try:
        facts = facts_of(settings, status, 7.0, NOW_S, Path("/nowhere"))
    finally:
        shutil.rmtree(home.parents[1])
    assert facts.tubs[0].holds_room_c == pytest.approx(17.5)


def test_what_the_last_digest_says_of_a_tub_is_known(recorded: Path) -> None:
    """A weaker mat; an older digest's word is not asked."""
    settings = load(recorded)
    status = recorded_status(settings, NOW_S)
    assert status is not None
    told = {"tub": "oak", "cause": "mat", "told": True}
    with closing(sqlite3.connect(settings.store.directory / "matwarden.db")) as connection:
        rows = connection.execute("SELECT date, document FROM digests ORDER BY date DESC")
        (day, whole), (before, _) = rows.fetchmany(2)

        def says(date: str, drift: list[dict[str, object]]) -> str | None:
            document = json.dumps({**json.loads(whole), "drift": drift})
            connection.execute("UPDATE digests SET document = ? WHERE date = ?", (document, date))
            connection.commit()
            return facts_of(settings, status, 7.0, NOW_S, Path("/nowhere")).tubs[0].changed

        assert says(day, [{**told, "told": False}]) is None
        assert says(before, [told]) is None
        assert says(day, [told]) == "mat"
        assert says(day, []) is None


def test_the_code_says_whether_it_is_safe(recorded: Path) -> None:
    """Nothing runs: it is not, and a script can see it."""
    ran = ask(recorded)
    assert ran.code == Exit.UNFIT
    assert ran.out.splitlines()[0].endswith("away for 7 days: NOT safe to leave.")
    told = ask(recorded, "--json", "--days", "3").json
    assert (told["verdict"], told["days"]) == ("unsafe", 3.0)
    assert {"state": "unsafe", "subject": "station"}.items() <= told["reasons"][0].items()


@pytest.mark.parametrize("days", ["0", "-1", "61", "nan"])
def test_days_are_a_number_of_days(recorded: Path, days: str) -> None:
    """Within reason."""
    assert ask(recorded, f"--days={days}").code == Exit.USAGE


def test_where_nothing_was_ever_recorded_that_is_said(tmp_path: Path) -> None:
    """No verdict without anything to judge."""
    assert ask(settings_file(tmp_path, shelf_text("oak"))).code in (Exit.NOT_RUNNING, Exit.STORE)


def test_a_running_station_and_a_push_that_was_tried_are_known(tmp_path: Path) -> None:
    """The test of the push target is remembered; that it runs is seen."""
    daemon = Daemon(tmp_path, shelf_text("oak", more=_PUSH))
    try:
        daemon.until_answering()
        assert daemon.command("push", "--test").code == Exit.OK
        told = daemon.command("away", "--json").json["reasons"]
    finally:
        daemon.stop()
    subjects = {(each["subject"], each["state"]) for each in told}
    assert ("push", "safe") in subjects
    assert not [each for each in told if each["subject"] == "station"]
