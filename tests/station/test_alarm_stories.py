"""Days of alarms on the running station, seen from outside: random temperatures, storms, restarts and a keeper.

Nothing of the program is asked about itself: the only witnesses are the temperatures that were set, what was told and
what was asked to be pushed. MATWARDEN_HYPOTHESIS=long plays many more, and random, stories.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from itertools import pairwise
from typing import Any, NamedTuple

from hypothesis import HealthCheck, Phase, event, example, given, note, settings
from hypothesis import strategies as st

from helpers_station import START_WALL_S, HandProbe, probe
from matwarden.clocks import SimulatedClock
from matwarden.events import AlarmChanged, Event, PushAsked, Remember
from matwarden.pollers import InlinePoller
from matwarden.settings.alarm_times import HOUSE_TIMES
from matwarden.station import Station
from matwarden.terms import AlarmState, Band, Enclosure, Priority, Role, Unit
from matwarden.together_keeper import TogetherAlarms
from matwarden_hardware.ports import ProbeError, Sample

_LONG = os.environ.get("MATWARDEN_HYPOTHESIS") == "long"
_POLL_S = 60.0
_NAMES = ("oak", "alder", "hazel", "rowan")
_TUBS = [
    Enclosure(name, name.capitalize(), Band(22.2, 27.8), (probe(f"{name}-air", Role.AIR, poll_s=_POLL_S),), None, times)
    for name in _NAMES
    for times in [HOUSE_TIMES]
]
_S = AlarmState
_SHOWN = (_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED)
_OVER = (_S.NORMAL, _S.RETURNED_UNACKNOWLEDGED, _S.LATCHED_UNACKNOWLEDGED, _S.LATCHED_ACKNOWLEDGED)
# At 21 C and below, and at 29 C and above, an hour is enough for every alarm; two hours leave room for its delays.
_SHELVE_AT_MOST_S, _LONGEST_OFF_S = 4 * 3600.0, 1200.0
_COLD_C, _HOT_C, _SURELY_S = 21.0, 29.0, 7200.0


class _Set(NamedTuple):
    """These tubs have this temperature from now on (None: their probes are silent)."""

    tubs: tuple[str, ...]
    celsius: float | None


class _Acknowledge(NamedTuple):
    """The keeper acknowledges every alarm of this kind that there is."""

    condition: str


class _Shelve(NamedTuple):
    """The keeper puts every alarm of this kind on the shelf for so long (None: for one activation), or takes it off."""

    condition: str
    for_s: float | None
    off: bool = False


class _Restart(NamedTuple):
    """The program ends and starts again; killed: without what was held back for the next commit."""

    off_s: float
    killed: bool


_Move = _Set | _Acknowledge | _Shelve | _Restart
_Story = list[tuple[_Move, float]]

_TEMPERATURES = st.sampled_from([24.0, 22.5, 22.1, 21.0, 19.0, 15.0, 27.9, 29.0, 32.0, None])
_ONE = st.sampled_from(_NAMES).map(lambda name: (name,))
_KINDS = st.sampled_from(["cold", "hot", "blind", "cold-together", "hot-together", "blind-together"])
_MOVES = st.one_of(
    st.builds(_Set, _ONE, _TEMPERATURES),
    st.builds(_Set, st.sampled_from([_NAMES, _NAMES[:3], _NAMES[1:]]), _TEMPERATURES),
    st.builds(_Acknowledge, _KINDS),
    st.builds(_Acknowledge, _KINDS),
    st.builds(_Shelve, _KINDS, st.sampled_from([600.0, 7200.0, None]), st.booleans()),
    st.builds(_Restart, st.sampled_from([0.0, 30.0, _LONGEST_OFF_S]), st.booleans()),
)
_WAITS_S = st.sampled_from([1, 5, 12, 17, 32, 61, 130, 240]).map(lambda minutes: minutes * 60.0)
_STORIES = st.lists(st.tuples(_MOVES, _WAITS_S), min_size=4, max_size=16)


class _House:
    """Four watched tubs through restarts, and everything that was told."""

    def __init__(self, together_n: int) -> None:
        self._together_n = together_n
        self.clock = SimulatedClock(START_WALL_S, 1000.0)
        self.probes = {f"{name}-air": HandProbe(24.0) for name in _NAMES}
        self.told: list[Event] = []
        self.kept: dict[str, Mapping[str, Any]] = {}
        self._held: dict[str, Mapping[str, Any]] = {}
        # Since when each tub has its temperature without a restart or a change.
        self.since: dict[str, tuple[float, float | None]] = dict.fromkeys(_NAMES, (1000.0, 24.0))
        self.set_s: list[float] = []
        self.station = self._start()

    def play(self, move: _Move) -> None:
        if isinstance(move, _Set):
            says = ProbeError("nothing on the bus answers") if move.celsius is None else Sample(move.celsius)
            for name in move.tubs:
                self.probes[f"{name}-air"].says = says
                self.since[name] = (self.clock.monotonic_s(), move.celsius)
            self.set_s.append(self.clock.monotonic_s())
        elif isinstance(move, _Restart):
            if not move.killed:
                self.kept |= self._held
            self._held = {}
            self.clock.wait(self.clock.monotonic_s() + move.off_s, self.station.wake)
            self.station = self._start()
            now_s = self.clock.monotonic_s()
            self.since = {name: (now_s, celsius) for name, (_, celsius) in self.since.items()}
        else:
            at = self.clock.now()
            for alarm in self.station.alarms():
                if alarm.spec.condition != move.condition:
                    continue
                if isinstance(move, _Acknowledge):
                    self._tell(alarm.acknowledge(at, "ada"))
                elif move.off:
                    self._tell(alarm.unshelve(at, "ada"))
                else:
                    self._tell(alarm.shelve(at, "ada", move.for_s, _SHELVE_AT_MOST_S))

    def wait(self, for_s: float) -> None:
        until_s = self.clock.monotonic_s() + for_s
        while self.clock.monotonic_s() < until_s:
            self.clock.wait(self.station.cycle(), self.station.wake)

    def state(self, alarm: str) -> AlarmState:
        """As it was told last."""
        return next((e.state for e in reversed(self.changes(alarm))), _S.NORMAL)

    def changes(self, alarm: str) -> list[AlarmChanged]:
        return [e for e in self.told if isinstance(e, AlarmChanged) and e.alarm == alarm]

    def _tell(self, events: list[Event]) -> None:
        self.told += events
        self._held |= {event.key: event.value for event in events if isinstance(event, Remember)}
        if any(event.durable for event in events):
            self.kept |= self._held
            self._held = {}

    def _start(self) -> Station:
        now = self.clock.now()
        terms = {each.id: each for tub in _TUBS for each in tub.probes}
        remembered = {key: dict(value) for key, value in self.kept.items()}
        together = None
        if self._together_n:
            together = TogetherAlarms("Shelf", Unit.C, self._together_n, HOUSE_TIMES, remembered, now)
        poller = InlinePoller(dict(self.probes), terms, now.mono_s)
        return Station(
            _TUBS, (), Unit.C, poller, {}, self.clock, self._tell, remembered, judge_every_s=_POLL_S, together=together
        )


def _alarms(told: list[Event]) -> list[str]:
    return sorted({event.alarm for event in told if isinstance(event, AlarmChanged)})


def _check_changes(house: _House) -> None:
    """No transition is skipped, over restarts and kills: each begins where the one before ended."""
    for alarm in _alarms(house.told):
        changes = house.changes(alarm)
        assert changes[0].previous is _S.NORMAL, alarm
        assert [(a.state, b.previous) for a, b in pairwise(changes) if a.state is not b.previous] == [], alarm


def _check_pushes(house: _House) -> None:
    """Each announcement is called out once at least and thrice at most, each return told once, nothing else pushed."""
    pushes = [event for event in house.told if isinstance(event, PushAsked)]
    keys = [push.key for push in pushes]
    assert len(keys) == len(set(keys)), "the same push twice"
    accounted = 0
    for alarm in _alarms(house.told):
        mine = [(n, e) for n, e in enumerate(house.told) if isinstance(e, PushAsked) and e.key.startswith(f"{alarm}/")]
        accounted += len(mine)
        stays = [(n, e) for n, e in enumerate(house.told) if isinstance(e, AlarmChanged) and e.alarm == alarm]
        ends = [n for n, _ in stays[1:]] + [len(house.told)]
        first = stays[0][0]
        assert all(n >= first for n, _ in mine), f"{alarm} pushed before it was told"
        for (start, change), end in zip(stays, ends, strict=True):
            within = [push for n, push in mine if start <= n < end]
            calls = [push for push in within if f"{alarm}/{_S.UNACKNOWLEDGED.value}/" in push.key]
            returns = [push for push in within if push not in calls]
            if change.state is _S.UNACKNOWLEDGED:
                _check_calls(alarm, change, calls)
            else:
                assert calls == [], f"{alarm} rings while {change.state.value}"
            due = change.previous in _SHOWN and change.state in _OVER
            assert len(returns) == due, f"{alarm}: {len(returns)} returns at {change.state.value}"
    assert accounted == len(pushes)


def _check_calls(alarm: str, change: AlarmChanged, calls: list[PushAsked]) -> None:
    most = 3 if change.priority is Priority.HIGH else 1
    assert 1 <= len(calls) <= most, f"{alarm}: {len(calls)} calls"
    # What a person's verb announces calls at the next look.
    assert calls[0].at.mono_s - change.at.mono_s <= (_POLL_S if change.by else 0.0)
    assert [call.key.split("/")[4:] for call in calls] == [[], ["2"], ["3"]][: len(calls)]
    for call, after_s in zip(calls, (0.0, 900.0, 1800.0), strict=False):
        assert call.at.mono_s >= change.at.mono_s + after_s, f"{alarm} calls too soon"


def _check_acknowledged(house: _House) -> None:
    """What was acknowledged does not ring again until it has returned; on a shelf it may have, if tubs changed."""
    for alarm in _alarms(house.told):
        seen_s: float | None = None
        for before, change in pairwise(house.changes(alarm)):
            if change.state is _S.UNACKNOWLEDGED and seen_s is not None:
                changed = any(seen_s <= set_s <= change.at.mono_s for set_s in house.set_s)
                hidden = before.state in (_S.SHELVED, _S.SUPPRESSED)
                assert hidden, f"{alarm} rings again although acknowledged"
                assert changed, f"{alarm} rings again when it is shown again"
            if change.state is _S.ACKNOWLEDGED:
                seen_s = change.at.mono_s
            elif change.state in _OVER:
                seen_s = None


def _check_shelves(house: _House) -> None:
    """No shelf outlives the longest time there is; if that ends while the program is off, it ends at the start."""
    for alarm in _alarms(house.told):
        changes = house.changes(alarm)
        ends_s = [change.at.mono_s for change in changes[1:]] + [house.clock.monotonic_s()]
        for change, end_s in zip(changes, ends_s, strict=True):
            if change.state is _S.SHELVED:
                assert end_s - change.at.mono_s <= _SHELVE_AT_MOST_S + _LONGEST_OFF_S + _POLL_S, (
                    f"{alarm} was shelved too long"
                )


def _check_told(house: _House) -> None:
    """None is lost: what has been far out for two hours stands in the list, by itself or with many."""
    now_s = house.clock.monotonic_s()
    for name, (since_s, celsius) in house.since.items():
        if now_s - since_s < _SURELY_S:
            continue
        if celsius is None:
            _stands(house, "blind", name)
        elif celsius <= _COLD_C:
            _stands(house, "cold", name)
        elif celsius >= _HOT_C:
            _stands(house, "hot", name)
        elif celsius == 24.0:
            for condition in ("cold", "hot"):
                state = house.state(f"{condition}/{name}")
                many = house.state(f"{condition}-together/house")
                hidden = state is _S.SHELVED or (state is _S.SUPPRESSED and many in (*_SHOWN, _S.SHELVED))
                assert state in _OVER or hidden, f"{name} is long back: {condition} {state.value}"


def _stands(house: _House, condition: str, name: str) -> None:
    alone, many = house.state(f"{condition}/{name}"), house.state(f"{condition}-together/house")
    # A shelf says that somebody knows.
    told = alone in (*_SHOWN, _S.SHELVED) or (alone is _S.SUPPRESSED and many in (*_SHOWN, _S.SHELVED))
    event(f"{condition} {'alone' if alone in _SHOWN else 'together'}")
    assert told, f"{name} has been {condition} for long: {alone.value}, together {many.value}"


_STORM: _Story = [
    (_Set(_NAMES, 21.0), 130 * 60.0),
    (_Acknowledge("cold-together"), 17 * 60.0),
    (_Restart(1200.0, True), 61 * 60.0),
    (_Set(("rowan",), 24.0), 12 * 60.0),
    (_Set(_NAMES[:2], 24.0), 240 * 60.0),
    (_Acknowledge("cold"), 61 * 60.0),
    (_Set(_NAMES, 24.0), 130 * 60.0),
]
_SHELF: _Story = [
    (_Set(("oak",), 21.0), 130 * 60.0),
    (_Acknowledge("cold"), 5 * 60.0),
    (_Shelve("cold", 7200.0), 61 * 60.0),
    (_Restart(1200.0, True), 130 * 60.0),
    (_Set(("oak",), 24.0), 61 * 60.0),
    (_Shelve("cold", None), 240 * 60.0),
]
_NIGHT: _Story = [
    (_Set(("oak",), 19.0), 17 * 60.0),
    (_Restart(0.0, True), 17 * 60.0),
    (_Restart(30.0, False), 32 * 60.0),
    (_Set(_NAMES, None), 32 * 60.0),
    (_Acknowledge("cold"), 1 * 60.0),
    (_Set(_NAMES, 19.0), 240 * 60.0),
    (_Set(_NAMES, 24.0), 130 * 60.0),
]


@settings(
    max_examples=1500 if _LONG else 60,
    deadline=None,
    derandomize=not _LONG,
    database=None,
    phases=(Phase.explicit, Phase.generate, Phase.shrink),
    suppress_health_check=list(HealthCheck),
)
@given(_STORIES, st.sampled_from([0, 3]))
@example(_STORM, 3)
@example(_SHELF, 0)
@example(_NIGHT, 3)
@example(_NIGHT, 0)
def test_none_is_pushed_twice_and_none_is_lost(story: _Story, together_n: int) -> None:
    """Over any story: no transition skipped, calls and returns once each, none after an acknowledgement, none lost."""
    house = _House(together_n)
    house.wait(300.0)
    for move, wait_s in story:
        note(f"{house.clock.monotonic_s() - 1000.0:.0f} s: {move}, {wait_s / 60:g} min")
        house.play(move)
        house.wait(wait_s)
        _check_told(house)
    _check_changes(house)
    _check_pushes(house)
    _check_acknowledged(house)
    _check_shelves(house)
