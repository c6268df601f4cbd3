"""Settings judged in a child process are the same settings; whatever becomes of the child, the file is judged."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from helpers_process import settings_file, shelf_text
from matwarden.settings import SettingsError, load
from matwarden.settings.apart import Apart


def test_apart_they_are_the_same(tmp_path: Path) -> None:
    """Every value, also those nobody wrote."""
    file = settings_file(tmp_path, shelf_text("oak", "alder"))
    assert Apart(file).settings() == load(file)


def test_what_is_wrong_with_a_file_is_told_as_ever(tmp_path: Path) -> None:
    """All problems at once."""
    file = settings_file(tmp_path, shelf_text("oak").replace('zone = "Europe/Amsterdam"', 'zone = "Nowhere"'))
    with pytest.raises(SettingsError) as apart:
        Apart(file).settings()
    with pytest.raises(SettingsError) as here:
        load(file)
    assert str(apart.value) == str(here.value)


@pytest.mark.parametrize("python", ["/nowhere/python3", "/bin/false", "/bin/cat"])
def test_a_child_that_comes_to_nothing_costs_no_start(
    tmp_path: Path, python: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It cannot be started, it fails, or it says nothing that can be used: the file is judged here."""
    monkeypatch.setattr(sys, "executable", python)
    file = settings_file(tmp_path, shelf_text("oak"))
    assert Apart(file).settings() == load(file)
