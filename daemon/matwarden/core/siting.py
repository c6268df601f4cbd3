"""Places side by side: what an animal would have been exposed to on each of them. Pure.

Places are compared over the time in which every one of them was read, and over no other: a place whose probe missed
the coldest night would look warmer than it is. What is said of one place alone (`own`) is over all its readings.
Missing time has no value, is neither in the band nor outside, and ends a spell.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import chain, islice
from typing import NamedTuple
from zoneinfo import ZoneInfo

from matwarden.core.exposure import Extreme, Spell, exposure
from matwarden.core.night_drop import NightDrops, Piece, night_drops
from matwarden.core.record import Point
from matwarden.core.shared_time import TimeSpan, length_s, longest_gap_s, read_spans, shared_spans
from matwarden.terms import Band

__all__ = [
    "FEWEST_S",
    "HARDLY_SHARE",
    "PlaceFound",
    "PlaceMeasured",
    "PlaceRead",
    "Refusal",
    "Refused",
    "Siting",
    "compared",
    "measured",
    "needs_no_heat",
    "ranked",
    "spare_k",
]

_DAY_S = 86_400.0
# A place is judged on a day and a night at the least.
FEWEST_S = _DAY_S
# Of what was not read so much may be passed over without a word that it might have been cold.
HARDLY_SHARE = 0.02
# By so much longer others would share without a place before that is worth a word.
_MUCH_MORE = 1.1


class PlaceRead(NamedTuple):
    """A probe that lay in a place: its temperatures, and how long a reading holds."""

    points: Sequence[Point]
    hold_s: float


@dataclass(frozen=True, slots=True)
class PlaceMeasured:
    """One place over some time, against the band.

    Attributes:
        known_s: seconds read; below, in band and above add up to it.
        longest_below, longest_above: unbroken; None when there was none.
        below_kh, above_kh: kelvin-hours under the band's lower edge and over its upper one.
        drops: of the nights that were read; None when none was.
    """

    known_s: float
    lowest: Extreme
    highest: Extreme
    mean_c: float
    below_s: float
    in_band_s: float
    above_s: float
    longest_below: Spell | None
    longest_above: Spell | None
    below_kh: float
    above_kh: float
    drops: NightDrops | None

    @property
    def in_band_share(self) -> float:
        """Of the time read, 0 to 1."""
        return self.in_band_s / self.known_s

    @property
    def below_kh_per_day(self) -> float:
        return self.below_kh * _DAY_S / self.known_s

    @property
    def above_kh_per_day(self) -> float:
        return self.above_kh * _DAY_S / self.known_s


@dataclass(frozen=True, slots=True)
class PlaceFound:
    """A place that is compared.

    Attributes:
        shared: over the time in which all were read. own: over everything that was read of it.
        from_wall_s, to_wall_s: of its own readings. longest_gap_s: between them.
        unread_share: of the time between its first reading and its last.
    """

    id: str
    shared: PlaceMeasured
    own: PlaceMeasured
    own_from_wall_s: float
    own_to_wall_s: float
    unread_share: float
    longest_gap_s: float


class Refusal(StrEnum):
    """Why a place is not compared."""

    UNREAD = "unread"
    TOO_FEW = "too-few"
    APART = "apart"  # read at other times than the others
    HEATED = "heated"  # heat was allowed in its tub


@dataclass(frozen=True, slots=True)
class Refused:
    """A place that is not compared. `known_s`: seconds for which it was read."""

    id: str
    why: Refusal
    known_s: float


@dataclass(frozen=True, slots=True)
class Siting:
    """Every place, the best first.

    Attributes:
        spans: the time in which all were read; shared_s: its length. None of it when no place is compared.
        from_wall_s, to_wall_s: where it begins and ends.
        limiting: the place without which the others share most, and for how long they would; None: it is as good as
            with it (less than a tenth more).
    """

    band: Band
    spans: tuple[TimeSpan, ...]
    shared_s: float
    from_wall_s: float
    to_wall_s: float
    places: tuple[PlaceFound, ...]
    refused: tuple[Refused, ...]
    limiting: tuple[str, float] | None


def compared(places: Mapping[str, PlaceRead], end_s: float, band: Band, zone: ZoneInfo) -> Siting:
    """Compare places over their shared time. `end_s`: elapsed time at which the record's window ends."""
    spans = {id: read_spans(each.points, end_s, each.hold_s) for id, each in places.items()}
    refused = []
    for id in places:
        known_s = length_s(spans[id])
        if known_s < FEWEST_S:
            refused.append(Refused(id, Refusal.TOO_FEW if known_s else Refusal.UNREAD, known_s))
            del spans[id]
    # Those that were read at other times go one by one, the least read first, until the rest can be compared.
    while spans and length_s(shared_spans(list(spans.values()))) < FEWEST_S:
        least = min(spans, key=lambda id: length_s(spans[id]))
        refused.append(Refused(least, Refusal.APART, length_s(spans.pop(least))))
    shared = shared_spans(list(spans.values()))
    if not spans:
        return Siting(band, (), 0.0, 0.0, 0.0, (), tuple(refused), None)
    found = [_found(id, places[id], shared, mine, band, zone) for id, mine in spans.items()]
    points = places[found[0].id].points
    return Siting(
        band=band,
        spans=tuple(shared),
        shared_s=length_s(shared),
        from_wall_s=_wall_s(points, shared[0].from_s),
        to_wall_s=_wall_s(points, shared[-1].to_s),
        places=tuple(ranked(found, band)),
        refused=tuple(refused),
        limiting=_limiting(spans),
    )


def ranked(places: Iterable[PlaceFound], band: Band) -> list[PlaceFound]:
    """Least degree-hours outside the band first; of those with none the one that stays furthest from its edges."""
    return sorted(places, key=lambda each: (each.shared.below_kh + each.shared.above_kh, -spare_k(each.shared, band)))


def spare_k(place: PlaceMeasured, band: Band) -> float:
    """How far from the nearer edge of the band the reading next to it was, in kelvin; negative: outside."""
    return min(place.lowest.value - band.low_c, band.high_c - place.highest.value)


def measured(place: PlaceRead, spans: Sequence[TimeSpan], band: Band, zone: ZoneInfo) -> PlaceMeasured:
    """One place over spans in all of which it was read.

    Raises:
        ValueError: there is no reading in them.
    """
    parts = [exposure(place.points, span.from_s, span.to_s, place.hold_s, band.low_c, band.high_c) for span in spans]
    pieces = list(_pieces(place, spans))
    if not pieces:
        raise ValueError("nothing was read in this time")
    known_s = sum(piece.lasts_s for piece in pieces)
    return PlaceMeasured(
        known_s=known_s,
        lowest=min((each.lowest for each in parts if each.lowest is not None), key=lambda each: each.value),
        highest=max((each.highest for each in parts if each.highest is not None), key=lambda each: each.value),
        mean_c=sum(piece.value_c * piece.lasts_s for piece in pieces) / known_s,
        below_s=sum(each.below_s for each in parts),
        in_band_s=sum(each.in_band_s for each in parts),
        above_s=sum(each.above_s for each in parts),
        longest_below=_longest(each.longest_below for each in parts),
        longest_above=_longest(each.longest_above for each in parts),
        below_kh=sum(each.below_kh for each in parts),
        above_kh=sum(each.above_kh for each in parts),
        drops=night_drops(pieces, zone),
    )


def _longest(spells: Iterable[Spell | None]) -> Spell | None:
    return max((each for each in spells if each is not None), key=lambda each: each.lasts_s, default=None)


def _pieces(place: PlaceRead, spans: Sequence[TimeSpan]) -> Iterator[Piece]:
    """Each reading for as long as it held within the spans."""
    first = 0
    next_s = chain((point.elapsed_s for point in islice(place.points, 1, None)), (float("inf"),))
    for (elapsed_s, wall_s, value_c), following_s in zip(place.points, next_s, strict=False):
        until_s = min(following_s, elapsed_s + place.hold_s)
        while first < len(spans) and spans[first].to_s <= elapsed_s:
            first += 1
        for span in islice(spans, first, None):
            if span.from_s >= until_s:
                break
            from_s, to_s = max(elapsed_s, span.from_s), min(until_s, span.to_s)
            if from_s < to_s:
                yield Piece(wall_s + from_s - elapsed_s, value_c, to_s - from_s)


def _found(
    id: str, place: PlaceRead, shared: Sequence[TimeSpan], mine: Sequence[TimeSpan], band: Band, zone: ZoneInfo
) -> PlaceFound:
    whole_s = mine[-1].to_s - mine[0].from_s
    return PlaceFound(
        id=id,
        shared=measured(place, shared, band, zone),
        own=measured(place, mine, band, zone),
        own_from_wall_s=_wall_s(place.points, mine[0].from_s),
        own_to_wall_s=_wall_s(place.points, mine[-1].to_s),
        unread_share=1.0 - length_s(mine) / whole_s,
        longest_gap_s=longest_gap_s(mine),
    )


def _limiting(spans: Mapping[str, Sequence[TimeSpan]]) -> tuple[str, float] | None:
    if len(spans) < 2:
        return None
    without = {id: length_s(shared_spans([mine for other, mine in spans.items() if other != id])) for id in spans}
    id = max(without, key=lambda each: without[each])
    shared_s = length_s(shared_spans(list(spans.values())))
    return (id, without[id]) if without[id] > _MUCH_MORE * shared_s else None


def _wall_s(points: Sequence[Point], elapsed_s: float) -> float:
    """UTC seconds at an elapsed time, by the reading nearest before it, or the first one."""
    at = max(bisect_right(points, elapsed_s, key=lambda point: point.elapsed_s) - 1, 0)
    return points[at].wall_s + elapsed_s - points[at].elapsed_s


def needs_no_heat(place: PlaceFound) -> bool:
    """Whether it was never under the band over all that was read, and hardly anything was not."""
    return place.own.below_s == 0.0 and place.unread_share <= HARDLY_SHARE
