"""What one station hears of another over a real broker. States: Homie convention v5.0.0, `$state`."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator

from helpers_mqtt import WALL_S, Mosquitto, at, readings, shelf, telling, wait_for
from matwarden.core.peers import Heard, Peer
from matwarden.events import DigestMade
from matwarden.peer_inbox import PeerInbox
from matwarden.sinks.homie import DeviceTerms
from matwarden.sinks.mqtt import MqttSink
from matwarden.sinks.mqtt_terms import MqttTerms
from matwarden.terms import Unit

SHELF_1 = Peer("shelf-1", "Shelf 1", 300.0, 900.0, 93_600.0)


@contextlib.contextmanager
def listening(port: int) -> Iterator[PeerInbox]:
    """A watcher's sink that hears of shelf-1."""
    inbox = PeerInbox([SHELF_1], time.monotonic)
    device = DeviceTerms("lookout", "Lookout", Unit.C, (), watched=("shelf-1",))
    sink = MqttSink(MqttTerms("127.0.0.1", port), device, time.monotonic, 0.05, inbox)
    try:
        yield inbox
    finally:
        sink.close()


def known(inbox: PeerInbox) -> Heard:
    return inbox.seen()[1]["shelf-1"]


def test_a_station_is_heard_with_its_readings_its_digest_and_its_goodbye(mosquitto: Mosquitto) -> None:
    """Whoever comes later hears what is retained; then what changes; and a clean stop is no loss."""
    with telling(mosquitto.port, shelf()) as sink:
        digest = DigestMade(at(20), "2026-11-02", "All well", {"to": "2026-11-02T08:00:00Z"})
        sink.accept([readings(0), digest])
        with listening(mosquitto.port) as inbox:
            wait_for(lambda: known(inbox).state == "ready", "ready")
            wait_for(lambda: known(inbox).fresh == "2026-11-02T08:00:00Z", "the newest reading")
            wait_for(lambda: known(inbox).digest_made_s == WALL_S, "the digest")
            first_s = known(inbox).fresh_s
            sink.accept([readings(60)])
            wait_for(lambda: known(inbox).fresh_s > first_s, "a newer reading")
            sink.close()
            wait_for(lambda: known(inbox).state == "disconnected", "the goodbye")


def test_a_restarted_broker_that_forgot_all_leaves_nobody_for_dead(mosquitto: Mosquitto) -> None:
    """While it is away nothing is known; after it is back both come back to it, and live."""
    with telling(mosquitto.port, shelf()), listening(mosquitto.port) as inbox:
        wait_for(lambda: known(inbox).state == "ready", "ready")
        mosquitto.stop()
        wait_for(lambda: inbox.seen()[0] is None, "our own blindness")
        mosquitto.start()
        wait_for(lambda: inbox.seen()[0] is not None, "the link")
        wait_for(lambda: known(inbox).state == "ready", "the other one again")


def test_a_watcher_tells_of_itself_what_a_station_tells(mosquitto: Mosquitto) -> None:
    """So that a station can watch it back: `$state` and a time that moves."""
    lookout = Peer("lookout", "Lookout", 300.0, 900.0, None)
    inbox = PeerInbox([lookout], time.monotonic)
    device = DeviceTerms("lookout", "Lookout", Unit.C, (), watched=("shelf-1",))
    with telling(mosquitto.port, device) as watcher:
        watcher.alive(WALL_S)
        sink = MqttSink(MqttTerms("127.0.0.1", mosquitto.port), shelf(), time.monotonic, 0.05, inbox)
        wait_for(lambda: inbox.seen()[1]["lookout"].fresh == "2026-11-02T08:00:00Z", "its sign of life")
        assert inbox.seen()[1]["lookout"].state == "ready"
        sink.close()
