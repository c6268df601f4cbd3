"""The alarms of one enclosure (or of one room probe) as the station keeps them: from conditions to events."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, NamedTuple

from matwarden.alarm import Alarm
from matwarden.core.alarm_table import (
    BLIND,
    BLIND_PROBE,
    COLD,
    CUT_OUT,
    HEAT_NOT_ARRIVING,
    HEAT_WHILE_CUT,
    HOT,
    PROBES_DISAGREE,
    RELAY_FAULT,
    RELAY_WEAR,
    TOO_DRY,
    UNSTEADY_PROBE,
)
from matwarden.core.alarm_words import Facts
from matwarden.core.alarms import QUIET, AlarmSpec
from matwarden.core.conditions import Inside, is_cold, is_hot, is_probe_blind, is_worn, look, watched
from matwarden.core.disagreement import comparable, is_apart, widest
from matwarden.core.units import difference_text, temperature_text
from matwarden.core.unsteady import STEADY, is_unsteady, step_doubts
from matwarden.dry_keeper import DryKeeper
from matwarden.events import Event, Notice
from matwarden.heat_keeper import HeatKeeper
from matwarden.terms import AlarmTimes, At, Band, Enclosure, ProbeTerms, Reading, Seen, Unit

__all__ = ["Guarding", "RoomAlarms", "TubAlarms"]


class Guarding(NamedTuple):
    """What the alarms of a tub with a mat look at besides its probes.

    Attributes:
        why: the numbers of a trip, as a clause. operations: of its relay, in its life.
    """

    allowed: bool
    tripped: bool
    relay_fault: bool
    why: str
    operations: int


class TubAlarms:
    """Every alarm of one enclosure and its probes."""

    def __init__(self, enclosure: Enclosure, unit: Unit, remembered: Mapping[str, Mapping[str, Any]], at: At) -> None:
        def alarm(spec: AlarmSpec, subject: str = enclosure.id, probe: str = "") -> Alarm:
            return Alarm(spec, subject, enclosure.id, enclosure.alarms, remembered, at, probe)

        self.name = enclosure.name
        self._watched = watched(enclosure)
        self._facts = Facts(tub=enclosure.name, unit=unit, band=enclosure.band)
        self._cold, self._hot, self._blind = alarm(COLD), alarm(HOT), alarm(BLIND)
        self._cut_out, self._relay_fault = alarm(CUT_OUT), alarm(RELAY_FAULT)
        self._no_heat, self._stays_hot = alarm(HEAT_NOT_ARRIVING), alarm(HEAT_WHILE_CUT)
        self._wear, self._apart = alarm(RELAY_WEAR), alarm(PROBES_DISAGREE)
        self.dry = DryKeeper(enclosure, alarm(TOO_DRY))
        self._probes = [(probe, alarm(BLIND_PROBE, probe.id, probe.id)) for probe in enclosure.probes]
        self._unsteady = [alarm(UNSTEADY_PROBE, probe.id, probe.id) for probe in enclosure.probes]
        self._doubts = [STEADY for _ in enclosure.probes]
        # Those that many tubs may share a cause of.
        self.together = {alarm.spec.condition: alarm for alarm in (self._cold, self._hot, self._blind)}
        self._pairs = comparable(enclosure.probes)
        self._heat = HeatKeeper(enclosure, unit)
        self._has_mat = enclosure.mat is not None
        self._rated = 0 if enclosure.mat is None else enclosure.mat.rated_operations
        self._looked_s = at.mono_s
        self._inference_failed: set[str] = set()
        self.inside_c: float | None = None
        self._glanced: tuple[float, Inside] | None = None

    @property
    def alarms(self) -> list[Alarm]:
        """Every one that it can have: of a mat only with one, of a pair of probes only with one."""
        of_mat = [self._cut_out, self._relay_fault, self._no_heat, self._stays_hot, self._wear]
        of_probes = [*(alarm for _, alarm in self._probes), *self._unsteady]
        mat, pairs = (of_mat if self._has_mat else []), ([self._apart] if self._pairs else [])
        dry = [self.dry.alarm] if self.dry.probes else []
        return [self._cold, self._hot, self._blind, *mat, *pairs, *dry, *of_probes]

    def glance(self, seen: Mapping[str, Seen], now_s: float) -> Inside:
        """See how it is inside now, and which of its alarms are out: what many tubs are judged by, before `look`."""
        if self._glanced is not None and self._glanced[0] == now_s:
            return self._glanced[1]
        inside = look(self._watched, seen, now_s)
        self._glanced = (now_s, inside)
        self.inside_c = inside.coldest_c
        band = self._facts.band
        if band is not None and inside.coldest_c is not None and inside.hottest_c is not None:
            self._cold.back = inside.coldest_c > band.low_c
            self._hot.back = inside.hottest_c < band.high_c
        return inside

    def look(
        self,
        seen: Mapping[str, Seen],
        guarding: Guarding | None,
        at: At,
        together: frozenset[str] = frozenset(),
        airs: Sequence[Reading | None] = (),
    ) -> list[Event]:
        """Look at every condition once.

        Args:
            seen: what each probe of the enclosure says now. guarding: None without a mat.
            together: the conditions that many tubs ring for as one.
            airs: the last good reading of each of `dry.probes`.
        """
        events: list[Event] = []
        now_s = at.mono_s
        dt_s = now_s - self._looked_s
        self._looked_s = now_s
        inside = self.glance(seen, now_s)
        # Two cycles may fall on one instant with other readings.
        self._glanced = None
        facts = self._facts
        cold, hot, blind = self._cold, self._hot, self._blind
        is_cold_now = is_cold(self._watched, inside, cold.memory.condition)
        is_hot_now = is_hot(self._watched, inside, hot.memory.condition)
        band = facts.band or Band(0.0, 0.0)
        if is_cold_now or cold.memory is not QUIET:
            value_c = inside.coldest_c
            out_k = 0.0 if value_c is None else band.low_c - value_c
            told = facts._replace(now_c=value_c)
            cold.look(is_cold_now, False, at, dt_s, value_c, told, events, out_k, "cold" in together)
        if is_hot_now or hot.memory is not QUIET:
            value_c = inside.hottest_c
            out_k = 0.0 if value_c is None else value_c - band.high_c
            told = facts._replace(now_c=value_c)
            hot.look(is_hot_now, False, at, dt_s, value_c, told, events, out_k, "hot" in together)
        if inside.blind or blind.memory is not QUIET:
            told = facts._replace(why=self._why(seen))
            blind.look(inside.blind, False, at, dt_s, None, told, events, follow="blind" in together)
        if guarding is not None:
            self._look_at_heat(seen, guarding, inside, at, dt_s, events)
        follows = blind.memory.active
        for n, (probe, alarm) in enumerate(self._probes):
            said = seen.get(probe.id)
            if said is not None:
                self._look_at_steadiness(n, said, follows, at, dt_s, inside.coldest_c, events)
            dark = is_probe_blind(probe.id, probe.stale_s, seen, now_s)
            if dark or follows or alarm.memory is not QUIET:
                told = facts._replace(now_c=inside.coldest_c, why="" if said is None else said.why)
                alarm.look(dark, follows, at, dt_s, None, told, events)
        if self._pairs:
            self._look_at_pairs(seen, at, dt_s, events)
        if airs:
            self._infer("the humidity", partial(self.dry.look, airs, facts, at, dt_s, events), at, events)
        return events

    def _look_at_steadiness(
        self, n: int, said: Seen, follows: bool, at: At, dt_s: float, now_c: float | None, events: list[Event]
    ) -> None:
        alarm = self._unsteady[n]
        doubts = self._doubts[n] = step_doubts(self._doubts[n], said.quality, at.mono_s)
        unsteady = is_unsteady(doubts, at.mono_s, alarm.memory.condition)
        if unsteady or alarm.memory is not QUIET:
            alarm.look(unsteady, follows, at, dt_s, None, self._facts._replace(now_c=now_c), events)

    def _look_at_heat(
        self, seen: Mapping[str, Seen], guarding: Guarding, inside: Inside, at: At, dt_s: float, events: list[Event]
    ) -> None:
        _, tripped, relay_fault, why, _ = guarding
        facts = self._facts
        if tripped or self._cut_out.memory is not QUIET:
            self._cut_out.look(tripped, False, at, dt_s, None, facts._replace(why=why), events)
        if relay_fault or self._relay_fault.memory is not QUIET:
            self._relay_fault.look(relay_fault, False, at, dt_s, None, facts, events)
        inferred = partial(self._look_at_inferred, seen, guarding, inside, at, dt_s, events)
        self._infer("the heat", inferred, at, events)

    def _infer(self, what: str, look: Callable[[], None], at: At, events: list[Event]) -> None:
        try:
            look()
        except Exception as error:  # our bug; what is only inferred must never silence cold, hot, blind and trip
            if what not in self._inference_failed:
                self._inference_failed.add(what)
                text = f"internal error while inferring from {what} of {self.name}: {error!r}"
                events.append(Notice(at, text, warning=True))

    def _look_at_inferred(
        self, seen: Mapping[str, Seen], guarding: Guarding, inside: Inside, at: At, dt_s: float, events: list[Event]
    ) -> None:
        allowed, tripped, relay_fault, _, operations = guarding
        facts = self._facts
        heat = self._heat
        heat.look(self._watched.wall, seen, inside.coldest_c, allowed, at.mono_s)
        no_heat, stays_hot = self._no_heat, self._stays_hot
        # Whoever is blind, or cut for good, knows why no heat arrives.
        follows = self._blind.memory.active or tripped or relay_fault
        if heat.arrives_not or follows or no_heat.memory is not QUIET:
            no_heat.look(heat.arrives_not, follows, at, dt_s, None, facts._replace(why=heat.words()), events)
        if heat.stays or stays_hot.memory is not QUIET:
            stays_hot.look(heat.stays, False, at, dt_s, None, facts._replace(why=heat.words()), events)
        worn = is_worn(operations, self._rated)
        if worn or self._wear.memory is not QUIET:
            clause = f"{operations} of {self._rated} operations"
            self._wear.look(worn, False, at, dt_s, None, facts._replace(why=clause), events)

    def _look_at_pairs(self, seen: Mapping[str, Seen], at: At, dt_s: float, events: list[Event]) -> None:
        alarm = self._apart
        apart = widest(self._pairs, seen, at.mono_s)
        condition = is_apart(apart, alarm.memory.condition)
        if not condition and alarm.memory is QUIET:
            return
        facts = self._facts
        if apart is not None:
            one, other, apart_k = apart
            values = [seen[name].value_c for name in (one, other)]
            shown = [temperature_text(value_c, facts.unit) for value_c in values if value_c is not None]
            clause = f"{one} {shown[0]}, {other} {shown[1]}, {difference_text(apart_k, facts.unit)} apart"
            facts = facts._replace(why=clause)
        alarm.look(condition, False, at, dt_s, None, facts, events)

    def _why(self, seen: Mapping[str, Seen]) -> str:
        clauses = {s.why for s in seen.values() if s.why}
        return clauses.pop() if len(clauses) == 1 else ""


class RoomAlarms:
    """Blindness of one room probe."""

    def __init__(
        self,
        probe: ProbeTerms,
        times: AlarmTimes,
        unit: Unit,
        remembered: Mapping[str, Mapping[str, Any]],
        at: At,
    ) -> None:
        self._probe = probe
        self._facts = Facts(tub="Room", unit=unit)
        self._alarm = Alarm(BLIND_PROBE, probe.id, None, times, remembered, at, probe.id)
        self._looked_s = at.mono_s

    @property
    def alarms(self) -> list[Alarm]:
        """The one."""
        return [self._alarm]

    def look(self, seen: Seen, at: At) -> list[Event]:
        """Look once."""
        events: list[Event] = []
        dt_s = at.mono_s - self._looked_s
        self._looked_s = at.mono_s
        dark = is_probe_blind(self._probe.id, self._probe.stale_s, {self._probe.id: seen}, at.mono_s)
        if not dark and self._alarm.memory is QUIET:
            return events
        facts = self._facts._replace(now_c=seen.value_c, why=seen.why)
        self._alarm.look(dark, False, at, dt_s, None, facts, events)
        return events
