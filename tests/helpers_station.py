"""The running station on a bench: probes and relays that a test sets by hand, a clock that jumps, and who is told.

`Bench` is the real station with its real poller over hand-set ports. `house` writes a settings file with a simulated
shelf, and `House` runs the whole program on it, through restarts. `WatchedProbe` and `WatchedRelay` write down what
probes delivered and what a relay's line did.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from matwarden.clocks import SimulatedClock
from matwarden.devices import Devices
from matwarden.events import AlarmChanged, Event, PushAsked, VerdictChanged
from matwarden.main import open_devices
from matwarden.permit_keeper import PermitKeeper
from matwarden.pollers import InlinePoller, Poller
from matwarden.rehearsal import Rehearsal
from matwarden.settings import Settings, load
from matwarden.station import Station
from matwarden.terms import (
    AlarmState,
    AlarmTimes,
    Band,
    Enclosure,
    MatTerms,
    Placement,
    ProbeTerms,
    Reason,
    Role,
    Unit,
)
from matwarden_hardware.ports import Probe, ProbeError, Relay, Sample
from matwarden_hardware.twin import Shelf

POLL_S = 10.0
STALE_S = 60.0
# 17:00 UTC on a January evening.
START_WALL_S = 1_768_582_800.0

MAT = MatTerms(
    placement=Placement.SIDE,
    watts_w=8.0,
    setpoint_c=25.0,
    hysteresis_k=1.0,
    limiter_c=28.5,
    cut_out_c=30.0,
    differential_k=1.0,
    minimum_on_s=60.0,
    minimum_off_s=180.0,
    memory_s=1800.0,
    prove_n=3,
    rated_operations=100_000,
)
ALARMS = AlarmTimes(cold_after_s=3600.0, hot_after_s=3600.0, blind_after_s=600.0, clear_after_s=300.0, deadband_k=0.5)


def probe(id: str, role: Role, *, poll_s: float = POLL_S, max_rate_k_per_min: float = 3.0) -> ProbeTerms:
    """A probe of the tub its id begins with."""
    return ProbeTerms(
        id=id,
        role=role,
        enclosure=id.partition("-")[0],
        side=None,
        poll_s=poll_s,
        deadline_s=poll_s / 2,
        stale_s=max(STALE_S, 3 * poll_s),
        max_rate_k_per_min=max_rate_k_per_min,
        offset_k=0.0,
    )


def tub(id: str = "oak", probes: Sequence[ProbeTerms] | None = None, mat: MatTerms | None = MAT) -> Enclosure:
    """A tub with a mat, a wall probe and an air probe, unless told otherwise."""
    if probes is None:
        probes = (probe(f"{id}-wall", Role.WALL), probe(f"{id}-air", Role.AIR))
    return Enclosure(id, id.capitalize(), Band(22.2, 27.8), tuple(probes), mat, ALARMS)


MakePoller = Callable[[dict[str, Probe], Mapping[str, ProbeTerms], SimulatedClock], Poller]


class HandProbe:
    """A probe that says what the test last set."""

    def __init__(self, temperature_c: float) -> None:
        self.says: Sample | ProbeError = Sample(temperature_c)
        self.closed = False

    def read(self) -> Sample:
        if isinstance(self.says, ProbeError):
            raise self.says
        return self.says

    def close(self) -> None:
        self.closed = True


class HandRelay:
    """A relay whose read-back can be made to lie."""

    def __init__(self) -> None:
        self.level = False
        self.lies = False

    def drive(self, allow: bool) -> None:
        self.level = allow

    def read_back(self) -> bool:
        return self.level != self.lies

    def close(self) -> None:
        self.level = False


class Bench:
    """A station over hand-set probes and relays.

    Args:
        on_tell: called with each batch before it is kept: where the relay stands at that moment is for it to see.
        poller: makes another poller than the one that reads in place.
    """

    def __init__(
        self,
        *enclosures: Enclosure,
        start_c: float = 24.0,
        on_tell: Callable[[list[Event]], None] = lambda events: None,
        poller: MakePoller = lambda probes, terms, clock: InlinePoller(probes, terms, clock.now().mono_s),
        permit: PermitKeeper | None = None,
    ) -> None:
        self.enclosures = enclosures or (tub(),)
        self.clock = SimulatedClock(START_WALL_S, 1000.0)
        terms = {each.id: each for enclosure in self.enclosures for each in enclosure.probes}
        self.probes = {name: HandProbe(start_c) for name in terms}
        self.relays = {each.id: HandRelay() for each in self.enclosures if each.mat is not None}
        self.told: list[Event] = []
        self._on_tell = on_tell
        self.station = Station(
            self.enclosures,
            (),
            Unit.C,
            poller(dict(self.probes), terms, self.clock),
            self.relays,
            self.clock,
            self._tell,
            {},
            permit=permit,
        )

    def set(self, **celsius: float | None) -> None:
        """What probes say from now on, by id with `_` for `-`; None: nothing."""
        for name, value_c in celsius.items():
            answer = ProbeError("nothing on the bus answers") if value_c is None else Sample(value_c)
            self.probes[name.replace("_", "-")].says = answer

    def cycle(self) -> None:
        """One cycle, then on to when the next is due."""
        self.clock.wait(self.station.cycle(), self.station.wake)

    def poll(self) -> None:
        """On to the next poll, and the one cycle that takes it."""
        due_s = self.station._poller.next_due_s()
        while self.clock.monotonic_s() < due_s:
            self.cycle()
        self.cycle()

    def run(self, for_s: float) -> None:
        """Cycle for that long."""
        until_s = self.clock.monotonic_s() + for_s
        while self.clock.monotonic_s() < until_s:
            self.cycle()

    def warm_up(self) -> None:
        """Run until heat is allowed."""
        for _ in range(1000):
            if all(relay.level for relay in self.relays.values()):
                return
            self.cycle()
        raise AssertionError(f"no heat: {[tub.guard.why() for tub in self.station.tubs.values() if tub.guard]}")

    def reason(self, id: str = "oak") -> Reason:
        """Of the verdict last told."""
        return [e.verdict.reason for e in self.told if isinstance(e, VerdictChanged) and e.enclosure == id][-1]

    def _tell(self, events: list[Event]) -> None:
        self._on_tell(events)
        self.told += events


class Collector:
    """A sink that keeps everything."""

    name = "collector"

    def __init__(self) -> None:
        self.events: list[Event] = []

    def accept(self, events: Sequence[Event]) -> None:
        self.events += events

    def close(self) -> None:
        """Nothing to release."""


class WatchedProbe:
    """Writes down when a probe was read and what it delivered (None: nothing)."""

    def __init__(self, probe: Probe, now_s: Callable[[], float]) -> None:
        self._probe = probe
        self._now_s = now_s
        self.reads: list[tuple[float, Sample | None]] = []

    def read(self) -> Sample:
        try:
            sample = self._probe.read()
        except Exception:
            self.reads.append((self._now_s(), None))
            raise
        self.reads.append((self._now_s(), sample))
        return sample

    def close(self) -> None:
        self._probe.close()


class WatchedRelay:
    """Writes down each change of a relay's level."""

    def __init__(self, relay: Relay, now_s: Callable[[], float]) -> None:
        self._relay = relay
        self._now_s = now_s
        self.level = False
        self.switched: list[tuple[float, bool]] = []

    def drive(self, allow: bool) -> None:
        self._relay.drive(allow)
        if allow != self.level:
            self.level = allow
            self.switched.append((self._now_s(), allow))

    def read_back(self) -> bool:
        return self._relay.read_back()

    def close(self) -> None:
        self._relay.close()
        self.level = False


class House:
    """The whole program on a simulated shelf, with watched devices; it can be restarted.

    Args:
        settings: with a simulated shelf; its store's directory outlives restarts.
    """

    def __init__(self, settings: Settings) -> None:
        assert settings.simulation is not None
        self.settings = settings
        self.clock = SimulatedClock(settings.simulation.start_wall_s)
        opened = open_devices(settings, self.clock.monotonic_s, False)
        assert isinstance(opened.shelf, Shelf)
        self.shelf = opened.shelf
        now_s = self.clock.monotonic_s
        self.probes = {name: WatchedProbe(each, now_s) for name, each in opened.probes.items()}
        self.relays = {name: WatchedRelay(each, now_s) for name, each in opened.relays.items()}
        self._devices = Devices(dict(self.probes), dict(self.relays), opened.shelf, opened.permit)
        self.collector = Collector()
        self.run = self._start()

    def restart(self) -> None:
        """End the program in order and start it anew on the same record, shelf and clock."""
        self.run.close(release_devices=False)
        self.run = self._start()

    def pass_time(self, for_s: float, after_cycle: Callable[[float], None] | None = None) -> None:
        self.run.run_until(self.clock.monotonic_s() + for_s, after_cycle)

    def close(self) -> None:
        self.run.close()

    def told(self, *kinds: type[Event]) -> list[Any]:
        """Every event of these kinds so far, over all runs."""
        return [event for event in self.collector.events if isinstance(event, kinds)]

    def pushed(self) -> list[str]:
        """Titles of what reached the phone."""
        file = self.settings.store.directory / "phone.txt"
        return file.read_text(encoding="utf-8").splitlines() if file.exists() else []

    def _start(self) -> Rehearsal:
        return Rehearsal(self.settings, open_devices, [self.collector], self.clock, self._devices)


_HEAD = """
[house]
id = "shelf-1"
temperature_unit = "C"
zone = "Europe/Amsterdam"
[alarms]
{alarms}
[polling]
every_s = {step_s}
deadline_s = {half_s}
stale_after_s = {stale_s}
[store]
directory = "{directory}"
[control]
socket = "{directory}/control.sock"
[push]
[[push.target]]
name = "phone"
url = "file:{directory}/phone.txt"
[simulation]
start = "2026-01-16T17:00:00Z"
step_s = {step_s}
seed = {seed}
start_temperature = {start_c}
[simulation.room]
{room}
"""
_TUB = """
[[enclosure]]
id = "{id}"
[[probe]]
id = "{id}-air"
role = "air"
enclosure = "{id}"
driver = "twin"
noise = 0.02
[[twin]]
enclosure = "{id}"
"""
_MAT = """
[[probe]]
id = "{id}-wall"
role = "wall"
enclosure = "{id}"
driver = "twin"
noise = 0.02
[[mat]]
enclosure = "{id}"
placement = "side"
driver = "twin"
{mat}
"""


def house(
    directory: Path,
    *,
    heated: Sequence[str] = ("oak",),
    unheated: Sequence[str] = (),
    room: str = "mean = 18.0",
    start_c: float = 24.0,
    step_s: float = POLL_S,
    seed: int = 1,
    mat: str = "",
    more: str = "",
    alarms: str = "inverse = false\nring_again_min = 0\nsecond_after_min = 0",
) -> Settings:
    """Settings of a simulated shelf that keeps its record in `directory`.

    Args:
        room, mat: lines of the room's table and of each mat's. more: further tables.
        alarms: lines of the alarms' table; an alarm calls once, after its delay, unless told otherwise.
    """
    directory.mkdir(parents=True, exist_ok=True)
    head = _HEAD.format(
        directory=directory,
        step_s=step_s,
        half_s=step_s / 2,
        stale_s=max(STALE_S, 3 * step_s),
        seed=seed,
        start_c=start_c,
        room=room,
        alarms=alarms,
    )
    tubs = "".join(_TUB.format(id=id) for id in (*heated, *unheated))
    mats = "".join(_MAT.format(id=id, mat=mat) for id in heated)
    file = directory / "matwarden.toml"
    file.write_text(head + tubs + mats + more, encoding="utf-8")
    return load(file)


def alarms(events: Sequence[Event], alarm: str) -> list[AlarmState]:
    """The states an alarm went through."""
    return [event.state for event in events if isinstance(event, AlarmChanged) and event.alarm == alarm]


def pushes(events: Sequence[Event], alarm: str) -> list[PushAsked]:
    """What was asked to be pushed about an alarm."""
    return [event for event in events if isinstance(event, PushAsked) and event.key.startswith(f"{alarm}/")]


def mat_with(**changes: Any) -> MatTerms:
    """The bench's mat with some of its terms changed."""
    return replace(MAT, **changes)
