"""The station as fast as it can on a simulated clock and the simulated shelf: the demo, the recorded winter, the tests.

It is the same station, store, MQTT and push as the daemon's; only the clock is another, everything happens in one
thread and in order, and the calendar is asked instead of asking.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from typing import Any
from zoneinfo import ZoneInfo

from matwarden import __version__
from matwarden.calendar import Calendar
from matwarden.clocks import SimulatedClock
from matwarden.control import act_on
from matwarden.control_verbs import AlarmVerbs
from matwarden.devices import Devices, OpenDevices
from matwarden.digests import Digests
from matwarden.events import ClockStepped, DigestMade, Event, Notice, Sink
from matwarden.house_alarms import HouseAlarms
from matwarden.mqtt_acknowledge import RemoteAcknowledge
from matwarden.night import make_night
from matwarden.night_child import summed_night
from matwarden.pollers import InlinePoller
from matwarden.settings.resolved import Settings, SimulationSettings
from matwarden.sinks.push import PushSink
from matwarden.sinks.push_send import Sender, send
from matwarden.sinks.queue import InlineSink
from matwarden.sinks.store import StoreSink, open_store
from matwarden.sinks.store_read import Recorded
from matwarden.station import Station
from matwarden.status import status_document
from matwarden.terms import At
from matwarden.wiring import (
    Told,
    handed_on,
    house_alarms,
    mqtt_sink,
    permit_keeper,
    probe_terms,
    push_sink,
    taken_out,
    together_alarms,
)

__all__ = ["Rehearsal"]


@dataclass(slots=True)
class _Digested:
    """Keeps the digests of a rehearsal as they are made."""

    name: str = "digests"
    made: list[DigestMade] = field(default_factory=list)

    def accept(self, events: Sequence[Event]) -> None:
        self.made += [event for event in events if isinstance(event, DigestMade)]

    def close(self) -> None:
        """Nothing to release."""


class Rehearsal:
    """One run over simulated time. `run_until` may be called again and again; then `close`.

    Args:
        more_sinks: told like the others (the console, a test's collector).
        clock: goes on from another rehearsal's clock after a restart; None: a new one, from the settings' start.
        devices: goes on with open devices after a restart; None: open them.
        sums: days are summed up before each digest, as the daemon does; it takes a second a week.
        sender: what delivers a push; the real one unless nothing may leave.

    Raises:
        DriverError: a simulated device cannot be opened. StoreError: the store cannot be used.

    Attributes:
        clock, station, devices: for whoever wants to look at them, or break something.
        digests: every digest made so far.
    """

    def __init__(
        self,
        settings: Settings,
        open_devices: OpenDevices,
        more_sinks: Sequence[Sink] = (),
        clock: SimulatedClock | None = None,
        devices: Devices | None = None,
        sums: bool = False,
        sender: Sender = send,
    ) -> None:
        simulation = settings.simulation
        if simulation is None:
            raise ValueError("a rehearsal needs settings with a simulated shelf")
        self.settings = settings
        self.clock = clock or SimulatedClock(simulation.start_wall_s)
        self.devices = devices or open_devices(settings, self.clock.monotonic_s, False)
        self._wake = threading.Event()
        at = self.clock.now()
        # Nobody pulls the plug on simulated time: a thousand commits need not wait for the disk a thousand times.
        store = open_store(settings.store.directory, at.wall_s, power_safe=False)
        remembered = store.remembered()
        recorded = Recorded(settings.store.directory)
        standing = handed_on(recorded, remembered, at)
        last_seen_s = recorded.last_seen()
        store_queue = InlineSink(StoreSink(store, settings.store.commit_every_s), self._sink_failed)
        self._digested = _Digested()
        self._told = Told([store_queue], pushes=settings.push is not None)
        remote = RemoteAcknowledge()
        self._mqtt = mqtt_sink(settings, remote.ask)
        if self._mqtt is not None:
            self._mqtt.accept(standing)
            self._told.add(InlineSink(self._mqtt, self._sink_failed))
        self._push: PushSink | None = push_sink(settings, self.clock, self._told.notice, sender)
        if self._push is not None:
            self._told.add(InlineSink(self._push, self._sink_failed))
        for sink in (self._digested, *more_sinks):
            self._told.add(InlineSink(sink, self._sink_failed))
        self._next_push_s = at.mono_s
        self._calendar_wall_s = float("-inf")
        house = house_alarms(settings, last_seen_s, lambda: store_queue.failing, remembered, at)
        self.station = self._station(simulation, remembered, house, at)
        verbs = AlarmVerbs(self.station, settings.house_name, settings.alarms.shelve_at_most_s)
        remote.serve(self.station, verbs)
        self._told.tell(taken_out(recorded, self.station.alarm_ids(), at))
        for text in store.notices:
            self._told.tell([Notice(at, text, warning=True)])
        make = summed_night if sums else make_night
        digests = Digests(settings, store_queue.drain, self._told.tell, self.clock.now, make)
        self._calendar = Calendar(
            time.fromisoformat(settings.digest.at) if settings.digest.enabled else None,
            ZoneInfo(settings.zone),
            [date.fromisoformat(text) for text in recorded.digest_dates()],
            digests.make,
            lambda: None,
            at.wall_s,
        )

    @property
    def digests(self) -> list[DigestMade]:
        return self._digested.made

    def run_until(self, until_s: float, after_cycle: Callable[[float], None] | None = None) -> None:
        """Let simulated time pass up to monotonic time `until_s`.

        Args:
            after_cycle: called with the monotonic time after each cycle.
        """
        clock, station, wake = self.clock, self.station, self._wake
        while (at := clock.now()).mono_s < until_s:
            due_s = station.cycle()
            if at.wall_s >= self._calendar_wall_s:
                self._calendar.run_due(at.wall_s)
                self._calendar_wall_s = self._calendar.next_wall_s(at.wall_s)
            if self._push is not None and self._push.waiting_n and at.mono_s >= self._next_push_s:
                wait_s = self._push.step()
                self._next_push_s = at.mono_s + (wait_s or 0.0)
            if after_cycle is not None:
                after_cycle(at.mono_s)
            clock.wait(min(due_s, until_s), wake)

    def ask(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """What the control socket would answer to `status`, or to a verb about one tub's heat."""
        if request["do"] == "status":
            return {"ok": True, "status": status_document(self.station, self.clock.now(), {})}
        answers: list[dict[str, Any]] = []

        def act(at: At) -> list[Event]:
            tub = self.station.tubs[str(request["enclosure"])]
            events, answer = act_on(tub, str(request["do"]), request, "demo", at)
            answers.append(answer)
            return events

        self.station.call(act)
        self.station.cycle()
        return answers[0]

    def close(self, release_devices: bool = True) -> None:
        """Cut every relay, let every sink finish, release everything.

        Args:
            release_devices: False: leave the shelf as it is, for the run after a restart.
        """
        self.station.cut_all()
        if release_devices:
            self.station.close()
        if self._push is not None:
            self._push.step()
        self._told.close(10.0)

    def _station(
        self, simulation: SimulationSettings, remembered: dict[str, dict[str, Any]], house: HouseAlarms, at: At
    ) -> Station:
        settings = self.settings
        terms = probe_terms(settings)
        return Station(
            settings.enclosures,
            settings.room_probes,
            settings.unit,
            InlinePoller(self.devices.probes, terms, self.clock.now().mono_s),
            self.devices.relays,
            self.clock,
            self._tell,
            remembered,
            wake=self._wake,
            judge_every_s=simulation.step_s,
            version=__version__,
            room_alarm_times=settings.alarms.times,
            house_alarms=house,
            permit=permit_keeper(settings, self.devices),
            together=together_alarms(settings, remembered, at),
        )

    def _tell(self, events: Sequence[Event]) -> None:
        self._told.tell(events)
        for event in events:
            if isinstance(event, ClockStepped):
                self._calendar.clock_stepped(event.at.wall_s)
                self._calendar_wall_s = float("-inf")

    def _sink_failed(self, name: str, text: str) -> None:
        self._told.notice(Notice(self.clock.now(), f"{name}: {text}", warning=True))
