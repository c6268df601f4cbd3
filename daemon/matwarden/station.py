"""The heart of the shell: sample, judge, act, tell. One thread, on the monotonic clock.

Laws: every relay is driven to its verdict before anybody is told anything; telling never blocks (each sink has a queue
of its own behind `tell`); an error while telling never stops the guarding, an error while guarding cuts every relay.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

from matwarden.alarm import Alarm
from matwarden.alarm_keeper import Guarding, RoomAlarms, TubAlarms
from matwarden.clocks import Clock
from matwarden.events import ClockStepped, Event, Notice, Readings, Refused, Started
from matwarden.guard_keeper import GuardKeeper
from matwarden.house_alarms import HouseAlarms
from matwarden.peer_keeper import PeerAlarms
from matwarden.permit_keeper import PermitKeeper
from matwarden.pollers import Capture, Poller
from matwarden.probe_keeper import ProbeKeeper
from matwarden.terms import AlarmTimes, At, Enclosure, ProbeTerms, Quality, Reading, Role, Seen, Unit
from matwarden.together_keeper import TogetherAlarms
from matwarden_hardware.ports import Relay

__all__ = ["Station", "Tub"]

# Under this a difference between the clocks is the time server's slewing and rounding, not a step.
STEP_S = 1.0
_MANY = "many tubs"


class Tub:
    """One enclosure as the station keeps it."""

    def __init__(
        self,
        enclosure: Enclosure,
        relay: Relay | None,
        unit: Unit,
        remembered: Mapping[str, Mapping[str, Any]],
        at: At,
    ) -> None:
        self.enclosure = enclosure
        self.probes = [ProbeKeeper(terms, at.mono_s) for terms in enclosure.probes]
        self._of_role = {
            role: [probe for probe in self.probes if probe.terms.role is role]
            for role in (Role.WALL, Role.AIR, Role.SUBSTRATE)
        }
        self._views = [(probe.terms.id, probe.view) for probe in self.probes]
        self._wall, self._air, self._other = (
            [probe.terms.id for probe in self._of_role[role]] for role in (Role.WALL, Role.AIR, Role.SUBSTRATE)
        )
        self._introduce_neighbours()
        self.alarms = TubAlarms(enclosure, unit, remembered, at)
        self._airs = [probe for probe in self.probes if probe.terms.id in self.alarms.dry.probes]
        self.guard: GuardKeeper | None = None
        if enclosure.mat is not None and relay is not None:
            kept = remembered.get(f"guard/{enclosure.id}", {})
            self.guard = GuardKeeper(enclosure, enclosure.mat, relay, unit, kept, at)
        self.seen: dict[str, Seen] = {}

    def decide(self, at: At) -> list[Event]:
        """See what every probe says now, and let the guard act on it."""
        now_s = at.mono_s
        seen = {name: view(now_s) for name, view in self._views}
        self.seen = seen
        if self.guard is None:
            return []
        wall, air, other = (
            tuple([seen[name] for name in self._wall]),
            tuple([seen[name] for name in self._air]),
            tuple([seen[name] for name in self._other]),
        )
        return self.guard.decide(wall, air, other, at)

    def tell_alarms(self, at: At, together: frozenset[str]) -> list[Event]:
        """Look at the alarms, after the guard has acted. `together`: conditions that many tubs ring for as one."""
        guard, airs = self.guard, [probe.latest for probe in self._airs]
        if guard is None:
            return self.alarms.look(self.seen, None, at, together, airs)
        tripped = guard.tripped
        why = guard.trip_words() if tripped else ""
        guarding = Guarding(guard.verdict.allowed, tripped, guard.relay_fault, why, guard.operations)
        return self.alarms.look(self.seen, guarding, at, together, airs)

    def _introduce_neighbours(self) -> None:
        # Whose movement shows that a probe is stuck: another one of its role, else the next nearest thing. Damp
        # substrate may honestly keep still to a tenth of a degree for hours while the air above it swings.
        for probe in self.probes:
            role = probe.terms.role
            if role is Role.SUBSTRATE:
                continue
            order = [role, Role.AIR, Role.WALL] if role is not Role.AIR else [role, Role.WALL]
            others = [other for near in order for other in self._of_role[near] if other is not probe]
            probe.neighbour = others[0] if others else None


class Station:
    """Everything that is watched and guarded, and the loop that does it.

    Args:
        relays: by enclosure id, for each enclosure with a mat; already open, and cut.
        tell: takes the events of a cycle; must not block.
        remembered: what survived the last run, by `Remember` key.
        judge_every_s: how often everything is judged anew even if no reading comes in.
        version: for the `Started` event.
        house_alarms: the alarms of no tub; None: nobody is told of them.
        permit: pulsed at the end of each complete cycle; None: there is none.
        together: the alarms of many tubs at once; None: each rings for itself.
        peers: the alarms of other stations; None: none is watched.
    """

    def __init__(
        self,
        enclosures: Sequence[Enclosure],
        room_probes: Sequence[ProbeTerms],
        unit: Unit,
        poller: Poller,
        relays: Mapping[str, Relay],
        clock: Clock,
        tell: Callable[[list[Event]], None],
        remembered: Mapping[str, Mapping[str, Any]],
        *,
        wake: threading.Event | None = None,
        judge_every_s: float = 1.0,
        version: str = "",
        room_alarm_times: AlarmTimes | None = None,
        house_alarms: HouseAlarms | None = None,
        permit: PermitKeeper | None = None,
        together: TogetherAlarms | None = None,
        peers: PeerAlarms | None = None,
    ) -> None:
        at = clock.now()
        self._clock = clock
        self._poller = poller
        self._tell = tell
        self._judge_every_s = judge_every_s
        self.wake = wake or threading.Event()
        self._stopping = threading.Event()
        self._ahead_s = at.wall_s - at.mono_s
        self._calls: deque[Callable[[At], list[Event]]] = deque()
        self.tubs = {e.id: Tub(e, relays.get(e.id), unit, remembered, at) for e in enclosures}
        self.room = [ProbeKeeper(terms, at.mono_s) for terms in room_probes]
        times = room_alarm_times or AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5)
        self.room_alarms = [RoomAlarms(terms, times, unit, remembered, at) for terms in room_probes]
        self.house_alarms = house_alarms
        self._permit = permit
        self.together = together
        self.peers = peers
        self._keepers = {p.terms.id: p for tub in self.tubs.values() for p in tub.probes}
        self._keepers.update({p.terms.id: p for p in self.room})
        self._guards = [tub.guard for tub in self.tubs.values() if tub.guard is not None]
        self._unheard = set(self._keepers)
        self._alarms_failing: set[str] = set()
        self.cycles = 0
        self.started_at = at
        self.last_at = at
        tell([Started(at, version)])

    @property
    def all_heard(self) -> bool:
        """Every probe has answered once, or missed its deadline once."""
        return not self._unheard

    def alarms(self) -> list[Alarm]:
        """Every alarm that this station can have; those of no tub first."""
        found = [] if self.together is None else list(self.together.alarms.values())
        found += [] if self.house_alarms is None else self.house_alarms.alarms
        found += [] if self.peers is None else self.peers.alarms
        found += [alarm for tub in self.tubs.values() for alarm in tub.alarms.alarms]
        return found + [alarm for room in self.room_alarms for alarm in room.alarms]

    def alarm_ids(self) -> set[str]:
        """The id of each."""
        return {alarm.id for alarm in self.alarms()}

    def cycle(self) -> float:
        """One complete cycle; returns the monotonic time at which the next one is due at the latest."""
        at = self._clock.now()
        events: list[Event] = []
        ahead_s = at.wall_s - at.mono_s
        step_s = 0.0
        if abs(ahead_s - self._ahead_s) >= STEP_S:
            step_s = ahead_s - self._ahead_s
            events.append(ClockStepped(at, step_s))
            self._ahead_s = ahead_s
            for guard in self._guards:
                guard.clock_stepped()
        captures = self._poller.poll(at.mono_s)
        if captures:
            self._take(captures, at, events)
        for tub in self.tubs.values():
            events += tub.decide(at)
        # From here on every relay stands as it should; what follows only tells.
        self._look_at_alarms(at, step_s, events)
        self._answer_calls(at, events)
        if events:
            self._tell(events)
        if self._permit is not None:
            # Last of all: whatever keeps a cycle from coming to here keeps the permit still.
            events = self._permit.cycle_done(self._guards, at)
            if events:
                self._tell(events)
        self.cycles += 1
        self.last_at = at
        return min(at.mono_s + self._judge_every_s, self._poller.next_due_s())

    def run(self, after_cycle: Callable[[], None] = lambda: None) -> None:
        """Cycle until `stop`; the relays are cut on every way out.

        Args:
            after_cycle: called at the end of each complete cycle, for the watchdog.
        """
        try:
            while not self._stopping.is_set():
                due_s = self.cycle()
                after_cycle()
                self._clock.wait(due_s, self.wake)
        finally:
            self.cut_all()
            if self._permit is not None:
                self._permit.close()

    def stop(self) -> None:
        """Ask the loop to end. Safe from any thread and from a signal handler."""
        self._stopping.set()
        self.wake.set()

    def call(self, action: Callable[[At], list[Event]]) -> None:
        """Have `action` done in the station's own thread, at the end of the next cycle."""
        self._calls.append(action)
        self.wake.set()

    def cut_all(self) -> None:
        """Cut every relay now."""
        for guard in self._guards:
            guard.cut()

    def close(self) -> list[str]:
        """Cut, release relays and probes. Says of each relay that is not known to be cut whose it is, and why."""
        uncut = []
        for tub in self.tubs.values():
            why = "" if tub.guard is None else tub.guard.close()
            if why:
                uncut.append(f"{tub.enclosure.id}: {why}")
        if self._permit is not None:
            self._permit.close()
        self._poller.close()
        return uncut

    def _answer_calls(self, at: At, events: list[Event]) -> None:
        for _ in range(len(self._calls)):  # whoever asks meanwhile waits for the next cycle
            try:
                events += self._calls.popleft()(at)
            except Exception as error:  # our bug; whoever asked gets no answer, the guarding goes on
                events.append(Notice(at, f"internal error while answering: {error!r}", warning=True))

    def _take(self, captures: list[Capture], at: At, events: list[Event]) -> None:
        taken: list[Reading] = []
        if self._unheard:
            self._unheard.difference_update(capture.probe for capture in captures)
        for capture in captures:
            keeper = self._keepers[capture.probe]
            judged = keeper.take(capture, at)
            if judged.quality is Quality.GOOD:
                assert keeper.latest is not None
                taken.append(keeper.latest)
                if judged.moved:
                    text = f"probe {capture.probe}: its jump has been confirmed by further readings; taken as moved"
                    events.append(Notice(at, text, warning=False))
            else:
                events.append(Refused(at, capture.probe, judged.quality, judged.why))
        if taken:
            events.append(Readings(at, tuple(taken)))

    def _look_at_alarms(self, at: At, step_s: float, events: list[Event]) -> None:
        standing: frozenset[str] = frozenset()
        if self.together is not None:
            events += self._contained(_MANY, partial(self._look_at_many, self.together, at), at)
            # A bug there must silence no tub: what cannot be told for all is told for each.
            if _MANY not in self._alarms_failing:
                standing = self.together.standing
        for tub in self.tubs.values():
            events += self._contained(tub.enclosure.id, partial(tub.tell_alarms, at, standing), at)
        for keeper, alarms in zip(self.room, self.room_alarms, strict=True):
            events += self._contained(keeper.terms.id, partial(alarms.look, keeper.view(at.mono_s), at), at)
        if self.house_alarms is not None:
            events += self._contained("the house", partial(self.house_alarms.look, at, step_s), at)
        if self.peers is not None:
            events += self._contained("other stations", partial(self.peers.look, at), at)

    def _look_at_many(self, together: TogetherAlarms, at: At) -> list[Event]:
        for tub in self.tubs.values():
            tub.alarms.glance(tub.seen, at.mono_s)
        return together.look([tub.alarms for tub in self.tubs.values()], self._room_c(at), at)

    def _room_c(self, at: At) -> float | None:
        views = (keeper.view(at.mono_s) for keeper in self.room)
        return next((view.value_c for view in views if view.quality is Quality.GOOD), None)

    def _contained(self, whose: str, look: Callable[[], list[Event]], at: At) -> list[Event]:
        try:
            found = look()
        except Exception as error:  # our bug; the guards have acted and must go on
            # Once for each spell: a cycle comes every second.
            if whose in self._alarms_failing:
                return []
            self._alarms_failing.add(whose)
            text = f"internal error while looking at the alarms of {whose}: {error!r}"
            return [Notice(at, text, warning=True)]
        self._alarms_failing.discard(whose)
        return found
