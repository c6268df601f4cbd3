"""One alarm as the station keeps it: from its condition and a person's verbs to what is recorded and pushed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from matwarden.core import alarms as core
from matwarden.core import ringing as ring
from matwarden.core.alarm_kept import from_dict, to_dict
from matwarden.core.alarm_table import alarm_id, delays, inverse_of
from matwarden.core.alarm_words import Facts, push, start_text, text
from matwarden.core.alarms import QUIET, AlarmMemory, AlarmSpec, Change
from matwarden.core.inverse_time import FULL_DOSE
from matwarden.core.ringing import Call
from matwarden.events import AlarmChanged, Event, PushAsked, Remember
from matwarden.terms import AlarmState, AlarmTimes, At, Recipients, Unit

__all__ = ["KEEP_EVERY_S", "Alarm", "active_states"]

# Delays in progress are kept this often, so that a restart loses little of an on-delay.
KEEP_EVERY_S = 60.0
# So close to its start an alarm of many tubs may take it over.
_NEAR_S = 60.0
_NEAR_DOSE = 0.9 * FULL_DOSE

active_states = (
    AlarmState.UNACKNOWLEDGED,
    AlarmState.ACKNOWLEDGED,
    AlarmState.LATCHED_UNACKNOWLEDGED,
    AlarmState.LATCHED_ACKNOWLEDGED,
)

_Verb = Callable[[AlarmMemory, AlarmSpec], tuple[AlarmMemory, Change | None]]


class Alarm:
    """One alarm: its spec, its delays, its memory, its calls, and when that was last kept."""

    __slots__ = (
        "_called_in",
        "_facts",
        "_inverse",
        "_kept_busy",
        "_kept_s",
        "_times",
        "_told",
        "back",
        "enclosure",
        "id",
        "memory",
        "off_delay_s",
        "on_delay_s",
        "probe",
        "ringing",
        "spec",
    )

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
        self._inverse = inverse_of(spec, times)
        self._times = times
        self._facts = Facts(tub=subject, unit=Unit.C)
        self.back = False
        self._kept_s = at.mono_s
        kept = remembered.get(f"alarm/{self.id}", {})
        try:
            self.memory = from_dict(kept, at.wall_s) if kept else QUIET
        except ValueError:  # written by another version: an alarm that stands will simply be told again
            self.memory, kept = QUIET, {}
        self.ringing = ring.from_list(kept.get("ringing"), self.memory.state)
        self._called_in = self.memory.state
        self._kept_busy = self.memory is not QUIET
        self._told = str(kept.get("told", ""))

    @property
    def nears(self) -> bool:
        """It is about to announce itself."""
        memory = self.memory
        if memory.state is not AlarmState.NORMAL or not memory.condition or memory.active or self.back:
            return False
        return memory.pending_s >= self.on_delay_s - _NEAR_S or memory.dose >= _NEAR_DOSE

    @property
    def well_on(self) -> bool:
        """Its condition has stood for half its way at least."""
        memory = self.memory
        if not memory.condition or memory.active:
            return memory.active
        return memory.pending_s >= self.on_delay_s / 2 or memory.dose >= FULL_DOSE / 2

    @property
    def sentence(self) -> str:
        """What it says now: of an active one with the numbers of this moment, else what was last told of it."""
        memory = self.memory
        change = Change(memory.state, memory.state, memory.active_s, memory.worst)
        if memory.active:
            return start_text(self.spec, change, self._facts)
        return self._told or text(self.spec, change, self._facts)

    def since_wall_s(self, at: At) -> float:
        """When its condition came up, or, if that is over, when it came into its state: on the clock of now."""
        return at.wall_s - (self.memory.active_s if self.memory.active else self.ringing.in_state_s)

    def look(
        self,
        condition: bool | None,
        suppress: bool,
        at: At,
        dt_s: float,
        value_c: float | None,
        facts: Facts,
        events: list[Event],
        deviation_k: float = 0.0,
        follow: bool = False,
    ) -> None:
        """Step the alarm and add what is to be told.

        Args:
            follow: its cause is told for many tubs at once: should it start now, it is suppressed instead. What rang by
                itself before goes on by itself.
            deviation_k: how far outside the band, for an alarm with an inverse-time rule; below 0: back inside.
        """
        before = self.memory
        if before is QUIET and not condition and not suppress:
            return
        spec, delays_s = self.spec, (self.on_delay_s, self.off_delay_s)
        self.back = back = not (before.condition if condition is None else condition) or deviation_k < 0.0
        if before.state is AlarmState.SUPPRESSED:
            # What is on its way back anyway is not announced because its cause is over some minutes before it; what is
            # not known now waits until it is.
            suppress = suppress or follow or condition is None or (before.active and back)
        args = (dt_s, *delays_s, spec, value_c, self._inverse, deviation_k)
        memory, change = core.step(before, condition, suppress, *args)
        if follow and change is not None and change.starts and change.previous is AlarmState.NORMAL:
            memory, change = core.step(before, condition, True, *args)
        self._facts = facts._replace(probe=self.probe) if self.probe else facts
        if change is None and self._is_stale(memory, dt_s):
            memory, change = core.re_alarm(memory, spec)
        self.memory = memory
        if change is not None:
            self._tell(change, at, events)
        called = self._call(before.state if change is None else change.previous, dt_s, back, at, events)
        if change is not None or called:
            self._keep(at, events, urgent=True)
            return
        # A delay that was kept and is over must be kept as over: a restart would go on with it otherwise.
        over = memory is QUIET and self._kept_busy
        if memory is not before and (over or at.mono_s - self._kept_s >= KEEP_EVERY_S):
            self._keep(at, events, urgent=False)

    def acknowledge(self, at: At, by: str) -> list[Event]:
        """A person has seen it."""
        return self._do(core.acknowledge, at, by)

    def reset(self, at: At, by: str) -> list[Event]:
        """End a latch whose condition is over."""
        return self._do(core.reset, at, by)

    def shelve(self, at: At, by: str, for_s: float | None, maximum_s: float) -> list[Event]:
        """Put it aside for that long, or (None) for one activation.

        Raises:
            ValueError: longer than `maximum_s`, or not longer than nothing.
        """
        return self._do(lambda memory, spec: core.shelve(memory, spec, for_s, maximum_s), at, by)

    def unshelve(self, at: At, by: str) -> list[Event]:
        """Take it off the shelf before its time."""
        return self._do(core.unshelve, at, by)

    def take_out_of_service(self, at: At, by: str) -> list[Event]:
        """Not shown until a person puts it back."""
        return self._do(core.take_out_of_service, at, by)

    def return_to_service(self, at: At, by: str) -> list[Event]:
        """Shown again."""
        return self._do(core.return_to_service, at, by)

    def _do(self, verb: _Verb, at: At, by: str) -> list[Event]:
        """What a person did; if the alarm announces itself by that, it calls at the next look."""
        before = self.memory
        self.memory, change = verb(before, self.spec)
        events: list[Event] = []
        if change is not None:
            self._tell(change, at, events, by)
            if self.memory.state not in (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED):
                self.ringing = ring.SILENT  # what comes back from there is announced anew, also before the next look
        if self.memory is not before:
            self._keep(at, events, urgent=True)
        return events

    def _is_stale(self, memory: AlarmMemory, dt_s: float) -> bool:
        after_s = self._times.re_alarm_s
        if after_s is None or memory.state is not AlarmState.ACKNOWLEDGED:
            return False
        return self._called_in is memory.state and self.ringing.in_state_s + dt_s >= after_s

    def _tell(self, change: Change, at: At, events: list[Event], by: str = "") -> None:
        self._told = text(self.spec, change, self._facts)
        about = (self.spec.priority, self._told, change.active_s, by)
        events.append(AlarmChanged(at, self.id, self.enclosure, change.previous, change.state, *about))
        if change.returns:
            told = push(self.spec, change, self._facts)
            if told is not None:
                to = Recipients.ALL if self.ringing.called is Call.SECOND else Recipients.FIRST
                key = f"{self.id}/{change.state.value}/{at.wall_s:.3f}"
                events.append(PushAsked(at, key, told.title, told.body, self.spec.priority, to))

    def _call(self, was: AlarmState, dt_s: float, back: bool, at: At, events: list[Event]) -> bool:
        """Call the keeper if it is time to. `was`: where this look found it, if its verbs did not say otherwise."""
        memory = self.memory
        previous = self._called_in if was is memory.state else was
        self._called_in = memory.state
        args = (previous, memory.state, self.spec.priority, dt_s, self._times, back)
        self.ringing, call = ring.next_call(self.ringing, *args)
        if call is Call.NONE:
            return False
        change = Change(memory.state, memory.state, memory.active_s, memory.worst)
        told = push(self.spec, change, self._facts, call, self.ringing.in_state_s)
        if told is not None:
            key = f"{self.id}/{memory.state.value}/{at.wall_s:.3f}" + ("" if call is Call.FIRST else f"/{int(call)}")
            to = Recipients.SECOND if call is Call.SECOND else Recipients.FIRST
            events.append(PushAsked(at, key, told.title, told.body, self.spec.priority, to))
        return True

    def _keep(self, at: At, events: list[Event], urgent: bool) -> None:
        self._kept_s = at.mono_s
        self._kept_busy = self.memory is not QUIET
        kept = to_dict(self.memory, at.wall_s)
        kept["ringing"] = ring.to_list(self.ringing)
        if self.memory.state is not AlarmState.NORMAL:
            kept["told"] = self._told
        events.append(Remember(at, f"alarm/{self.id}", kept, urgent))
