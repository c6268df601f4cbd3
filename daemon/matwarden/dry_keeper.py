"""A tub's too-dry alarm as the station keeps it: from the last readings of its air to events."""

from __future__ import annotations

from collections.abc import Sequence

from matwarden.alarm import Alarm
from matwarden.core.alarm_words import Facts
from matwarden.core.alarms import QUIET
from matwarden.core.dryness import Air, air_of, counting, driest, is_dry
from matwarden.events import Event
from matwarden.terms import At, Enclosure, Reading, Side

__all__ = ["DryKeeper"]


class DryKeeper:
    """Looks at those probes that can tell that a tub is too dry.

    Attributes:
        probes: their ids, in the order in which `look` wants their readings; empty: nothing is judged.
    """

    def __init__(self, enclosure: Enclosure, alarm: Alarm) -> None:
        terms = counting(enclosure.probes, enclosure.alarms)
        self.alarm = alarm
        self.probes = tuple(each.id for each in terms)
        self._terms = terms
        self._limit_kpa = enclosure.alarms.too_dry_kpa or 0.0
        # Once a probe of the moist side has told its humidity, no other one stands in for it when it falls silent.
        self._moist_heard = False
        self._known: list[tuple[Reading | None, Air | None]] = [(None, None)] * len(terms)

    def look(self, readings: Sequence[Reading | None], facts: Facts, at: At, dt_s: float, events: list[Event]) -> None:
        """Look once. `readings`: the last good one of each probe; None where there was none yet."""
        alarm = self.alarm
        # Most probes measure no humidity, and this is looked at with every reading.
        if alarm.memory is QUIET and not any([r is not None and r.humidity_pct is not None for r in readings]):
            return
        airs = [self._air(n, reading, at.mono_s) for n, reading in enumerate(readings)]
        moist = [air for air, terms in zip(airs, self._terms, strict=True) if terms.side is Side.MOIST]
        self._moist_heard = self._moist_heard or any(moist)
        air = driest(moist if self._moist_heard else airs)
        dry = is_dry(air, self._limit_kpa, alarm.memory.condition)
        if not dry and alarm.memory is QUIET:
            return
        over_kpa = 0.0
        if air is not None:
            over_kpa = air.deficit_kpa - self._limit_kpa
            facts = facts._replace(now_c=air.temperature_c, why=_clause(air))
        # Of how far out it is only the sign counts, without a curve: inside its deadband it sets nothing.
        alarm.look(dry, False, at, dt_s, None, facts, events, over_kpa)

    def _air(self, n: int, reading: Reading | None, now_s: float) -> Air | None:
        before, air = self._known[n]
        # Everything is judged more often than it is read.
        if reading is not before:
            air = air_of(reading, self._terms[n].stale_s, now_s)
            self._known[n] = (reading, air)
        if reading is None or now_s - reading.at.mono_s > self._terms[n].stale_s:
            return None
        return air


def _clause(air: Air) -> str:
    return f"humidity {air.humidity_pct:.0f} %, VPD {air.deficit_kpa:.1f} kPa"
