"""The alarms of one enclosure (or of one room probe) as the station keeps them: from conditions to events."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matwarden.core.alarm_table import (
    BLIND,
    BLIND_PROBE,
    COLD,
    CUT_OUT,
    HOT,
    RELAY_FAULT,
    Facts,
    alarm_id,
    delays,
    push,
    text,
)
from matwarden.core.alarms import QUIET, AlarmSpec, from_dict, step, to_dict
from matwarden.core.conditions import is_cold, is_hot, is_probe_blind, look, watched
from matwarden.events import AlarmChanged, Event, PushAsked, Remember
from matwarden.terms import AlarmState, AlarmTimes, At, Enclosure, ProbeTerms, Seen, Unit

__all__ = ["RoomAlarms", "TubAlarms", "active_states"]

# Delays in progress are kept this often, so that a restart loses little of an on-delay.
KEEP_EVERY_S = 60.0

active_states = (
    AlarmState.UNACKNOWLEDGED,
    AlarmState.ACKNOWLEDGED,
    AlarmState.LATCHED_UNACKNOWLEDGED,
    AlarmState.LATCHED_ACKNOWLEDGED,
)


class _Alarm:
    """One alarm: its spec, its delays, its memory, and when that was last kept."""

    __slots__ = ("_kept_s", "enclosure", "id", "memory", "off_delay_s", "on_delay_s", "probe", "spec")

    def __init__(
        self,
        spec: AlarmSpec,
        subject: str,
        enclosure: str | None,
        times: AlarmTimes,
        remembered: Mapping[str, Mapping[str, Any]],
        at: At,
        probe: str = "",
    ) -> None:
        self.spec = spec
        self.id = alarm_id(spec, subject)
        self.enclosure = enclosure
        self.probe = probe
        self.on_delay_s, self.off_delay_s = delays(spec, times)
        self._kept_s = at.mono_s
        kept = remembered.get(f"alarm/{self.id}")
        try:
            self.memory = QUIET if kept is None else from_dict(kept, at.wall_s)
        except ValueError:  # written by another version: an alarm that stands will simply be told again
            self.memory = QUIET

    def look(
        self,
        condition: bool | None,
        suppress: bool,
        at: At,
        dt_s: float,
        value_c: float | None,
        facts: Facts,
        events: list[Event],
    ) -> None:
        """Step the alarm and add what is to be told."""
        before = self.memory
        if before is QUIET and not condition and not suppress:
            return
        memory, change = step(before, condition, suppress, dt_s, self.on_delay_s, self.off_delay_s, self.spec, value_c)
        self.memory = memory
        if change is None:
            if memory is not before and at.mono_s - self._kept_s >= KEEP_EVERY_S:
                self._keep(at, events, urgent=False)
            return
        self._keep(at, events, urgent=True)
        if self.probe:
            facts = facts._replace(probe=self.probe)
        events.append(
            AlarmChanged(
                at,
                self.id,
                self.enclosure,
                change.previous,
                change.state,
                self.spec.priority,
                text(self.spec, change, facts),
                change.active_s,
            )
        )
        told = push(self.spec, change, facts)
        if told is not None:
            key = f"{self.id}/{change.state.value}/{at.wall_s:.3f}"
            events.append(PushAsked(at, key, told.title, told.body, self.spec.priority))

    def _keep(self, at: At, events: list[Event], urgent: bool) -> None:
        self._kept_s = at.mono_s
        events.append(Remember(at, f"alarm/{self.id}", to_dict(self.memory, at.wall_s), urgent))


class TubAlarms:
    """Cold, hot, cut-out, relay fault and blindness of one enclosure and its probes."""

    def __init__(self, enclosure: Enclosure, unit: Unit, remembered: Mapping[str, Mapping[str, Any]], at: At) -> None:
        def alarm(spec: AlarmSpec, subject: str, probe: str = "") -> _Alarm:
            return _Alarm(spec, subject, enclosure.id, enclosure.alarms, remembered, at, probe)

        self._watched = watched(enclosure)
        self._facts = Facts(tub=enclosure.name, unit=unit, band=enclosure.band)
        self._cold = alarm(COLD, enclosure.id)
        self._hot = alarm(HOT, enclosure.id)
        self._blind = alarm(BLIND, enclosure.id)
        self._cut_out = alarm(CUT_OUT, enclosure.id)
        self._relay_fault = alarm(RELAY_FAULT, enclosure.id)
        self._probes = [(probe, alarm(BLIND_PROBE, probe.id, probe.id)) for probe in enclosure.probes]
        self._looked_s = at.mono_s
        self.inside_c: float | None = None

    def all(self) -> list[tuple[str, AlarmState, float]]:
        """Every alarm's id, state and seconds active."""
        alarms = [self._cold, self._hot, self._blind, self._cut_out, self._relay_fault]
        alarms += [alarm for _, alarm in self._probes]
        return [(alarm.id, alarm.memory.state, alarm.memory.active_s) for alarm in alarms]

    def look(self, seen: Mapping[str, Seen], tripped: bool, relay_fault: bool, why: str, at: At) -> list[Event]:
        """Look at every condition once.

        Args:
            seen: what each probe of the enclosure says now. why: the numbers of a trip, as a clause.
        """
        events: list[Event] = []
        now_s = at.mono_s
        dt_s = now_s - self._looked_s
        self._looked_s = now_s
        inside = look(self._watched, seen, now_s)
        self.inside_c = inside.coldest_c
        facts = self._facts
        cold, hot, blind = self._cold, self._hot, self._blind
        is_cold_now = is_cold(self._watched, inside, cold.memory.condition)
        is_hot_now = is_hot(self._watched, inside, hot.memory.condition)
        if is_cold_now or cold.memory is not QUIET:
            cold.look(is_cold_now, False, at, dt_s, inside.coldest_c, facts._replace(now_c=inside.coldest_c), events)
        if is_hot_now or hot.memory is not QUIET:
            hot.look(is_hot_now, False, at, dt_s, inside.hottest_c, facts._replace(now_c=inside.hottest_c), events)
        if inside.blind or blind.memory is not QUIET:
            blind.look(inside.blind, False, at, dt_s, None, facts._replace(why=self._why(seen)), events)
        if tripped or self._cut_out.memory is not QUIET:
            self._cut_out.look(tripped, False, at, dt_s, None, facts._replace(why=why), events)
        if relay_fault or self._relay_fault.memory is not QUIET:
            self._relay_fault.look(relay_fault, False, at, dt_s, None, facts, events)
        follows = blind.memory.active
        for probe, alarm in self._probes:
            dark = is_probe_blind(probe.id, probe.stale_s, seen, now_s)
            if dark or follows or alarm.memory is not QUIET:
                said = seen.get(probe.id)
                told = facts._replace(now_c=inside.coldest_c, why="" if said is None else said.why)
                alarm.look(dark, follows, at, dt_s, None, told, events)
        return events

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
        self._alarm = _Alarm(BLIND_PROBE, probe.id, None, times, remembered, at, probe.id)
        self._looked_s = at.mono_s

    def all(self) -> list[tuple[str, AlarmState, float]]:
        """The alarm's id, state and seconds active."""
        return [(self._alarm.id, self._alarm.memory.state, self._alarm.memory.active_s)]

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
