"""`matwarden history`: a tub's past as a chart that is right, fits the terminal, and says what was not read."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from helpers_process import Ran, command, environment, offset, settings_file, shelf_text
from helpers_terminal import at_terminal
from matwarden.core.history import Column
from matwarden.core.strips import Step
from matwarden.core.units import parse_rfc3339
from matwarden.exit_codes import Exit
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.report.history_chart import Marks, chart, columns_for
from matwarden.report.units import local_clock
from matwarden.settings import load
from matwarden.terms import Band, Unit

_ZONE = ZoneInfo("Europe/Amsterdam")
_START_S = 1_768_600_800.0


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shelf that ran for 15 hours from 2026-01-16T17:00:00Z; oak trips after 13."""
    text = shelf_text("oak", "alder", more=offset("oak-wall", 8.0, at_s=13 * 3600.0))
    text = text.replace("every_s = 1\n", "every_s = 10\n").replace("step_s = 1\n", "step_s = 10\n")
    settings = settings_file(tmp_path_factory.mktemp("recorded"), text)
    run = Rehearsal(load(settings), open_devices)
    run.run_until(15 * 3600.0)
    run.close()
    return settings


def ask(settings: Path, *words: str) -> Ran:
    ran = command("history", *words, "-s", settings)
    assert "Traceback" not in ran.err
    return ran


def columns(*insides: float | None, heat: float | None = 0.5) -> list[Column]:
    """One column an hour, from 2026-01-16T22:00:00Z."""
    return [
        Column(_START_S + 3600.0 * k, 3600.0, None if c is None else Step(c, c), None, None, heat, False)
        for k, c in enumerate(insides)
    ]


def drawn(made: list[Column], unit: Unit = Unit.C, unicode: bool = True) -> list[str]:
    return chart("Oak", Band(22.0, 28.0), made, unit, _ZONE, Marks.of(unicode, False), True).splitlines()


def test_every_column_is_what_the_file_says(recorded: Path) -> None:
    """Lowest and highest of each column, recomputed with NumPy from the rows of the file."""
    told: dict[str, Any] = ask(recorded, "oak", "--json", "--from", "2026-01-16T19:00", "--to", "2026-01-17T05:00").json
    with closing(sqlite3.connect(load(recorded).store.directory / "matwarden.db")) as connection:
        rows = np.array(
            connection.execute(
                "SELECT (s.began_wall_ms + r.t_ms) / 1000.0, r.milli / 1000.0 FROM readings_1 r, stretches s"
                " JOIN series n ON n.id = r.series WHERE n.probe = 'oak-air' AND n.quantity = 'temperature'"
            ).fetchall()
        )
    assert sum(each["lasts_s"] for each in told["columns"]) == pytest.approx(36_000.0, abs=1.0)
    start_s = parse_rfc3339("2026-01-16T18:00:00Z")
    for k, each in enumerate(told["columns"]):
        low_s, high_s = (start_s + (k + n) * 36_000.0 / len(told["columns"]) for n in (0, 1))
        values = rows[(rows[:, 0] >= low_s - 1e-6) & (rows[:, 0] < high_s - 1e-6), 1]
        assert each["inside_c"] == pytest.approx([values.min(), values.max()], abs=1e-9)


def test_heat_and_alarms_are_in_their_columns(recorded: Path) -> None:
    """Heat is allowed in some columns and cut for good by the trip, whose alarm stands from then on."""
    told = ask(recorded, "oak", "--json", "--from", "14h").json["columns"]
    tripped = [k for k, each in enumerate(told) if each["alarm"]]
    assert tripped == list(range(tripped[0], len(told)))
    assert parse_rfc3339(told[tripped[0]]["from"]) == pytest.approx(parse_rfc3339("2026-01-17T06:00:30Z"), abs=720)
    assert all(each["heat_share"] == 0.0 for each in told[tripped[0] + 1 :])
    assert 0.2 < np.mean([each["heat_share"] for each in told[: tripped[0]]]) < 1.0


@pytest.mark.parametrize("width", [40, 80, 132])
def test_a_chart_fits_its_terminal(recorded: Path, width: int) -> None:
    """No line is wider; the first says which tub and from when to when."""
    words = [sys.executable, "-m", "matwarden", "history", "oak", "-s", str(recorded), "--from", "15h"]
    sized = {**environment(), "COLUMNS": str(width)}
    lines = subprocess.run(words, capture_output=True, env=sized, text=True, check=True).stdout.splitlines()
    assert lines[0] == "Oak  16 Jan 18:00 to 17 Jan 08:59"
    assert max(map(len, lines)) <= width
    assert len(lines) < 24


def test_a_temperature_stands_at_its_height() -> None:
    """Warmer is higher; the band's edges are named; a missing hour is an empty column that is marked as unread."""
    lines = drawn(columns(23.0, 25.0, 27.0, None, 21.0))
    heights = {
        k: next(row for row, line in enumerate(lines[2:]) if len(line) > 8 + k and line[8 + k] == "█")
        for k in (0, 1, 2, 4)
    }
    assert heights[2] < heights[1] < heights[0] < heights[4]
    assert any(line.startswith("  28.0  ") for line in lines)
    assert any(line.startswith("  22.0  ") for line in lines)
    unread = next(line for line in lines if line.startswith("unread"))
    assert unread[8:] == "   ?"


def test_hours_are_under_the_columns_they_are_of() -> None:
    """A clock's first letter stands under the column that begins then."""
    made = columns(*[25.0] * 40)
    axis = drawn(made)[-1]
    at = axis.index(":") - 2
    assert axis[at : at + 5] == local_clock(made[at - 8].wall_s, _ZONE)


def test_fahrenheit_is_a_scale_not_another_chart() -> None:
    """The edges read 71.6 and 82.4."""
    lines = drawn(columns(23.0, 25.0), Unit.F)
    assert any(line.startswith("  82.4  ") for line in lines)
    assert any(line.startswith("  71.6  ") for line in lines)


def test_a_terminal_without_unicode_gets_ascii(recorded: Path) -> None:
    """Nothing has to be replaced."""
    words = [sys.executable, "-m", "matwarden", "history", "oak", "-s", str(recorded)]
    told = subprocess.run(words, capture_output=True, env={**environment(), "PYTHONIOENCODING": "ascii"}, check=True)
    assert b"#" in told.stdout
    assert b"?" not in told.stdout.replace(b"unread", b"")


def test_colour_is_for_terminals(recorded: Path) -> None:
    """On a terminal inside is bold; in a pipe nothing is coloured."""
    assert "\x1b[" not in ask(recorded, "oak").out
    with at_terminal("history", "oak", "-s", recorded) as terminal:
        terminal.until("\x1b[1m")


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("elm",), Exit.UNKNOWN),
        (("oak", "--from", "soon"), Exit.USAGE),
        (("oak", "--from", "1h", "--to", "2h"), Exit.USAGE),
        (("oak", "--from", "2020-01-01", "--to", "2020-01-02"), Exit.UNKNOWN),
    ],
)
def test_what_cannot_be_drawn_is_said_in_words(recorded: Path, words: tuple[str, ...], code: Exit) -> None:
    """With the code that the README names."""
    ran = ask(recorded, *words)
    assert ran.code == code
    assert ran.err.startswith("matwarden: ")
    assert ran.out == ""


def test_columns_leave_room_for_the_scale() -> None:
    """Never fewer than ten, never wider than 200."""
    assert [columns_for(width) for width in (5, 80, 400)] == [10, 71, 191]
