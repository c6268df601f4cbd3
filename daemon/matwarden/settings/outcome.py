"""What a check of a settings file comes to."""

from __future__ import annotations

from dataclasses import dataclass

from matwarden.settings.problems import Problem
from matwarden.settings.resolved import Settings

__all__ = ["Outcome"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a check found: `settings` is None exactly when there are problems."""

    settings: Settings | None
    problems: tuple[Problem, ...]
    warnings: tuple[str, ...]
