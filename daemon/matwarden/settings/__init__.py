"""The settings: one TOML file, judged as a whole, turned into frozen values in SI units.

The judges, and the library they judge with, are loaded by whoever calls them. Who only holds `Settings` goes without:
for the daemon that is a fifth of its memory (apart.py).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from matwarden.settings.outcome import Outcome
from matwarden.settings.problems import Problem, SettingsError
from matwarden.settings.resolved import Settings

__all__ = ["Outcome", "Problem", "Settings", "SettingsError", "check", "judge", "load"]


def load(path: Path) -> Settings:
    """The settings of a file.

    Raises:
        SettingsError: they cannot be used; it carries every problem.
    """
    from matwarden.settings import loading

    return loading.load(path)


def check(path: Path) -> Outcome:
    """Judge a file; never raises for anything the file can say."""
    from matwarden.settings import loading

    return loading.check(path)


def judge(raw: Mapping[str, Any], path: Path) -> Outcome:
    """Judge the tables of a file that was read already."""
    from matwarden.settings import loading

    return loading.judge(raw, path)
