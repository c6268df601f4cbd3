"""A fixed sample of the fault campaign, held against its bounds; the kept table names every fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from faults.shelf_faults import CASES, Moment, run
from faults.table import TABLE, names

# One of each kind of death: nothing, blind, lying, welded, dead, too hot.
SAMPLE = ("nothing", "wall probe dead", "air probe in the sun, +8 K for 6 h", "relay welded", "mat dead")


def test_the_kept_table_names_every_fault() -> None:
    """Whoever adds a fault runs `make faults` again."""
    assert names(TABLE.read_text(encoding="utf-8")) >= {case.name for case in CASES}


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
