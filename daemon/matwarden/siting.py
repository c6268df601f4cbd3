"""Which probes lay on shelves, against which band, and what was recorded of them: gathered for `matwarden siting`."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from matwarden.commissioned_holds import COMMISSIONED
from matwarden.core.inside import inside_probes
from matwarden.core.record import Window
from matwarden.core.siting import PlaceRead, Refusal, Refused, Siting, compared
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_moments import marks_between
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_time import START
from matwarden.terms import Enclosure, ProbeTerms, Quantity

__all__ = ["Sited", "commissioned", "every_probe", "places_named", "places_of", "sited", "tightest"]

# A tub that was heated so long ago is as warm as its place: longer than any that this is made for keeps its warmth.
_COOLED_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Sited:
    """What was found of every place, and the readings that it was found in."""

    found: Siting
    read: dict[str, PlaceRead]


def commissioned(settings: Settings) -> list[Enclosure]:
    """The tubs of which a fit is kept (commissioned.py), whether or not the analysis is installed."""
    home = settings.store.directory / COMMISSIONED
    return [tub for tub in settings.enclosures if (home / tub.id).is_dir()]


def places_of(settings: Settings) -> list[ProbeTerms]:
    """The probes that tell of a place: those of the room, and those inside tubs that have no mat."""
    unheated = [probe for tub in settings.enclosures if tub.mat is None for probe in inside_probes(tub)]
    return [*settings.room_probes, *unheated]


def every_probe(settings: Settings) -> list[ProbeTerms]:
    """All that the settings have."""
    return [*settings.room_probes, *(probe for tub in settings.enclosures for probe in tub.probes)]


def places_named(settings: Settings, names: Collection[str]) -> list[ProbeTerms]:
    """The probes of these ids, in the order of the settings.

    Raises:
        KeyError: one of them is none; its argument is the name.
    """
    every = every_probe(settings)
    known = {probe.id for probe in every}
    for name in names:
        if name not in known:
            raise KeyError(name)
    return [probe for probe in every if probe.id in names]


def tightest(enclosures: Sequence[Enclosure], rather: Sequence[Enclosure] = ()) -> Enclosure:
    """The tub whose band is narrowest: of several one of `rather`, or the first."""
    return min(enclosures, key=lambda each: (round(each.band.high_c - each.band.low_c, 6), each not in rather))


def sited(
    settings: Settings, tub: Enclosure, probes: Sequence[ProbeTerms], since_wall_s: float, until_wall_s: float
) -> Sited | None:
    """Compare the places of `probes` against the band of `tub`; None: nothing was recorded then.

    Raises:
        StoreError: the record cannot be read.
    """
    since, until = marks_between(settings.store.directory, since_wall_s, until_wall_s)
    if until == START or since == until:
        return None
    window = Recorded(settings.store.directory).window(since, until, [probe.id for probe in probes])
    heated = _heated(settings, probes, since_wall_s, until_wall_s)
    read = {
        probe.id: PlaceRead(window.series.get((probe.id, Quantity.TEMPERATURE), ()), probe.stale_s)
        for probe in probes
        if probe.id not in heated
    }
    found = compared(read, window.end_elapsed_s, tub.band, ZoneInfo(settings.zone))
    refused = [Refused(id, Refusal.HEATED, 0.0) for id in heated]
    return Sited(replace(found, refused=(*refused, *found.refused)), read)


def _heated(settings: Settings, probes: Sequence[ProbeTerms], since_wall_s: float, until_wall_s: float) -> list[str]:
    """Those in tubs in which heat was allowed then or shortly before: they tell of the mat, not of the place."""
    with_mat = {tub.id for tub in settings.enclosures if tub.mat is not None}
    asked = [probe for probe in probes if probe.enclosure in with_mat]
    if not asked:
        return []
    since, until = marks_between(settings.store.directory, since_wall_s - _COOLED_S, until_wall_s)
    window: Window = Recorded(settings.store.directory).window(since, until, ())
    warmed = {change.enclosure for change in window.heat if change.allowed}
    return [probe.id for probe in asked if probe.enclosure in warmed]
