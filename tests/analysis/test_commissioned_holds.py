"""What the digest reads of a commissioned tub, without the analysis libraries."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from helpers_drill import commission
from helpers_process import environment
from matwarden.commissioned import latest
from matwarden.commissioned_holds import holds_of


def test_it_is_what_commissioning_has_found(tmp_path: Path) -> None:
    """Band's low edge, and the interval of the coldest room."""
    commission(tmp_path)
    tub = latest(tmp_path / "data", "oak")
    assert tub is not None
    room = tub.findings.coldest_room
    assert holds_of(tmp_path / "data", "oak") == (tub.low_c, room.low, room.high)


def test_of_a_tub_that_was_never_commissioned_there_is_none(tmp_path: Path) -> None:
    """Nor of one that has no record yet."""
    assert holds_of(tmp_path / "data", "oak") is None


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"findings": {"coldest_room": {"low": null, "high": null}}}'])
def test_what_cannot_be_read_is_none(tmp_path: Path, text: str) -> None:
    """Empty, of another form, or without a number."""
    commission(tmp_path)
    (path,) = (tmp_path / "data" / "commissioned" / "oak").glob("*Z/tub.json")
    path.write_text(text, encoding="utf-8")
    assert holds_of(tmp_path / "data", "oak") is None


def test_it_loads_no_analysis_library() -> None:
    """Neither numpy nor scipy."""
    code = "import sys, matwarden.night; sys.exit(any(name in sys.modules for name in ('numpy', 'scipy')))"
    assert subprocess.run([sys.executable, "-c", code], env=environment(), check=False).returncode == 0
