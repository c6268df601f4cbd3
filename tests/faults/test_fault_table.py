"""A fixed sample of the fault campaign, held against its bounds; the kept table names every fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from faults.shelf_faults import CASES, Moment, run
from faults.table import TABLE, names

# One of each kind of death: nothing, blind, too hot, welded, dead, unsteady.
SAMPLE = (
    "nothing",
    "wall probe dead",
    "air probe in the sun, +8 K for 6 h",
    "relay welded",
    "mat dead",
    "air probe noisy, 1 K",
)


def test_the_kept_table_names_every_fault() -> None:
    """Whoever adds a fault runs `make faults` again."""
    assert names(TABLE.read_text(encoding="utf-8")) >= {case.name for case in CASES}


def test_the_kept_table_breaks_no_bound() -> None:
    """What breaks one is marked in the table and listed at its end: there is none."""
    kept = TABLE.read_text(encoding="utf-8")
    assert "## Bounds broken: 0" in kept
    assert "| ! " not in kept


def test_a_wall_probe_that_drifts_is_told_before_the_wall_passes_the_cut_out(tmp_path: Path) -> None:
    """It counts from when the true wall passes 30.5 C, with a mat too strong for its tub; here it is told before."""
    (case,) = [case for case in CASES if case.name == "wall probe drifts down, 1 K/h"]
    for row in run(case, Moment.HOTTEST, tmp_path):
        assert row.failures() == []
        assert row.told is not None
        assert row.past_s is None or row.told.after_s <= row.past_s


@pytest.mark.parametrize("name", SAMPLE)
def test_a_fault_at_its_worst_moment_stays_within_its_bounds(name: str, tmp_path: Path) -> None:
    """Wall, time until heat is cut and time until the keeper is told, for both tubs."""
    (case,) = [case for case in CASES if case.name == name]
    for row in run(case, Moment.HOTTEST, tmp_path):
        assert row.failures() == []
        # From the fault until the line is cut: a reading stands for a minute at the most.
        assert row.line_wrong_s <= 60.0
        if name == "nothing":
            assert row.told is None
        else:
            assert row.told is not None
            assert row.told.after_s <= 15 * 60.0
