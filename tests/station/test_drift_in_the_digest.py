"""A tub's mat weakens on the real station: the morning's digest says so, and nothing of it can hold up a digest."""

from __future__ import annotations

import importlib.util
import json
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from helpers_station import house
from matwarden.commissioned import COMMISSIONED, keep
from matwarden.commissioning import study
from matwarden.drifts import drifts_of
from matwarden.events import DigestMade
from matwarden.main import open_devices
from matwarden.night_child import summed_night
from matwarden.rehearsal import Rehearsal
from matwarden.settings.resolved import Settings

# The week takes most of a minute on two slow cores; a busy machine gets its time.
pytestmark = pytest.mark.timeout(600)

HOUR_S = 3600.0
START_WALL_S = 1_768_582_800.0  # 2026-01-16T17:00:00Z
# Commissioned from its first day and a half; 70 % of its mat is left from the fifth day on.
COMMISSIONED_S, WEAK_H, END_S = 36 * HOUR_S, 88, 160 * HOUR_S
MORE = f"""
[[probe]]
id = "room"
role = "room"
driver = "twin"
[[fault]]
kind = "mat-power"
subject = "oak"
amount = 0.7
at_h = {WEAK_H}
"""


class Week(NamedTuple):
    """A shelf of one tub, and its digests by date."""

    settings: Settings
    digests: dict[str, DigestMade]


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Week:
    settings = house(
        tmp_path_factory.mktemp("week"),
        step_s=30.0,
        room="plan = [[6.0, 16.0], [9.0, 20.0], [13.5, 17.5], [16.0, 20.5], [22.0, 19.0]]",
        mat="watts = 7",
        more=MORE,
    )
    run = Rehearsal(settings, open_devices, sums=True)
    run.run_until(COMMISSIONED_S)
    (oak,) = settings.enclosures
    found = study(settings, oak, None, None, None, START_WALL_S + COMMISSIONED_S)
    assert found.tub is not None, found.refusals
    keep(settings.store.directory, found.tub, found.lived)
    run.run_until(END_S)
    run.close()
    return Week(settings, {each.date: each for each in run.digests})


def lines(text: str) -> list[str]:
    return [line for line in text.splitlines() if "when commissioned" in line]


def test_while_the_tub_is_what_it_was_nothing_is_told(week: Week) -> None:
    """Two mornings after its commissioning: judged, found unchanged, and no line."""
    digest = week.digests["2026-01-20"]
    (oak,) = digest.document["drift"]
    assert (oak["cause"], oak["told"]) == ("nothing", False)
    assert lines(digest.text) == []


def test_before_there_is_a_day_and_a_half_to_judge_by_nothing_is_said(week: Week) -> None:
    """On the morning after commissioning the document has no word of it either."""
    assert week.digests["2026-01-18"].document["drift"] == []


def test_a_weaker_mat_is_one_line_with_units_and_intervals(week: Week) -> None:
    """Three mornings later, while the band still holds: the rise then and now is that of the twin's 100 and 70 %."""
    digest = week.digests["2026-01-23"]
    (line,) = lines(digest.text)
    assert line.startswith("Oak: mat weaker: full heat makes ")
    assert line.count(" °C (") == 2
    (oak,) = digest.document["drift"]
    assert (oak["cause"], oak["told"], oak["rise"]["unit"]) == ("mat", True, "K")
    assert oak["rise"]["value"] / oak["rise_then"]["value"] == pytest.approx(0.7, abs=0.02)
    assert digest.text.startswith("All well")


def test_the_document_is_json(week: Week) -> None:
    """It is kept in the record with the digest."""
    assert json.loads(json.dumps(week.digests["2026-01-23"].document))["drift"][0]["tub"] == "oak"


def of_end(week: Week, settings: Settings | None = None, limit_s: float = 120.0) -> tuple[list[dict[str, Any]], str]:
    return drifts_of(settings or week.settings, START_WALL_S + END_S, limit_s)


def test_a_child_that_takes_too_long_is_ended_and_told(week: Week) -> None:
    """Nothing is found, and the note says why."""
    found, note = of_end(week, limit_s=0.01)
    assert found == []
    assert note == "tubs compared with their commissioning: not all done within 0 s"


def test_a_child_that_cannot_be_started_is_told(week: Week, monkeypatch: pytest.MonkeyPatch) -> None:
    """No memory for another process, for one."""

    def refuse(*_: object, **__: object) -> None:
        raise OSError(12, "Cannot allocate memory")

    monkeypatch.setattr(subprocess, "Popen", refuse)
    found, note = of_end(week)
    assert found == []
    assert "Cannot allocate memory" in note


def test_without_the_analysis_libraries_nothing_is_asked(week: Week, monkeypatch: pytest.MonkeyPatch) -> None:
    """No child, no note: whoever has not installed them is not nagged each morning."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(subprocess, "Popen", lambda *_, **__: pytest.fail("a child was started"))
    assert of_end(week) == ([], "")


def test_without_a_commissioned_tub_nothing_is_asked(
    week: Week, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same."""
    monkeypatch.setattr(subprocess, "Popen", lambda *_, **__: pytest.fail("a child was started"))
    settings = replace(week.settings, store=replace(week.settings.store, directory=tmp_path))
    assert of_end(week, settings) == ([], "")


def test_damaged_findings_cost_a_note_and_no_digest(week: Week) -> None:
    """The file's name and what to do are in the note; the digest is made."""
    (path,) = (week.settings.store.directory / COMMISSIONED / "oak").glob("*Z/tub.json")
    whole = path.read_text(encoding="utf-8")
    path.write_text("{", encoding="utf-8")
    try:
        made = summed_night(week.settings, "2026-01-24")
    finally:
        path.write_text(whole, encoding="utf-8")
    assert made.text
    (note,) = [each for each in made.notes if "commissioning" in each]
    assert str(path) in note
    assert "commission oak again" in note
