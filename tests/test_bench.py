"""The benches run: each quick one gives lines with a figure, its unit and a budget. Timings are not judged here."""

from __future__ import annotations

import re

import pytest

from bench.deciding import verdicts, year
from bench.run_bench import BENCHES
from bench.running import exposure
from bench.table import Row, markdown, plain


@pytest.mark.parametrize("rows", [lambda: verdicts(2000), lambda: year(0.05), exposure])
def test_a_bench_tells_a_figure_and_a_budget(rows: object) -> None:
    """A number first; the budget beside it."""
    found = rows()  # type: ignore[operator]
    assert found
    for row in found:
        assert isinstance(row, Row)
        assert re.match(r"[<+]?[0-9]|systemd-analyze", row.figure)
        assert row.budget


def test_what_is_missed_is_said() -> None:
    """In the terminal's table and in the README's."""
    rows = [Row("memory", "60 MB", "9 MB", "48 MB", False), Row("start", "0.3 s", "-", "1 s", True)]
    assert plain(rows).startswith("MISSED  memory: 60 MB")
    assert "| memory | 60 MB | 9 MB | 48 MB | MISSED |" in markdown(rows)


def test_every_bench_has_a_name_to_run_it_alone() -> None:
    """As `make bench ONLY=memory`."""
    assert {"start", "memory", "day", "questions", "latency", "verdicts"} <= set(BENCHES)
