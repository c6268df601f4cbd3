"""A measured line of the budgets, and the table of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

__all__ = ["Row", "markdown", "plain"]


class Row(NamedTuple):
    """One line.

    Attributes:
        what: that was measured. figure: with its unit. bare: the bare figure of the same run it is compared with.
        budget: in words. met: whether it is kept; None: it is only told.
    """

    what: str
    figure: str
    bare: str
    budget: str
    met: bool | None

    @property
    def verdict(self) -> str:
        """In one word."""
        return "told" if self.met is None else "met" if self.met else "MISSED"


def plain(rows: Sequence[Row]) -> str:
    """For a terminal."""
    return "\n".join(
        f"{row.verdict:7} {row.what}: {row.figure} (bare: {row.bare}; budget: {row.budget})" for row in rows
    )


def markdown(rows: Sequence[Row]) -> str:
    """For the README."""
    lines = ["| what | measured | bare figure of the same run | budget | |", "|---|---|---|---|---|"]
    lines += [f"| {row.what} | {row.figure} | {row.bare} | {row.budget} | {row.verdict} |" for row in rows]
    return "\n".join(lines) + "\n"
