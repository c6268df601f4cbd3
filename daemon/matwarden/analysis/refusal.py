"""The names of what a record cannot tell, and how one is told to a keeper. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Cannot", "Refusal"]


class Cannot(StrEnum):
    """Why a record is not fitted, or its fit not used."""

    NOT_READ = "a probe was not read"
    TOO_LITTLE = "too little in one piece"
    STUCK = "stuck probe"
    WARM_ROOM = "warm room"
    NO_HEAT = "no heat"
    ALWAYS_HEAT = "heat always on"
    CONSTANT_ROOM = "constant room"
    CONSTANT_HEAT = "constant heat"
    SWAPPED = "swapped probes"
    FALLEN = "fallen probe"
    ROOM_AT_MAT = "room probe at the mat"
    MAT_CHANGED = "mat changed"
    NO_NETWORK = "not like a tub"
    CHANGED = "changed midway"
    OFFSET = "probes disagree"
    NOT_SURE = "not sure enough"


@dataclass(frozen=True, slots=True)
class Refusal:
    """One thing the record cannot tell: what is missing, with numbers, and what the keeper can do."""

    name: Cannot
    missing: str
    advice: str

    def line(self) -> str:
        """As a keeper reads it."""
        return f"{self.name}: {self.missing}. {self.advice}"
