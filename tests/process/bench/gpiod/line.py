"""The words of the stand-in."""

from __future__ import annotations

from enum import Enum


class Direction(Enum):
    AS_IS = 1
    INPUT = 2
    OUTPUT = 3


class Value(Enum):
    INACTIVE = 0
    ACTIVE = 1
