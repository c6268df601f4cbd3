"""`matwarden watch`: watches other stations from any machine, without probes, mats or tubs of its own.

The same alarms, record, pushes and heartbeat as a station's, in a loop of their own. It tells the broker that it lives
like a station does, so that a station can watch it back.
"""

from __future__ import annotations

import logging
import os
import signal
import threading

from matwarden import __version__
from matwarden.alarm import active_states
from matwarden.clocks import SystemClock
from matwarden.events import Notice, Started
from matwarden.exit_codes import Exit
from matwarden.manager import manager_of
from matwarden.peer_inbox import PeerInbox
from matwarden.peer_keeper import PeerAlarms
from matwarden.settings.watching import WatchSettings
from matwarden.sinks.heartbeat import Heartbeat
from matwarden.sinks.homie import DeviceTerms
from matwarden.sinks.journal import JournalSink
from matwarden.sinks.mqtt import MqttSink
from matwarden.sinks.outbox import Outbox
from matwarden.sinks.push import PushSink
from matwarden.sinks.push_send import send
from matwarden.sinks.queue import SinkThread
from matwarden.sinks.store import Store, StoreBusy, StoreError, StoreSink, open_store
from matwarden.sinks.store_space import Room, free_bytes
from matwarden.terms import At
from matwarden.wiring import Told

__all__ = ["watch"]

_QUEUE_BOUND = 1000
_STOP_WITHIN_S = 8.0
_LOOK_EVERY_S = 1.0

_log = logging.getLogger("matwarden")


def watch(settings: WatchSettings) -> int:
    """Watch until a signal says stop."""
    clock = SystemClock()
    for text in settings.warnings:
        _log.warning("%s", text)
    try:
        store = open_store(settings.store.directory, clock.now().wall_s)
    except StoreError as error:
        _log.error("%s", error)
        return Exit.BUSY if isinstance(error, StoreBusy) else Exit.STORE
    return _Watcher(settings, store, clock).run()


class _Watcher:
    def __init__(self, settings: WatchSettings, store: Store, clock: SystemClock) -> None:
        self._clock = clock
        self._asked_to_stop = False
        at = clock.now()
        self._manager = manager_of(os.environ, os.getpid(), at.mono_s)
        remembered = store.remembered()
        room = Room(lambda: free_bytes(settings.store.directory))

        def now_s() -> float:
            return clock.now().mono_s

        def failed(name: str, text: str) -> None:
            _log.warning("%s: %s", name, text)

        store_queue = SinkThread(StoreSink(store, settings.store.commit_every_s, room), _QUEUE_BOUND, failed, now_s)
        journal = SinkThread(JournalSink(), _QUEUE_BOUND, failed, now_s)
        self._told = told = Told([store_queue, journal], pushes=settings.push is not None)
        if settings.push is not None:
            push = PushSink(settings.push, Outbox(settings.store.directory), clock.now, told.notice, send)
            push.start()
            told.add(SinkThread(push, _QUEUE_BOUND, failed, now_s))
        inbox = PeerInbox(settings.watched, now_s)
        ids = tuple(peer.id for peer in settings.watched)
        device = DeviceTerms(settings.house_id, settings.house_name, settings.unit, (), watched=ids)
        self._mqtt = MqttSink(settings.mqtt, device, now_s, peers=inbox)
        told.add(SinkThread(self._mqtt, _QUEUE_BOUND, failed, now_s))
        self._alarms = PeerAlarms(settings.watched, inbox, settings.house_name, settings.times, remembered, at)
        self._heartbeat = None
        if settings.heartbeat is not None:
            self._heartbeat = Heartbeat(settings.heartbeat, clock.now, told.notice)
            self._heartbeat.start()
        names = ", ".join(peer.name for peer in settings.watched)
        told.tell([Started(at, __version__), Notice(at, f"watching {names}; no tubs of its own", warning=False)])

    def run(self) -> int:
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGQUIT):
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, self._stop)
        pause = threading.Event()
        try:
            while not self._asked_to_stop:
                self._look(self._clock.now())
                pause.wait(_LOOK_EVERY_S)
        finally:
            self._manager.stopping("the record is being closed")
            if self._heartbeat is not None:
                self._heartbeat.stop()
            self._told.close(_STOP_WITHIN_S)
        _log.info("stopped as asked")
        return Exit.OK

    def _stop(self, *_: object) -> None:
        self._asked_to_stop = True

    def _look(self, at: At) -> None:
        events = self._alarms.look(at)
        if events:
            self._told.tell(events)
        self._mqtt.alive(at.wall_s)
        if self._heartbeat is not None:
            self._heartbeat.cycle_done(at.mono_s, True)
        self._manager.cycle_done(at.mono_s, True, self._state_line)

    def _state_line(self) -> str:
        alarms = self._alarms.alarms
        on = sum(alarm.memory.state in active_states for alarm in alarms)
        return f"{len({alarm.id.partition('/')[2] for alarm in alarms}) - 1} stations watched, {on} alarms on"
