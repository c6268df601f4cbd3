"""The guard's invariants on the running station, seen from outside, under random faults, restarts, clocks and people.

What is looked at: the samples as the probes delivered them, the level of the relay's line, and what was told. No rule
of the guard is asked about itself. MATWARDEN_HYPOTHESIS=long plays many more, and random, games.
"""

from __future__ import annotations

import os
from typing import NamedTuple

from hypothesis import HealthCheck, Phase, event, example, given, note, settings
from hypothesis import strategies as st

from helpers_station import ALARMS, MAT, POLL_S, STALE_S, START_WALL_S, WatchedProbe, WatchedRelay, probe
from helpers_witness import Witness
from matwarden.clocks import SimulatedClock
from matwarden.events import Event
from matwarden.guard_keeper import GuardKeeper
from matwarden.pollers import InlinePoller
from matwarden.station import Station
from matwarden.terms import At, Band, Enclosure, Reason, Role, Unit
from matwarden_hardware.ports import Probe, Sample
from matwarden_hardware.twin import ROOM, DailyRoom, Fault, FaultKind, Node, Shelf, TubPhysics, TwinProbe, TwinRelay

_LONG = os.environ.get("MATWARDEN_HYPOTHESIS") == "long"
_GAME_S = 3 * 3600.0
_JUDGE_S = 5.0
_PROBES = ("oak-wall", "oak-air", "oak-substrate")
_NODES = {"oak-wall": Node.WALL, "oak-air": Node.AIR, "oak-substrate": Node.SUBSTRATE}
_OAK = Enclosure(
    "oak",
    "Oak",
    Band(22.2, 27.8),
    tuple(probe(name, Role(name.partition("-")[2])) for name in _PROBES),
    MAT,
    ALARMS,
)


class _Break(NamedTuple):
    kind: FaultKind
    subject: str
    amount: float
    for_s: float | None
    place: str = ""


class _Garble(NamedTuple):
    """A probe delivers something that cannot be."""

    probe: str
    sample: Sample
    for_s: float


class _Restart(NamedTuple):
    pass


class _StepClock(NamedTuple):
    by_s: float


class _Hold(NamedTuple):
    for_s: float


class _Release(NamedTuple):
    pass


class _Reset(NamedTuple):
    pass


_Move = _Break | _Garble | _Restart | _StepClock | _Hold | _Release | _Reset
_Game = list[tuple[float, _Move]]

_AMOUNTS = {
    FaultKind.PROBE_OFFSET: st.sampled_from([-8.0, -2.0, 1.0, 3.0, 5.0, 8.0]),
    FaultKind.PROBE_DRIFT: st.sampled_from([-30.0, 5.0, 30.0, 100.0]),
    FaultKind.PROBE_NOISE: st.sampled_from([0.1, 0.5, 3.0]),
    FaultKind.PROBE_SPIKE: st.sampled_from([-20.0, 2.0, 5.0, 40.0, 80.0]),
    FaultKind.MAT_POWER: st.sampled_from([0.0, 0.5, 2.0, 4.0]),
    FaultKind.LID_OFF: st.sampled_from([3.0, 10.0]),
    FaultKind.MAT_COVERED: st.sampled_from([0.1, 0.3]),
    FaultKind.ROOM_OFFSET: st.sampled_from([-10.0, 6.0, 10.0, 15.0]),
}


def _breaks(kind: FaultKind) -> st.SearchStrategy[_Move]:
    subjects = st.sampled_from(_PROBES) if kind.of_probe else st.just(ROOM if kind is FaultKind.ROOM_OFFSET else "oak")
    lasts = st.sampled_from([10.0, 30.0, 120.0, 1200.0, 7200.0, None])
    places = st.sampled_from([ROOM, "oak/wall", "oak/air", "oak/substrate"])
    place = places if kind is FaultKind.PROBE_ELSEWHERE else st.just("")
    return st.builds(_Break, st.just(kind), subjects, _AMOUNTS.get(kind, st.just(0.0)), lasts, place)


_GARBAGE = [
    Sample(float("nan")),
    Sample(float("inf")),
    Sample(float("-inf")),
    Sample(0.0, 0.0),
    Sample(-127.0),
    Sample(85.0, None, at_power_on_value=True),
    Sample(25.0, None, at_power_on_value=True),
    Sample(3276.7),
]
# What heats beyond all limits is rarer among the kinds than it is interesting.
_HEATING = [FaultKind.RELAY_WELDED, FaultKind.RELAY_WELDED, FaultKind.ROOM_OFFSET, FaultKind.PROBE_OFFSET]
_FAULTS: st.SearchStrategy[_Move] = st.sampled_from([*FaultKind, *_HEATING]).flatmap(_breaks)
_GARBLES = st.builds(_Garble, st.sampled_from(_PROBES), st.sampled_from(_GARBAGE), st.sampled_from([10.0, 40.0, 300.0]))
_STEPS = st.builds(_StepClock, st.sampled_from([-400 * 86400.0, -21600.0, -30.0, 90.0, 21600.0, 400 * 86400.0]))
_PEOPLE = st.one_of(
    st.builds(_Hold, st.sampled_from([60.0, 900.0, 7200.0, 1e6])), st.builds(_Release), st.builds(_Reset)
)


def _games(*moves: st.SearchStrategy[_Move]) -> st.SearchStrategy[_Game]:
    """Moves with their times, in order."""
    times = st.integers(0, int(_GAME_S / _JUDGE_S) - 1).map(lambda n: n * _JUDGE_S)
    moments = st.tuples(times, st.one_of(*moves))
    return st.lists(moments, min_size=4, max_size=16).map(lambda game: sorted(game, key=lambda moment: moment[0]))


class _GarblingProbe:
    """A probe that can be made to deliver what cannot be."""

    def __init__(self, probe: Probe, clock: SimulatedClock) -> None:
        self._probe = probe
        self._clock = clock
        self.garbage: tuple[Sample, float] | None = None

    def read(self) -> Sample:
        if self.garbage is not None and self._clock.monotonic_s() < self.garbage[1]:
            return self.garbage[0]
        return self._probe.read()

    def close(self) -> None:
        self._probe.close()


class _World:
    """One tub with three probes on a simulated shelf, quick to warm and to cool, and a witness."""

    def __init__(self) -> None:
        self.clock = clock = SimulatedClock(START_WALL_S)
        physics = TubPhysics(substrate_j_per_k=900.0)
        self.shelf = Shelf({"oak": physics}, DailyRoom(19.0), clock.monotonic_s, start_c=24.0, seed=1)
        self.garblers = {
            name: _GarblingProbe(TwinProbe(self.shelf, name, "oak", node, noise_k=0.02), clock)
            for name, node in _NODES.items()
        }
        self.probes = {name: WatchedProbe(each, clock.monotonic_s) for name, each in self.garblers.items()}
        self.relay = WatchedRelay(TwinRelay(self.shelf, "oak"), clock.monotonic_s)
        self.witness = Witness(self.probes, self.relay, MAT, STALE_S, POLL_S)
        self.station = self._start()

    def play(self, game: _Game) -> None:
        """Make every move at its time, for the length of a game."""
        waiting = list(game)
        while (now_s := self.clock.monotonic_s()) < _GAME_S:
            while waiting and waiting[0][0] <= now_s:
                self._make(waiting.pop(0)[1])
            self.cycle()

    def cycle(self) -> None:
        due_s = self.station.cycle()
        self.witness.after_cycle(self.clock.monotonic_s(), self.guard().why())
        self.clock.wait(due_s, self.station.wake)

    def guard(self) -> GuardKeeper:
        guard = self.station.tubs["oak"].guard
        assert guard is not None
        return guard

    def mend_everything(self) -> None:
        for kind in FaultKind:
            for subject in (*_PROBES, "oak", ROOM):
                self.shelf.mend(subject, kind)
        for garbler in self.garblers.values():
            garbler.garbage = None

    def ask(self, move: _Hold | _Release | _Reset) -> None:
        """What a person at the shelf asks, as the control socket would hand it on."""

        def act(at: At) -> list[Event]:
            if isinstance(move, _Hold):
                self.witness.held(move.for_s, at.mono_s)
                return self.guard().hold(move.for_s, at)
            if isinstance(move, _Release):
                self.witness.released()
                return self.guard().release(at)
            events, refused = self.guard().reset(at)
            if not refused:
                self.witness.reset_granted()
            return events

        self.station.call(act)

    def _make(self, move: _Move) -> None:
        now_s = self.clock.monotonic_s()
        if isinstance(move, _Break):
            until_s = None if move.for_s is None else now_s + move.for_s
            self.shelf.inject(Fault(now_s, until_s, move.kind, move.subject, move.amount, move.place))
        elif isinstance(move, _Garble):
            self.garblers[move.probe].garbage = (move.sample, now_s + move.for_s)
        elif isinstance(move, _Restart):
            self.station.cut_all()
            self.station = self._start()
            self.witness.restarted()
        elif isinstance(move, _StepClock):
            self.clock.step_wall(move.by_s)
            self.witness.clock_stepped()
        else:
            self.ask(move)

    def _start(self) -> Station:
        return Station(
            [_OAK],
            (),
            Unit.C,
            InlinePoller(dict(self.probes), {each.id: each for each in _OAK.probes}, self.clock.monotonic_s()),
            {"oak": self.relay},
            self.clock,
            self.witness.tell,
            self.witness.kept(),
            judge_every_s=_JUDGE_S,
        )


_profile = settings(
    max_examples=3000 if _LONG else 100,
    derandomize=not _LONG,
    database=None,
    # A failing game is printed as it was played; making it smaller would take minutes.
    phases=(Phase.explicit, Phase.generate, Phase.shrink) if _LONG else (Phase.explicit, Phase.generate),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


# Games in which every reason there is gets its turn: chance alone may leave one out.
_RUNAWAY: _Game = [(900.0, _Break(FaultKind.RELAY_WELDED, "oak", 0.0, None)), (5400.0, _Restart()), (7200.0, _Reset())]
_HOT_ROOM: _Game = [(900.0, _Hold(1e6)), (3000.0, _Break(FaultKind.ROOM_OFFSET, ROOM, 15.0, None))]
_FALSE_LINE: _Game = [
    (900.0, _Break(FaultKind.RELAY_READBACK_WRONG, "oak", 0.0, 60.0)),
    (1800.0, _StepClock(-21600.0)),
    (1800.0, _Restart()),
    (3600.0, _Reset()),
    (5000.0, _Break(FaultKind.PROBE_SPIKE, "oak-wall", 5.0, None)),
    (6000.0, _Break(FaultKind.PROBE_DEAD, "oak-air", 0.0, 1200.0)),
]
_SHORT_HEAT: _Game = [
    (185.0, _Break(FaultKind.PROBE_DRIFT, "oak-air", 260.0, 60.0)),
    (1200.0, _Hold(60.0)),
    (4000.0, _Break(FaultKind.LID_OFF, "oak", 10.0, 120.0)),
]


def test_the_named_games_reach_every_reason() -> None:
    """No reason of the guard is left out of the games below."""
    reasons = set()
    for game in (_RUNAWAY, _HOT_ROOM, _FALSE_LINE, _SHORT_HEAT):
        world = _World()
        world.play(game)
        reasons |= world.witness.reasons
    assert reasons == set(Reason)


@_profile
@example(_RUNAWAY)
@example(_HOT_ROOM)
@example(_FALSE_LINE)
@example(_SHORT_HEAT)
@given(_games(_FAULTS, _FAULTS, _GARBLES, st.builds(_Restart), _STEPS, _PEOPLE))
def test_the_invariants_hold_from_outside(game: _Game) -> None:
    """Whatever breaks, restarts or is asked: heat only by right, cut at once, latched till reset, back in time."""
    world = _World()
    world.play(game)
    for reason in sorted(world.witness.reasons):
        event(f"reason: {reason}")
    world.mend_everything()
    world.ask(_Release())
    until_s = world.clock.monotonic_s() + 12 * 3600.0
    while not world.relay.level:
        note(world.guard().why())
        assert world.clock.monotonic_s() < until_s, f"never warm again: {world.guard().why()}"
        if world.witness.latched:
            world.ask(_Reset())
        world.cycle()


@settings(_profile, max_examples=300 if _LONG else 10)
@given(_games(_FAULTS, _GARBLES, _STEPS, _STEPS, _PEOPLE))
def test_clock_steps_change_nothing(game: _Game) -> None:
    """The same game without the steps of the wall clock: same switchings, verdicts and alarms, same words."""
    stepped, straight = _World(), _World()
    stepped.play(game)
    straight.play([moment for moment in game if not isinstance(moment[1], _StepClock)])
    assert stepped.relay.switched == straight.relay.switched
    assert stepped.witness.story() == straight.witness.story()
