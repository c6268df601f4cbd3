"""A fixed sample of the faults of the process and its services; the kept table names every one and breaks no bound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from faults.process_measured import ProcessRow
from faults.process_play import play_all
from faults.process_scenes import SCENES
from faults.process_table import PROCESS_TABLE
from faults.table import names

# A flood, changed settings, a kill and a freeze: played side by side, in real time.
SAMPLE = ("broker floods", "settings changed while it runs", "SIGKILL", "SIGSTOP")
TRIP = "Alder: heat tripped, look now"
AGAIN = "Our shelf: had to start again"
# For a machine that is busy with other tests; the kept table has the times of an idle one.
BUSY_S = 15.0


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, ProcessRow]:
    # The trip is waited for, not what the log says of a broker.
    scenes = [replace(scene, words="") for scene in SCENES if scene.name in SAMPLE]
    return {row.fault: row for row in play_all(scenes, tmp_path_factory.mktemp("scenes"), len(scenes))}


def test_the_kept_table_names_every_fault() -> None:
    """Whoever adds a fault runs `make faults` again."""
    assert names(PROCESS_TABLE.read_text(encoding="utf-8")) == {scene.name for scene in SCENES}


def test_in_the_kept_table_nothing_is_untold_and_no_bound_is_broken() -> None:
    """Every row has first words, and none is marked."""
    page = PROCESS_TABLE.read_text(encoding="utf-8")
    rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in page.splitlines() if line.startswith("| ")]
    assert [row[0] for row in rows[1:] if not row[6] or row[0].startswith("!")] == []
    assert "Bounds broken: 0" in page


@pytest.mark.parametrize("name", ["broker floods", "settings changed while it runs"])
def test_trouble_around_the_process_delays_no_cut(played: Mapping[str, ProcessRow], name: str) -> None:
    """The hot reading cuts the line, and the trip is pushed."""
    row = played[name]
    assert row.allowed_s <= row.bound_s + BUSY_S
    assert row.told is not None
    assert row.told.title == TRIP


@pytest.mark.parametrize("name", ["SIGKILL", "SIGSTOP"])
def test_a_dead_or_frozen_process_ends_cut_and_is_told(played: Mapping[str, ProcessRow], name: str) -> None:
    """The unit's own command cuts, after the watchdog where it froze; the next start tells the keeper."""
    row = played[name]
    assert 0.0 < row.allowed_s <= row.bound_s + BUSY_S
    assert row.told is not None
    assert row.told.title == AGAIN
