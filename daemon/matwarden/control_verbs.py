"""A person's verbs about alarms: look, acknowledge, shelve, out of service, and the reset of a latch.

The law: they touch what is told, never what is guarded. Called in the station's own thread, between two cycles.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from matwarden.alarm import Alarm
from matwarden.core.alarm_table import HEAT_WHILE_CUT
from matwarden.core.units import duration_text, rfc3339_z
from matwarden.events import Event, PersonDid
from matwarden.station import Station, Tub
from matwarden.terms import AlarmState, At

__all__ = ["ALARM_VERBS", "ALL", "AlarmVerbs", "recorded_deed", "reset_latch"]

ALARM_VERBS = ("ack", "shelve", "unshelve", "service")
ALL = "all"
_NAMED = 3  # so many alarms are named in an answer; more are counted
_GUARDED = "The guard goes on as before: only the telling has changed."
_LATCHED = (AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED)

Answer = dict[str, Any]
_Act = Callable[[Alarm], list[Event]]


class AlarmVerbs:
    """The verbs of one station.

    Args:
        house_name: what an alarm of no tub is listed under. shelve_at_most_s: no shelf lasts longer.
    """

    def __init__(self, station: Station, house_name: str, shelve_at_most_s: float) -> None:
        self._station = station
        self._house_name = house_name
        self._shelve_at_most_s = shelve_at_most_s

    def listed(self, at: At) -> Answer:
        """Every alarm that is not normal."""
        names = {tub.enclosure.id: tub.enclosure.name for tub in self._station.tubs.values()}
        found = [
            _described(alarm, names.get(alarm.enclosure or "", self._house_name), at)
            for alarm in self._station.alarms()
            if alarm.memory.state is not AlarmState.NORMAL
        ]
        return {"ok": True, "text": f"{len(found)} alarms are not normal", "alarms": found}

    def do(self, verb: str, request: Mapping[str, Any], by: str, at: At) -> tuple[list[Event], Answer]:
        """Carry out one of `ALARM_VERBS`; what was done, or refused, is among the events."""
        target = str(request.get("target", ""))
        alarms = self._found(target, verb)
        if not alarms:
            return [], {"ok": False, "unknown": True, "text": self._unknown(target)}
        if verb == "ack":
            events, answer = self._acknowledge(alarms, target, by, at)
        elif verb == "shelve":
            events, answer = self._shelve(alarms, target, request, by, at)
        elif verb == "unshelve":
            events, done = _each(alarms, lambda alarm: alarm.unshelve(at, by))
            none = f"Nothing of {target} is shelved."
            answer = _answer(done, f"Shown again: {_names(done, target)}." if done else none)
        else:
            events, answer = _service(alarms, target, request, by, at)
        return [*events, recorded_deed(at, by, _worded(verb, request), target, answer)], answer

    def _found(self, target: str, verb: str) -> list[Alarm]:
        alarms = self._station.alarms()
        if target in self._station.tubs:
            return [alarm for alarm in alarms if alarm.enclosure == target]
        if target == ALL and verb == "ack":
            return alarms
        return [alarm for alarm in alarms if alarm.id == target]

    def _unknown(self, target: str) -> str:
        known = [*self._station.tubs, *(alarm.id for alarm in self._station.alarms())]
        near = difflib.get_close_matches(target, known, n=3, cutoff=0.5)
        meant = f"; did you mean {' or '.join(near)}?" if near else f"; tubs are: {', '.join(self._station.tubs)}"
        return f"there is no alarm and no tub '{target[:60]}'{meant}"

    def _acknowledge(self, alarms: Sequence[Alarm], target: str, by: str, at: At) -> tuple[list[Event], Answer]:
        events, done = _each([*alarms, *self._followers(alarms)], lambda alarm: alarm.acknowledge(at, by))
        if not done:
            return events, _answer(done, f"Nothing of {target} waits for an acknowledgement.")
        over = [alarm for alarm in done if alarm.memory.state is AlarmState.NORMAL]
        on = [alarm for alarm in done if alarm not in over]
        text = f"Acknowledged: {_names(done, target)}."
        if on:
            text += f" {'It does' if len(on) == 1 else 'They do'} not ring again until over and back anew."
        latched = [alarm.id for alarm in on if alarm.memory.state in _LATCHED]
        if latched:
            text += f" Latched until reset at the shelf: {', '.join(latched)}."
        return events, _answer(done, text)

    def _followers(self, alarms: Sequence[Alarm]) -> list[Alarm]:
        """The tubs' own alarms that an alarm of many rings for: whoever has seen it has seen them."""
        together = self._station.together
        if together is None:
            return []
        seen = [condition for condition, alarm in together.alarms.items() if alarm in alarms and alarm.memory.active]
        tubs = self._station.tubs.values()
        return [tub.alarms.together[condition] for condition in seen for tub in tubs]

    def _shelve(
        self, alarms: Sequence[Alarm], target: str, request: Mapping[str, Any], by: str, at: At
    ) -> tuple[list[Event], Answer]:
        most_s = self._shelve_at_most_s
        for_s: float | None = None
        if request.get("once") is not True:
            try:
                for_s = float(request["for_s"])
            except (KeyError, TypeError, ValueError, OverflowError):
                return [], _refused("a shelf needs a length: for_s, in seconds, or once")
            if not 0.0 < for_s <= most_s:
                longest = f"at most {duration_text(most_s)} (shelve_at_most_h in [alarms])"
                return [], _refused(f"not shelved: a shelf lasts longer than nothing and {longest}")
        events, done = _each(alarms, lambda alarm: alarm.shelve(at, by, for_s, most_s))
        if not done:
            states = {alarm.memory.state.value for alarm in alarms}
            return events, _refused(f"not shelved: {target} is {' or '.join(sorted(states))}")
        until = f"for {duration_text(for_s)}" if for_s is not None else f"until over, {duration_text(most_s)} at most"
        text = f"Shelved {until}: {_names(done, target)}. {_GUARDED}"
        return events, {**_answer(done, text), "shelved_left_s": most_s if for_s is None else for_s}


def recorded_deed(at: At, by: str, verb: str, target: str, answer: Mapping[str, Any]) -> PersonDid:
    """What a person did, for the record."""
    return PersonDid(at, by, verb, target[:100], bool(answer["ok"]), str(answer["text"]))


def reset_latch(tub: Tub, at: At, by: str) -> tuple[list[Event], str, bool]:
    """End the latch of a mat that stayed hot while cut, if there is one.

    Returns:
        The events; why it was refused, empty if it was not; whether there was anything to do.
    """
    alarm = next((each for each in tub.alarms.alarms if each.spec is HEAT_WHILE_CUT), None)
    if alarm is None or not (alarm.memory.active or alarm.memory.state in _LATCHED):
        return [], "", False
    memory = alarm.memory
    if memory.state not in _LATCHED or memory.condition or not memory.known:
        hold = f"once mat and relay are sound, try again after 15 min of: matwarden hold {tub.enclosure.id} --for 30min"
        return [], f"the wall is not known to cool while heat is cut; {hold}", True
    events = alarm.acknowledge(at, by) + alarm.reset(at, by)
    return events, "", True


def _described(alarm: Alarm, name: str, at: At) -> Answer:
    memory = alarm.memory
    return {
        "id": alarm.id,
        "enclosure": alarm.enclosure,
        "name": name,
        "title": alarm.spec.title,
        "state": memory.state.value,
        "priority": alarm.spec.priority.value,
        "active_s": round(memory.active_s),
        "acknowledged": memory.acknowledged,
        "shelved_left_s": None if memory.shelved_left_s is None else round(max(0.0, memory.shelved_left_s)),
        "one_shot": memory.one_shot,
        "text": alarm.sentence,
        "since": rfc3339_z(alarm.since_wall_s(at)),
    }


def _service(
    alarms: Sequence[Alarm], target: str, request: Mapping[str, Any], by: str, at: At
) -> tuple[list[Event], Answer]:
    on = request.get("on")
    if on is True:
        events, done = _each(alarms, lambda alarm: alarm.return_to_service(at, by))
        text = f"In service again: {_names(done, target)}." if done else f"Nothing of {target} is out of service."
        return events, _answer(done, text)
    if on is not False:
        return [], _refused("in service or out of it: on, true or false")
    events, done = _each(alarms, lambda alarm: alarm.take_out_of_service(at, by))
    if not done:
        states = {alarm.memory.state.value for alarm in alarms}
        return events, _refused(f"not taken out of service: {target} is {' or '.join(sorted(states))}")
    text = f"Out of service, until: matwarden service on {target}: {_names(done, target)}. {_GUARDED}"
    return events, _answer(done, text)


def _each(alarms: Sequence[Alarm], act: _Act) -> tuple[list[Event], list[Alarm]]:
    """Do it to each; the second are those it did something to."""
    events: list[Event] = []
    done: list[Alarm] = []
    for alarm in alarms:
        before = alarm.memory
        events += act(alarm)
        if alarm.memory is not before:
            done.append(alarm)
    return events, done


def _answer(done: Sequence[Alarm], text: str) -> Answer:
    return {"ok": True, "text": text, "alarms": [alarm.id for alarm in done]}


def _refused(text: str) -> Answer:
    return {"ok": False, "refused": True, "text": text}


def _names(done: Sequence[Alarm], target: str) -> str:
    if len(done) <= _NAMED:
        return ", ".join(alarm.id for alarm in done)
    return f"{len(done)} alarms" + ("" if target == ALL else f" of {target}")


def _worded(verb: str, request: Mapping[str, Any]) -> str:
    """The verb with what changes its meaning."""
    if verb == "service":
        return f"service {'on' if request.get('on') is True else 'off'}"
    if verb == "shelve" and request.get("once") is True:
        return "shelve --once"
    return verb
