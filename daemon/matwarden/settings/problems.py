"""What is wrong with a settings file, in words a keeper can act on."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

__all__ = ["Findings", "Problem", "SettingsError"]


class Problem(NamedTuple):
    """One thing that is wrong.

    Attributes:
        where: table and key as a keeper knows them, as in `mat of oak: limiter`.
        found: what the file says there.
        allowed: what it may say.
        advice: what to do, in whole sentences.
    """

    where: str
    found: str
    allowed: str
    advice: str

    def line(self) -> str:
        """The whole problem on one line."""
        return f"{self.where}: found {self.found}; allowed: {self.allowed}. {self.advice}"


class SettingsError(Exception):
    """The settings cannot be used. `str()` gives the file and every problem, one a line."""

    def __init__(self, path: Path, problems: tuple[Problem, ...]) -> None:
        self.path = path
        self.problems = problems
        count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
        super().__init__("\n".join([f"{path}: {count}", *(f"  {problem.line()}" for problem in problems)]))


@dataclass(slots=True)
class Findings:
    """Collects problems and warnings while a file is read, so that all are told at once."""

    problems: list[Problem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def problem(self, where: str, found: str, allowed: str, advice: str) -> None:
        self.problems.append(Problem(where, found, allowed, advice))

    def warn(self, text: str) -> None:
        self.warnings.append(text)
