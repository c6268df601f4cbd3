"""What a running station does not carry: the libraries that draw and reckon belong to the child that makes a night."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_kindled import Kindled

COMPILED = ("pydantic_core", "matplotlib", "numpy", "PIL", "scipy", "pandas", "markupsafe")


@pytest.mark.parametrize("library", COMPILED)
def test_a_running_station_has_not_loaded_what_draws(kindled: Kindled, library: str) -> None:
    """Once it warms its tubs, none of its compiled parts is mapped: proc(5), maps."""
    shelf = kindled.living
    shelf.until_allowed("oak", "hazel")
    mapped = Path(f"/proc/{shelf.process.pid}/maps").read_text(encoding="utf-8")
    assert "/_sqlite3" in mapped or "libsqlite3" in mapped
    assert f"/{library}/" not in mapped
