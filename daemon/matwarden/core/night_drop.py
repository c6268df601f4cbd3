"""How far a place falls in the night: from the highest of a day to the lowest of the night after it. Pure.

Day and night are those of `core.halves`. A drop is told only of a day and a night that were each read for three
quarters of their length: of less, the highest or the lowest may be what was not read.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple
from zoneinfo import ZoneInfo

from matwarden.core.halves import half_at

__all__ = ["NightDrops", "Piece", "night_drops"]

_READ_SHARE = 0.75


class Piece(NamedTuple):
    """A reading and for how long it held: UTC seconds, degrees Celsius, seconds."""

    wall_s: float
    value_c: float
    lasts_s: float


class NightDrops(NamedTuple):
    """Of `n` nights: the mean drop and the largest, in kelvin, and when the night of the largest began."""

    n: int
    mean_k: float
    largest_k: float
    largest_wall_s: float


class _Half:
    __slots__ = ("from_wall_s", "highest_c", "is_night", "known_s", "lowest_c", "to_wall_s")

    def __init__(self, is_night: bool, from_wall_s: float, to_wall_s: float) -> None:
        self.is_night, self.from_wall_s, self.to_wall_s = is_night, from_wall_s, to_wall_s
        self.lowest_c, self.highest_c, self.known_s = float("inf"), float("-inf"), 0.0

    @property
    def told(self) -> bool:
        return self.known_s >= _READ_SHARE * (self.to_wall_s - self.from_wall_s)


def night_drops(pieces: Iterable[Piece], zone: ZoneInfo) -> NightDrops | None:
    """None: no night and the day before it were read. Where the wall clock was set back, what comes twice counts."""
    halves: dict[float, _Half] = {}
    half = _Half(True, 0.0, 0.0)
    for wall_s, value_c, lasts_s in pieces:
        if not half.from_wall_s <= wall_s < half.to_wall_s:
            is_night, from_wall_s, to_wall_s = half_at(wall_s, zone)
            half = halves.setdefault(from_wall_s, _Half(is_night, from_wall_s, to_wall_s))
        half.lowest_c = min(half.lowest_c, value_c)
        half.highest_c = max(half.highest_c, value_c)
        half.known_s += lasts_s
    days = {each.to_wall_s: each for each in halves.values() if not each.is_night and each.told}
    drops = [
        (days[each.from_wall_s].highest_c - each.lowest_c, each.from_wall_s)
        for each in halves.values()
        if each.is_night and each.told and each.from_wall_s in days
    ]
    if not drops:
        return None
    largest_k, largest_wall_s = max(drops)
    return NightDrops(len(drops), sum(drop_k for drop_k, _ in drops) / len(drops), largest_k, largest_wall_s)
