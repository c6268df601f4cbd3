"""One night as everything that shows it gets it: the text, the picture and the page."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from matwarden.core.digest import NightDigest
from matwarden.core.strips import NightStrips
from matwarden.terms import Unit

__all__ = ["DUE", "Night"]

# What a line of the text begins with that says what is due.
DUE = "Due: "


@dataclass(frozen=True, slots=True)
class Night:
    """One night of one house.

    Attributes:
        house: its name. unit: the keeper's. zone: where the keeper's clocks are.
        first_line: whether all is well, without the house's name. text: the whole digest as a phone shows it.
        due: what is due, at most one line a tub.
    """

    house: str
    unit: Unit
    zone: ZoneInfo
    digest: NightDigest
    strips: NightStrips
    first_line: str
    text: str
    due: tuple[str, ...]
