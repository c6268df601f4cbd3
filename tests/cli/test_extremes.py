"""`matwarden extremes` and a long `history`: from the sums of days and hours, the same as from the readings."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from helpers_process import Ran, command, settings_file, shelf_text
from matwarden.core.units import parse_rfc3339
from matwarden.exit_codes import Exit
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load
from matwarden.sinks.store_sums import sum_up

_DAYS = 5


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five days from 2026-01-16T17:00:00Z; the whole local days of them are summed up, the rest is not yet."""
    slower = {
        "every_s = 1\n": "every_s = 60\n",
        "step_s = 1\n": "step_s = 60\n",
        "stale_after_s = 30": "stale_after_s = 240",
    }
    fault = '\n[[fault]]\nkind = "mat-unplugged"\nsubject = "oak"\nat_h = 30\nuntil_h = 40\n'
    text = shelf_text("oak", more=fault)
    for quick, slow in slower.items():
        text = text.replace(quick, slow)
    file = settings_file(tmp_path_factory.mktemp("recorded"), text)
    settings = load(file)
    run = Rehearsal(settings, open_devices)
    run.run_until(_DAYS * 86_400.0)
    run.close()
    sum_up(settings.store.directory, ZoneInfo(settings.zone), settings.enclosures, settings.room_probes)
    return file


def rows(settings: Path, probe: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Wall time and value of every reading of its temperature, by SQL alone."""
    with closing(sqlite3.connect(load(settings).store.directory / "matwarden.db")) as connection:
        return np.array(
            connection.execute(
                "SELECT (s.began_wall_ms + r.t_ms) / 1000.0, r.milli / 1000.0 FROM readings_1 r, stretches s"
                " JOIN series n ON n.id = r.series WHERE n.probe = ? AND n.quantity = 'temperature'",
                (probe,),
            ).fetchall()
        )


def ask(verb: str, settings: Path, *words: str) -> Ran:
    ran = command(verb, *words, "-s", settings)
    assert "Traceback" not in ran.err
    return ran


@pytest.mark.parametrize(
    ("words", "since", "until"),
    [
        ((), "2026-01-16T00:00:00Z", "2026-02-01T00:00:00Z"),
        (("--from", "2026-01-18", "--to", "2026-01-19"), "2026-01-17T23:00:00Z", "2026-01-19T23:00:00Z"),
        (("--from", "2026-01-17T22:30", "--to", "2026-01-18T03:10"), "2026-01-17T21:30:00Z", "2026-01-18T02:10:00Z"),
    ],
)
def test_extremes_are_those_of_the_readings(recorded: Path, words: tuple[str, ...], since: str, until: str) -> None:
    """Value and first time, over whole days, parts of days, and what is not summed yet."""
    told = {
        each["probe"]: each
        for each in ask("extremes", recorded, *words, "--json").json["series"]
        if each["quantity"] == "temperature"
    }
    for probe in ("oak-air", "oak-wall", "room"):
        every = rows(recorded, probe)
        part = every[(every[:, 0] >= parse_rfc3339(since)) & (every[:, 0] < parse_rfc3339(until))]
        for which, at in (("lowest", part[:, 1].argmin()), ("highest", part[:, 1].argmax())):
            assert told[probe][which]["value_c"] == pytest.approx(part[at, 1], abs=1e-9)
            assert parse_rfc3339(told[probe][which]["at"]) == pytest.approx(part[at, 0], abs=1.0)


def test_extremes_are_read_at_a_glance(recorded: Path) -> None:
    """Place by place, within 80 columns; the mean is that of whole days."""
    lines = ask("extremes", recorded).out.splitlines()
    assert lines[0] == "Oak"
    assert lines[-3] == "Room"
    assert max(map(len, lines)) <= 80
    assert any(", mean " in line for line in lines)


def test_only_one_tub_when_asked(recorded: Path) -> None:
    """And what is not there is said."""
    assert {each["enclosure"] for each in ask("extremes", recorded, "oak", "--json").json["series"]} == {"oak"}
    assert ask("extremes", recorded, "elm").code == Exit.UNKNOWN
    assert ask("extremes", recorded, "--from", "2020-01-01", "--to", "2020-01-02").code == Exit.UNKNOWN
    assert ask("extremes", recorded, "--from", "2d", "--to", "3d").code == Exit.USAGE
    assert ask("extremes", recorded, "--from", "soon").code == Exit.USAGE


def test_a_long_history_is_that_of_the_readings(recorded: Path) -> None:
    """Each column's lowest and highest are those of the hours that begin in it, and of readings where no sum is."""
    told = ask("history", recorded, "oak", "--from", "2026-01-17T00:00", "--json").json["columns"]
    every = rows(recorded, "oak-air")
    assert len(told) > 50
    hour_s = 3600.0
    for each in told[:-1]:
        begins_s = parse_rfc3339(each["from"])
        low_s = np.ceil(begins_s / hour_s) * hour_s
        high_s = np.ceil((begins_s + each["lasts_s"]) / hour_s) * hour_s
        if high_s > parse_rfc3339("2026-01-20T23:00:00Z"):
            break
        values = every[(every[:, 0] >= low_s) & (every[:, 0] < high_s), 1]
        assert each["inside_c"] == pytest.approx([values.min(), values.max()], abs=0.051)


def test_a_long_history_knows_heat_and_alarms(recorded: Path) -> None:
    """The mat was unplugged in the second night: cold rang, and was over the next day."""
    told = ask("history", recorded, "oak", "--from", "2026-01-17T00:00", "--json").json["columns"]
    rang = [each["from"] for each in told if each["alarm"]]
    assert rang
    assert min(rang) > "2026-01-17T20"
    assert max(rang) < "2026-01-18T16"
    assert all(0.0 <= each["heat_share"] <= 1.0 for each in told)
    assert np.mean([each["heat_share"] for each in told]) > 0.2
