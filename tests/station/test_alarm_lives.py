"""Any life of an alarm: looks, verbs and restarts in every order hypothesis can think of.

The restart is the record's: what the last `Remember` event holds, read at whatever the wall clock then says.
"""

from __future__ import annotations

import json
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from matwarden.alarm import Alarm
from matwarden.core.alarm_states import TABLE, AlarmEvent
from matwarden.core.alarm_table import COLD, CUT_OUT, HEAT_WHILE_CUT
from matwarden.core.alarm_words import Facts
from matwarden.events import AlarmChanged, Event, PushAsked, Remember
from matwarden.terms import AlarmState, AlarmTimes, At, Band, Unit

S, E = AlarmState, AlarmEvent
_TIMES = AlarmTimes(120.0, 120.0, 120.0, 60.0, 0.5, ring_again_s=300.0, second_after_s=600.0)
_MOST_S = 3600.0
_KEPT_S = 60.0  # a delay in progress is kept this often
_FACTS = Facts("Oak", Unit.C, Band(22.2, 27.8), 21.0)
# In one look: a delay completes, a shelf ends, a suppression begins or ends. None of them: nothing of that kind.
_LOOK = ((E.ACTIVE, E.CLEAR), (E.UNSHELVE,), (E.SUPPRESS, E.UNSUPPRESS))


def _reached(states: set[AlarmState], events: tuple[AlarmEvent, ...]) -> set[AlarmState]:
    """Where the rows of the table lead from these states by one of these events."""
    return {row.to for row in TABLE if row.state in states and row.event in events}


def _by_a_look(state: AlarmState) -> set[AlarmState]:
    states = {state}
    for events in _LOOK:
        states |= _reached(states, events)
    return states


class Life(RuleBasedStateMachine):
    """One alarm, and what must be true of what it tells."""

    @initialize(spec=st.sampled_from([COLD, HEAT_WHILE_CUT, CUT_OUT]))
    def begin(self, spec: Any) -> None:
        self.spec = spec
        self.mono_s, self.wall_s = 0.0, 1_768_582_800.0
        self.kept: dict[str, Any] = {}
        self.alarm = Alarm(spec, "oak", "oak", _TIMES, {}, self.at)
        self.state = S.NORMAL
        self.owed = False  # an announcement that nobody has been called about yet
        self.acknowledged = False
        self.shelved_for_s: float | None = None

    @property
    def at(self) -> At:
        return At(self.mono_s, self.wall_s)

    @rule(
        condition=st.sampled_from([True, True, True, False, False, None]),
        suppress=st.sampled_from([False, False, False, True]),
        dt_s=st.sampled_from([10.0, 60.0, 130.0, 400.0]),
        times=st.integers(1, 4),
    )
    def look(self, condition: bool | None, suppress: bool, dt_s: float, times: int) -> None:
        for _ in range(times):
            self._look(condition, suppress, dt_s)

    def _look(self, condition: bool | None, suppress: bool, dt_s: float) -> None:
        self.mono_s += dt_s
        self.wall_s += dt_s
        if self.shelved_for_s is not None:
            self.shelved_for_s -= dt_s
        before = self.state
        events: list[Event] = []
        self.alarm.look(condition, suppress, self.at, dt_s, None, _FACTS, events)
        self._took(events, _by_a_look(before))
        starts = [e for e in events if isinstance(e, PushAsked) and f"/{S.UNACKNOWLEDGED.value}/" in e.key]
        first = [push for push in starts if len(push.key.split("/")) == 4]
        if not self.alarm.memory.active:
            self.acknowledged = False
        assert not (self.acknowledged and starts), "what was acknowledged rang before it returned"
        announced = self.state is S.UNACKNOWLEDGED and self.owed
        assert len(first) == announced, "each announcement asks for exactly one first push"
        assert len(starts) <= 1
        self.owed = False
        assert self.state is not S.SHELVED or (self.shelved_for_s or 0.0) > -1e-6, "the shelf outlived its time"

    @rule()
    def acknowledge(self) -> None:
        if self.alarm.memory.active:
            self.acknowledged = True
        self._verb(E.ACKNOWLEDGE, self.alarm.acknowledge(self.at, "keeper"))

    @rule(for_s=st.sampled_from([60.0, 900.0, _MOST_S, None]))
    def shelve(self, for_s: float | None) -> None:
        events = self.alarm.shelve(self.at, "keeper", for_s, _MOST_S)
        self._verb(E.SHELVE, events)
        if events:
            self.shelved_for_s = _MOST_S if for_s is None else for_s

    @rule()
    def unshelve(self) -> None:
        self._verb(E.UNSHELVE, self.alarm.unshelve(self.at, "keeper"))

    @rule()
    def take_out(self) -> None:
        self._verb(E.TAKE_OUT, self.alarm.take_out_of_service(self.at, "keeper"))

    @rule()
    def put_back(self) -> None:
        self._verb(E.PUT_BACK, self.alarm.return_to_service(self.at, "keeper"))

    @rule()
    def reset(self) -> None:
        memory = self.alarm.memory
        events = self.alarm.reset(self.at, "keeper")
        self._verb(E.RESET, events)
        assert not events or (memory.known and not memory.condition), "a reset needs a condition known to be over"

    @rule(away_s=st.sampled_from([0.0, 5.0, 2000.0, -86400.0]))
    def restart(self, away_s: float) -> None:
        """Killed, and back with the clock where it may be: a shelf may win no more than what is not kept yet."""
        self.wall_s += away_s
        remembered = {f"alarm/{self.alarm.id}": json.loads(json.dumps(self.kept))} if self.kept else {}
        self.alarm = Alarm(self.spec, "oak", "oak", _TIMES, remembered, self.at)
        if self.shelved_for_s is not None:
            self.shelved_for_s += _KEPT_S if away_s < 0.0 else 0.0
        assert self.alarm.memory.state is self.state

    def _verb(self, verb: AlarmEvent, events: list[Event]) -> None:
        assert not [e for e in events if isinstance(e, PushAsked) and f"/{S.UNACKNOWLEDGED.value}/" in e.key]
        changes = [e for e in events if isinstance(e, AlarmChanged)]
        assert all(change.by == "keeper" for change in changes)
        self._took(events, _reached({self.state}, (verb,)))

    def _took(self, events: list[Event], may_be: set[AlarmState]) -> None:
        """Follow what was told; no state is reached that the table does not lead to, none without being told."""
        changes = [e for e in events if isinstance(e, AlarmChanged)]
        assert len(changes) <= 1
        for change in changes:
            assert change.previous is self.state
            assert change.state in may_be, f"{change.previous} -> {change.state} is not in the table"
            self.state = change.state
            self.owed = self.state is S.UNACKNOWLEDGED
        assert self.alarm.memory.state is self.state
        for event in events:
            if isinstance(event, Remember):
                self.kept = dict(event.value)
        if self.state is not S.SHELVED:
            self.shelved_for_s = None


TestLife = Life.TestCase
TestLife.settings = settings(
    max_examples=150, stateful_step_count=40, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
