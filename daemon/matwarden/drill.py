"""A drill: the real station on a keeper's own settings, with a simulated tub, and a fault. On a simulated clock.

The tub first lives without the fault until it has come to its rhythm, and shows when the fault would strike worst. Then
it lives through the same again, to the same hundredth of a degree, and the fault strikes. Nothing outside of a
directory of its own is opened: no device, no broker, no push target, no socket, and not the keeper's record.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from matwarden.core.drill_outcome import Look, Outcome, outcome_of, strike_at
from matwarden.core.fault_catalogue import NOTHING, FaultCase
from matwarden.devices import OpenDevices
from matwarden.drill_settings import drill_settings, fault_terms, reads_inside
from matwarden.events import AlarmChanged, Event, Notice, Readings, VerdictChanged
from matwarden.rehearsal import Rehearsal
from matwarden.settings.resolved import FittedTwin, RoomFormula, RoomSeries, Settings, Twin
from matwarden.sinks.push_terms import PushTarget
from matwarden.terms import Enclosure, Role

__all__ = ["WATCHED_S", "Drill", "Drilled", "Plan", "Pushed"]

WATCHED_S = 24 * 3600.0
# A room that does not change: so long until the tub has its rhythm, and so long the worst moment is looked for.
SETTLED_S = 8 * 3600.0
SOUGHT_S = 4 * 3600.0
_NEAR_S = 1800.0


class Plan(NamedTuple):
    """In which room, and when. Seconds from the start.

    Attributes:
        start_wall_s: UTC seconds at the start.
        from_s, until_s: the fault strikes between these. ends_s: nothing is known of the room after that.
    """

    room: RoomFormula | RoomSeries
    start_wall_s: float
    from_s: float
    until_s: float
    ends_s: float


class Pushed(NamedTuple):
    """What a phone would have got: when, in seconds from the start, which targets, and the words."""

    t_s: float
    targets: tuple[str, ...]
    title: str
    body: str
    priority: str


@dataclass(frozen=True, slots=True)
class Drilled:
    """One fault, and what came of it. Times are seconds from the start of the drill.

    Attributes:
        struck: the probe's id, or empty. heated: the mat was on when it struck.
        looks: how the tub truly was, every few seconds. read: what its probes were taken to read, by probe.
        why: the last verdict in words; None without a mat.
    """

    case: FaultCase
    struck: str
    struck_s: float
    struck_wall_s: float
    ends_s: float
    heated: bool
    looks: tuple[Look, ...]
    read: dict[str, list[tuple[float, float]]]
    verdicts: tuple[VerdictChanged, ...]
    alarms: tuple[AlarmChanged, ...]
    pushes: tuple[Pushed, ...]
    warnings: tuple[Notice, ...]
    outcome: Outcome

    @property
    def told(self) -> Pushed | None:
        """The first push after the fault; None: nobody was told."""
        return next((push for push in self.pushes if push.t_s >= self.struck_s), None)


@dataclass(slots=True)
class _Ear:
    """Keeps what is told."""

    name: str = "drill"
    verdicts: list[VerdictChanged] = field(default_factory=list)
    alarms: list[AlarmChanged] = field(default_factory=list)
    warnings: list[Notice] = field(default_factory=list)
    read: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    pushes: list[Pushed] = field(default_factory=list)

    def accept(self, events: Sequence[Event]) -> None:
        for event in events:
            if isinstance(event, VerdictChanged):
                self.verdicts.append(event)
            elif isinstance(event, AlarmChanged):
                self.alarms.append(event)
            elif isinstance(event, Notice) and event.warning:
                self.warnings.append(event)
            elif isinstance(event, Readings):
                for reading in event.taken:
                    self.read.setdefault(reading.probe, []).append((reading.at.mono_s, reading.temperature_c))

    def push(self, t_s: float, target: PushTarget, title: str, body: str, priority: str) -> None:
        """Taken in place of a target. The same push to another target is the same ring."""
        last = self.pushes[-1] if self.pushes else None
        if last is not None and (last.t_s, last.title, last.body) == (t_s, title, body):
            self.pushes[-1] = last._replace(targets=(*last.targets, target.name))
        else:
            self.pushes.append(Pushed(t_s, (target.name,), title, body, priority))

    def close(self) -> None:
        """Nothing to release."""


class Drill:
    """The drills of one tub. The run without a fault is made once.

    Args:
        tub: what it is simulated by.
        strikes: at which second a fault strikes, and whether the mat is on then; None: where it is worst for this tub.

    Raises:
        DriverError: a tub that cannot be simulated. StoreError: the drill's own record cannot be written.
    """

    def __init__(
        self,
        settings: Settings,
        enclosure: Enclosure,
        tub: Twin | FittedTwin,
        plan: Plan,
        open_devices: OpenDevices,
        watched_s: float = WATCHED_S,
        strikes: tuple[float, bool] | None = None,
    ) -> None:
        self._settings = settings
        self._enclosure = enclosure
        self._tub = tub
        self._plan = plan
        self._open = open_devices
        self._watched_s = watched_s
        if strikes is None:
            _, looks = self._live(NOTHING, None, plan.until_s)
            at, heated = strike_at(looks, plan.from_s, plan.until_s)
            strikes = (at.t_s, heated)
        self.strikes = strikes

    def on(self, tub: Twin | FittedTwin) -> Drill:
        """The same drills on another tub, struck in the same hour, where its own rhythm makes that worst."""
        struck_s, plan = self.strikes[0], self._plan
        near = plan._replace(from_s=max(plan.from_s, struck_s - _NEAR_S), until_s=min(plan.until_s, struck_s + _NEAR_S))
        return Drill(self._settings, self._enclosure, tub, near, self._open, self._watched_s)

    def of(self, case: FaultCase) -> Drilled:
        """What this fault would do."""
        enclosure, (struck_s, heated) = self._enclosure, self.strikes
        ends_s = min(self._plan.ends_s, struck_s + self._watched_s)
        ear, looks = self._live(case, struck_s, ends_s)
        terms = fault_terms(case, enclosure, struck_s)
        limiter_c = None if enclosure.mat is None else enclosure.mat.limiter_c
        return Drilled(
            case=case,
            struck=terms.subject if terms is not None and case.role is not None else "",
            struck_s=struck_s,
            struck_wall_s=self._plan.start_wall_s + struck_s,
            ends_s=ends_s,
            heated=heated,
            looks=tuple(looks),
            read=ear.read,
            verdicts=tuple(ear.verdicts),
            alarms=tuple(ear.alarms),
            pushes=tuple(ear.pushes),
            warnings=tuple(ear.warnings),
            outcome=outcome_of(looks, struck_s, enclosure.band, limiter_c),
        )

    def _live(self, case: FaultCase, struck_s: float | None, ends_s: float) -> tuple[_Ear, list[Look]]:
        """One life of the tub from the beginning on."""
        with TemporaryDirectory(prefix="matwarden-drill-") as name:
            settings = self._made(Path(name), case, struck_s)
            ear = _Ear()
            looks: list[Look] = []

            def sent(target: PushTarget, title: str, body: str, priority: str, wall_s: float, picture: object) -> None:
                ear.push(run.clock.monotonic_s(), target, title, body, priority)

            run = Rehearsal(settings, self._open, [ear], sender=sent)
            after = self._watcher(run, looks)
            try:
                if struck_s is not None:
                    run.run_until(struck_s, after)
                    if case.clock_s:
                        run.clock.step_wall(case.clock_s)
                run.run_until(ends_s, after)
            finally:
                run.close()
        return ear, looks

    def _made(self, directory: Path, case: FaultCase, struck_s: float | None) -> Settings:
        plan, enclosure = self._plan, self._enclosure
        room = plan.room
        start_c = room.mean_c if isinstance(room, RoomFormula) else room.points[0][1]
        if enclosure.mat is not None:
            start_c = max(start_c, enclosure.mat.setpoint_c)
        settings = drill_settings(
            self._settings, enclosure, self._tub, plan.room, plan.start_wall_s, start_c, directory
        )
        terms = None if struck_s is None else fault_terms(case, enclosure, struck_s)
        if terms is None or settings.simulation is None:
            return settings
        return replace(settings, simulation=replace(settings.simulation, faults=(terms,)))

    def _watcher(self, run: Rehearsal, looks: list[Look]) -> Callable[[float], None]:
        shelf, tub = run.devices.shelf, self._enclosure.id
        assert shelf is not None
        in_substrate = reads_inside(self._enclosure) is Role.SUBSTRATE

        def after(now_s: float) -> None:
            there = shelf.temperatures_c(tub)
            inside_c = there.substrate_c if in_substrate else there.air_c
            looks.append(Look(now_s, there.wall_c, inside_c, shelf.room_c(), shelf.heat_w(tub) > 0.0))

        return after
