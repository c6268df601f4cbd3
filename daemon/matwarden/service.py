"""The daemon on the machine's own clock: ordered start, one loop, ordered stop.

Start: relays (cut), store and its lock, sinks, station, control socket, calendar. Stop, by SIGTERM or SIGINT: the loop
ends and cuts every relay, then the others finish, the store last.
"""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import sys
import threading
from collections.abc import Mapping, Sequence
from datetime import date, time
from typing import Any
from zoneinfo import ZoneInfo

from matwarden import __version__
from matwarden.alarm import active_states
from matwarden.calendar import Calendar, CalendarThread
from matwarden.clocks import SystemClock
from matwarden.control import ControlError, ControlServer
from matwarden.control_verbs import AlarmVerbs
from matwarden.devices import Devices, OpenDevices
from matwarden.digests import Digests
from matwarden.events import ClockStepped, Event, Notice, PushAsked, Remember, Sink
from matwarden.exit_codes import Exit
from matwarden.last_run import ended_as_asked, run_begins
from matwarden.lock_holder import LOCK, holder
from matwarden.manager import manager_of
from matwarden.mqtt_acknowledge import RemoteAcknowledge
from matwarden.night_child import NightChild, NightError
from matwarden.pollers import ThreadPoller
from matwarden.relay_lines import keep_lines
from matwarden.settings.resolved import Settings
from matwarden.sinks.heartbeat import Heartbeat
from matwarden.sinks.journal import JournalSink
from matwarden.sinks.queue import SinkThread
from matwarden.sinks.store import Store, StoreBusy, StoreError, StoreSink, open_store
from matwarden.sinks.store_cleanup import clean_up, make_room
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_space import Room, free_bytes
from matwarden.station import Station
from matwarden.terms import Priority
from matwarden.wiring import (
    Told,
    day_and_clock,
    handed_on,
    house_alarms,
    mqtt_sink,
    peer_alarms,
    peer_inbox,
    permit_keeper,
    probe_terms,
    push_sink,
    spread_over_bus,
    taken_out,
    together_alarms,
)
from matwarden_hardware.ports import DriverError

__all__ = ["serve"]

# Batches that may wait for a sink: some ten minutes of cycles with readings.
QUEUE_BOUND = 1000
STOP_WITHIN_S = 8.0
# The record's memory of its last clean-up.
CLEANED = "calendar/clean-up"

_log = logging.getLogger("matwarden")

# How long the control thread waits at most for a busy one to let go of the interpreter; Python's own is 5 ms.
SWITCH_S = 0.0005


def serve(settings: Settings, open_devices: OpenDevices) -> int:
    """Watch and guard until a signal says stop.

    Raises:
        DriverError: a device cannot be opened.
    """
    sys.setswitchinterval(SWITCH_S)
    clock = SystemClock()
    try:
        devices = open_devices(settings, lambda: clock.now().mono_s, True)
    except DriverError as error:
        # Two on one record find each other at their first relay line: it says no more than who holds it.
        process = holder(settings.store.directory / LOCK)
        if process is None:
            raise
        who = f" (process {process})" if process else ""
        _log.error("another matwarden%s runs with these settings; stop it first. %s", who, error)
        return Exit.BUSY
    try:
        store = open_store(settings.store.directory, clock.now().wall_s)
    except StoreError as error:
        devices.close()
        _log.error("%s", error)
        return Exit.BUSY if isinstance(error, StoreBusy) else Exit.STORE
    except BaseException:
        devices.close()
        raise
    try:
        return _Service(settings, devices, store, clock).run()
    except (StoreError, ControlError) as error:
        _log.error("%s", error)
        return Exit.STORE if isinstance(error, StoreError) else Exit.SETTINGS
    finally:
        devices.close()


class _Service:
    def __init__(self, settings: Settings, devices: Devices, store: Store, clock: SystemClock) -> None:
        self._settings = settings
        self._code = Exit.OK
        self._stop_asked = False
        self._clock = clock
        self._manager = manager_of(os.environ, os.getpid(), clock.now().mono_s)
        self._dropped_told = False
        at = clock.now()
        try:
            keep_lines(settings)
        except OSError as error:
            _log.warning("the list of relay lines for 'matwarden cut' cannot be kept: %s", error)
        remembered = store.remembered()
        recorded = Recorded(settings.store.directory)
        try:
            standing = handed_on(recorded, remembered, at)
        except Exception as error:  # only for telling: a record that a guard cannot read must not keep it from guarding
            _log.warning("what stood before the start cannot be told anew: %r", error)
            standing = []
        last_seen_s = recorded.last_seen()
        room = Room(lambda: free_bytes(settings.store.directory))
        store_sink = StoreSink(store, settings.store.commit_every_s, room)

        def queued(sink: Sink) -> SinkThread:
            return SinkThread(sink, QUEUE_BOUND, self._sink_failed, lambda: clock.now().mono_s)

        store_queue, journal = queued(store_sink), queued(JournalSink())
        self._told = told = Told([store_queue, journal], pushes=settings.push is not None)
        push = push_sink(settings, clock, told.notice)
        if push is not None:
            push.start()
            told.add(queued(push))
        peers = peer_inbox(settings)
        remote = RemoteAcknowledge()
        mqtt = mqtt_sink(settings, remote.ask, peers)
        if mqtt is not None:
            mqtt.accept(standing)
            told.add(queued(mqtt))
        wake = threading.Event()
        poller = ThreadPoller(devices.probes, probe_terms(settings), clock, wake, spread_over_bus(settings))
        self._station = Station(
            settings.enclosures,
            settings.room_probes,
            settings.unit,
            poller,
            devices.relays,
            clock,
            self._tell,
            remembered,
            wake=wake,
            version=__version__,
            room_alarm_times=settings.alarms.times,
            house_alarms=house_alarms(settings, last_seen_s, lambda: store_queue.failing, remembered, at),
            permit=permit_keeper(settings, devices),
            together=together_alarms(settings, remembered, at),
            peers=peer_alarms(settings, peers, remembered, at),
        )
        with contextlib.suppress(StoreError):  # only for telling
            told.tell(taken_out(recorded, self._station.alarm_ids(), at))
        self._begun = run_begins(settings.house_name, day_and_clock(settings), last_seen_s, remembered, at)
        told.tell(self._begun)
        for text in store.notices:
            # Of the record's own damage a keeper in another town must hear: it may have held a trip.
            title = f"{settings.house_name}: look at its record"
            told.tell(
                [Notice(at, text, warning=True), PushAsked(at, f"record/{at.wall_s:.0f}", title, text, Priority.HIGH)]
            )
        self._heartbeat: Heartbeat | None = None
        if settings.heartbeat is not None:
            self._heartbeat = Heartbeat(settings.heartbeat, clock.now, told.notice)
            self._heartbeat.start()
        self._calendar_thread: CalendarThread | None = None
        verbs = AlarmVerbs(self._station, settings.house_name, settings.alarms.shelve_at_most_s)
        remote.serve(self._station, verbs)
        self._socket = ControlServer(settings.control.socket, self._station, told.state, verbs)
        self._night_child = NightChild()
        digests = Digests(settings, store_queue.drain, told.tell, clock.now, self._night_child.make)
        calendar = Calendar(
            time.fromisoformat(settings.digest.at) if settings.digest.enabled else None,
            ZoneInfo(settings.zone),
            _dates(recorded.digest_dates()),
            digests.make,
            self._clean_up,
            at.wall_s,
            _wall_s(remembered.get(CLEANED)),
        )
        self._calendar_thread = CalendarThread(calendar, lambda: clock.now().wall_s)

    def run(self) -> int:
        """Until a signal, or until the control thread ends by itself."""
        # Signals are handled in the main thread, which only waits: a handler that ran in the control thread could
        # find that very thread holding the lock it needs.
        control = threading.Thread(target=self._control_loop, name="control")
        # SIGHUP and SIGQUIT too: a terminal that closes must not end the program with a mat on.
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGQUIT):
            # One that is ignored stays so: started with nohup, it is meant to outlive the terminal.
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, self._asked_to_stop)
        control.start()
        try:
            while control.is_alive():
                control.join(0.2)
                if self._stop_asked:
                    self._station.stop()
        finally:
            self._manager.stopping("the record is being closed")
            if self._heartbeat is not None:
                self._heartbeat.stop()
            uncut = self._station.close()
            for text in uncut:
                _log.critical("%s. UNPLUG ITS MAT: it is not known to be cut", text)
            self._socket.close()
            if self._calendar_thread is not None:
                # A digest that is being made is left to the next run: a stop must not wait for minutes.
                self._night_child.stop()
                self._calendar_thread.close()
            if not uncut and self._stop_asked and self._code is Exit.OK:
                self._told.tell(ended_as_asked(self._begun, self._clock.now()))
            self._told.close(STOP_WITHIN_S)
        if uncut:
            return Exit.DEVICE
        if self._code is Exit.OK:
            _log.info("stopped as asked; every mat is cut")
        return self._code

    def _asked_to_stop(self, *_: object) -> None:
        # Nothing but a flag: a second signal in the midst of setting an event would wait for its own lock for ever.
        self._stop_asked = True

    def _control_loop(self) -> None:
        try:
            self._station.run(self._cycle_done)
        except Exception:
            # Our bug. The relays are cut already; the service manager starts us afresh.
            _log.exception("internal error: every relay is cut, and matwarden ends")
            self._code = Exit.INTERNAL

    def _cycle_done(self) -> None:
        if self._heartbeat is not None:
            in_hand = all(tub.guard is None or tub.guard.in_hand for tub in self._station.tubs.values())
            self._heartbeat.cycle_done(self._station.last_at.mono_s, in_hand)
        self._manager.cycle_done(self._station.last_at.mono_s, self._station.all_heard, self._state_line)

    def _state_line(self) -> str:
        tubs = self._station.tubs.values()
        heated = sum(tub.guard is not None and tub.guard.verdict.allowed for tub in tubs)
        alarms = sum(alarm.memory.state in active_states for alarm in self._station.alarms())
        return f"{len(tubs)} tubs watched, heat allowed in {heated}, {alarms} alarms on"

    def _tell(self, events: Sequence[Event]) -> None:
        self._told.tell(events)
        for event in events:
            if isinstance(event, ClockStepped) and self._calendar_thread is not None:
                self._calendar_thread.clock_stepped(event.at.wall_s)

    def _clean_up(self) -> None:
        store = self._settings.store
        try:
            self._night_child.sum_up(self._settings)
        except (StoreError, NightError) as error:
            _log.warning("days are not summed up, and their readings are kept until they are: %s", error)
        try:
            clean_up(store.directory, store.keep_raw_days)
            gone = make_room(store.directory, store.keep_free_mb * 1_000_000, free_bytes(store.directory))
        except (StoreError, OSError) as error:
            _log.warning("clean-up: %s", error)
            return
        at = self._clock.now()
        self._told.tell([Remember(at, CLEANED, {"wall_s": at.wall_s}, urgent=False)])
        if gone:
            self._tell_dropped(gone)

    def _tell_dropped(self, gone: int) -> None:
        at = self._clock.now()
        text = (
            f"Fewer than {self._settings.store.keep_free_mb} MB of the disk are free: the {gone} oldest readings were "
            "dropped. Alarms and digests are kept, warming goes on. See what fills the disk."
        )
        events: list[Event] = [Notice(at, text, warning=True)]
        if not self._dropped_told:
            self._dropped_told = True
            key = f"disk/{at.wall_s:.0f}"
            events.append(PushAsked(at, key, f"{self._settings.house_name}: disk nearly full", text, Priority.LOW))
        self._told.tell(events)

    def _sink_failed(self, name: str, text: str) -> None:
        _log.warning("%s: %s", name, text)


def _dates(texts: Sequence[str]) -> list[date]:
    """The dates among them: one that is damaged is no reason not to start."""
    found = []
    for text in texts:
        with contextlib.suppress(ValueError):
            found.append(date.fromisoformat(text))
    return found


def _wall_s(kept: Mapping[str, Any] | None) -> float | None:
    """A remembered time; None when there is none, or it is damaged: it is no reason not to start."""
    value = None if not isinstance(kept, Mapping) else kept.get("wall_s")
    return float(value) if isinstance(value, (int, float)) else None
