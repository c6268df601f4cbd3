"""The coming night from the record: intervals for the room and the tubs, scored against the nights that came.

What was expected is kept in each digest's document and scored in a later one, which keeps the scores: no table of its
own, and nobody can expect afterwards. Hours come from the sums; those of today from the digest's window.

A tub without a mat is reckoned as the room is. One with a mat is only reckoned where it is commissioned and the room is
known (`expected_with_heat`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.commissioned_holds import holds_of
from matwarden.core.dates import instant, local_date
from matwarden.core.inside import inside_probes
from matwarden.core.record import Window
from matwarden.core.tonight import (
    NIGHTS_N,
    ROOM,
    Holds,
    Interval,
    Place,
    Scored,
    Tonight,
    came,
    expected,
    expected_with_heat,
    night_of,
    record_of,
)
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_sums_read import Sums
from matwarden.terms import ProbeTerms, Quantity

__all__ = ["tonight_of"]

# So many digests' documents are read for scores: a night without a score now and then takes some.
_DOCUMENTS_N = 40
# What was not recorded by then will not come.
_SCORED_WITHIN = timedelta(days=4)
_HOUR_S = 3600.0
_READ_SHARE = 0.5
_DAY = timedelta(days=1)


def tonight_of(settings: Settings, window: Window, recorded: Recorded, sums: Sums) -> Tonight:
    """What to expect of the night that begins on the local date of the window's end, and the scores of those before.

    Raises:
        StoreError: the record cannot be read.
    """
    zone = ZoneInfo(settings.zone)
    now_s = window.end_wall_s
    today = local_date(now_s, zone)
    documents = recorded.digest_parts("tonight", _DOCUMENTS_N)
    scored = _scored(documents)
    fresh: list[tuple[str, Scored]] = []
    places = []
    room: Interval | None = None
    for id, name, band_low_c, probes, holds in _places(settings):
        if holds is not None and room is None:
            continue
        hours = _hours(id, probes, window, sums, zone, today)
        # Today's digest may be made twice, when the first one could not be told.
        known = {each.night for each in scored.get(id, ())}
        new = [
            Scored(night, interval, came_c)
            for night, interval in _waiting(documents, id, today)
            if night not in known
            and (until_s := night_of(date.fromisoformat(night), zone)[1]) <= now_s + 60.0
            and (came_c := came(hours, night_of(date.fromisoformat(night), zone)[0], until_s)) is not None
        ]
        fresh += [(id, each) for each in new]
        record = record_of([*scored.get(id, ()), *new], holds is not None)
        if holds is None or room is None:
            interval = expected(hours, now_s, zone, record.missed_share)
        else:
            interval = expected_with_heat(hours, now_s, zone, room, holds, record.missed_share)
        if id == ROOM:
            room = interval
        if interval is not None:
            places.append(Place(id, name, band_low_c, interval, record))
    return Tonight(today.isoformat(), *night_of(today, zone), tuple(places), tuple(fresh))


def _places(settings: Settings) -> Iterable[tuple[str, str, float | None, Sequence[ProbeTerms], Holds | None]]:
    if settings.room_probes:
        yield ROOM, "room", None, settings.room_probes, None
    for enclosure in settings.enclosures:
        holds = None if enclosure.mat is None else holds_of(settings.store.directory, enclosure.id)
        if enclosure.mat is None or holds is not None:
            yield enclosure.id, enclosure.name, enclosure.band.low_c, inside_probes(enclosure), holds


def _hours(
    id: str, probes: Sequence[ProbeTerms], window: Window, sums: Sums, zone: ZoneInfo, today: date
) -> dict[float, float]:
    """The lowest of each hour by its beginning; of several probes the coldest."""
    midnight_s = instant(today, time(0, 0), zone)
    since_s = instant(today - (NIGHTS_N + 2) * _DAY, time(0, 0), zone)
    found: dict[float, float] = {}
    if id == ROOM:
        keys = [(probe.id, Quantity.TEMPERATURE) for probe in probes]
        for series in sums.series_hours(keys, since_s, midnight_s).values():
            for hour in series:
                if hour.lowest is not None and hour.known_s >= _READ_SHARE * hour.lasts_s:
                    _take(found, hour.begins_wall_s, hour.lowest.value)
    else:
        for each in sums.tub_hours(id, since_s, midnight_s):
            if each.lowest is not None and each.missing_s <= _READ_SHARE * each.lasts_s:
                _take(found, each.begins_wall_s, each.lowest.value)
    for probe in probes:
        counts: dict[float, int] = {}
        lowest: dict[float, float] = {}
        for _, wall_s, value in reversed(window.series.get((probe.id, Quantity.TEMPERATURE), ())):
            if wall_s < midnight_s:
                break
            begins_s = midnight_s + (wall_s - midnight_s) // _HOUR_S * _HOUR_S
            counts[begins_s] = counts.get(begins_s, 0) + 1
            lowest[begins_s] = min(value, lowest.get(begins_s, value))
        for begins_s, value in lowest.items():
            if counts[begins_s] * probe.poll_s >= _READ_SHARE * _HOUR_S:
                _take(found, begins_s, value)
    return found


def _take(found: dict[float, float], begins_s: float, value: float) -> None:
    found[begins_s] = min(value, found.get(begins_s, value))


def _scored(documents: Sequence[Mapping[str, Any]]) -> dict[str, list[Scored]]:
    """All scores that are kept, by place, oldest first."""
    found: dict[str, dict[str, Scored]] = {}
    for document in documents:
        for each in document["scored"]:
            of_place = found.setdefault(each["place"], {})
            of_place.setdefault(each["night"], Scored(each["night"], _interval(each), each["came_c"]))
    return {id: list(nights.values()) for id, nights in found.items()}


def _waiting(documents: Sequence[Mapping[str, Any]], id: str, today: date) -> Iterable[tuple[str, Interval]]:
    """The nights expected of late, each once: as it was first told."""
    found: dict[str, Interval] = {}
    oldest = (today - _SCORED_WITHIN).isoformat()
    for document in documents:
        if oldest <= document["night"] < today.isoformat():
            for each in document["places"]:
                if each["place"] == id:
                    found.setdefault(document["night"], _interval(each))
    return found.items()


def _interval(each: Mapping[str, Any]) -> Interval:
    return Interval(*(each[name] for name in Interval._fields))
