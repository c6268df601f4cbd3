"""Brokers, a watcher and a small shelf for the MQTT tests. Loopback only."""

from __future__ import annotations

import contextlib
import getpass
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, Literal, NamedTuple

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from matwarden.events import AlarmChanged, Event, Readings, Refused, VerdictChanged
from matwarden.sinks.demo_broker import embedded_broker
from matwarden.sinks.homie import DeviceTerms
from matwarden.sinks.mqtt import MqttSink
from matwarden.sinks.mqtt_terms import MqttTerms
from matwarden.terms import (
    AlarmState,
    AlarmTimes,
    At,
    Band,
    Enclosure,
    MatTerms,
    Placement,
    Priority,
    ProbeTerms,
    Quality,
    Reading,
    Reason,
    Role,
    Side,
    Unit,
    Verdict,
)

PATIENCE_S = 20.0
WALL_S = 1_793_606_400.0  # 2026-11-02T08:00:00Z
MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


def free_port() -> int:
    """A loopback port nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def wait_for(condition: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
    """Return as soon as `condition` holds; fail the test, naming `what`, when it never does."""
    deadline = time.monotonic() + patience_s
    while not condition():
        if time.monotonic() > deadline:
            pytest.fail(f"waited {patience_s:.0f} s in vain for: {what}")
        time.sleep(0.02)


class Mosquitto:
    """A real broker in its own process, keeping nothing on disk: a restart is a broker with an empty store."""

    protocol: Literal["5"] = "5"

    def __init__(self, directory: Path, *lines: str) -> None:
        self.port = free_port()
        self._directory = directory
        self._config = directory / "mosquitto.conf"
        lines = lines or ("allow_anonymous true",)
        user = f"user {getpass.getuser()}"  # the certificates are in a directory of ours
        text = "\n".join([user, "persistence false", f"listener {self.port} 127.0.0.1", *lines, ""])
        self._config.write_text(text)
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        assert MOSQUITTO is not None
        with (self._directory / "mosquitto.log").open("ab") as log:
            self._process = subprocess.Popen([MOSQUITTO, "-c", str(self._config)], stdout=log, stderr=log)
        wait_for(self._answers, "mosquitto to listen")

    def stop(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)
            self._process.kill()
            self._process.wait()
            self._process = None

    def freeze(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def _answers(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0


class Cable:
    """A line to a broker that can be pulled out and put back: a relay of bytes between two loopback sockets."""

    def __init__(self, broker_port: int) -> None:
        self._broker_port = broker_port
        self._pulled = threading.Event()
        self._ends: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def pull(self) -> None:
        """Break what runs over it, and whatever tries to."""
        self._pulled.set()
        for end in self._ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def plug(self) -> None:
        """Whole again."""
        self._pulled.clear()

    def close(self) -> None:
        """Throw it away."""
        self.pull()
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                if self._pulled.is_set():
                    near.close()
                    continue
                far = socket.create_connection(("127.0.0.1", self._broker_port))
                self._ends += [near, far]
                for source, sink in ((near, far), (far, near)):
                    threading.Thread(target=self._copy, args=(source, sink), daemon=True).start()

    def _copy(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while block := source.recv(4096):
                sink.sendall(block)
        for end in (source, sink):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        source.close()


class AnyBroker(NamedTuple):
    """Where some broker listens, and what it speaks."""

    port: int
    protocol: Literal["5", "3.1.1"]


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A mosquitto that can be restarted and frozen."""
    if MOSQUITTO is None:
        pytest.skip("mosquitto is not installed, and no other broker of ours can do this")
    server = Mosquitto(tmp_path)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[AnyBroker]:
    """Mosquitto where it is installed, else the demo's own broker."""
    if MOSQUITTO is None:
        with embedded_broker(free_port()) as embedded:
            yield AnyBroker(embedded.port, "3.1.1")
        return
    server = Mosquitto(tmp_path)
    server.start()
    yield AnyBroker(server.port, "5")
    server.stop()


@contextlib.contextmanager
def telling(port: int, device: DeviceTerms | None = None, flush_s: float = 0.05, **terms: Any) -> Iterator[MqttSink]:
    """A sink for the shelf, closed at the end."""
    sink = MqttSink(MqttTerms("127.0.0.1", port, **terms), device or shelf(), time.monotonic, flush_s)
    try:
        yield sink
    finally:
        sink.close()


class Heard(NamedTuple):
    """One message as a subscriber got it."""

    topic: str
    payload: bytes
    retained: bool
    expires_s: int | None


class Watcher:
    """A subscriber to everything: keeps each message, and the retained picture they make up."""

    def __init__(
        self,
        port: int,
        protocol: Literal["5", "3.1.1"] = "5",
        configure: Callable[[Client], Any] | None = None,
    ) -> None:
        self.heard: list[Heard] = []
        self.picture: dict[str, bytes] = {}
        self._subscribed = threading.Event()
        self._v5 = protocol == "5"
        version = MQTTProtocolVersion.MQTTv5 if self._v5 else MQTTProtocolVersion.MQTTv311
        self.client = Client(CallbackAPIVersion.VERSION2, protocol=version)
        self.client.reconnect_delay_set(1, 1)
        if configure is not None:
            configure(self.client)
        self.client.on_connect = self._on_connect
        self.client.on_subscribe = self._on_subscribe
        self.client.on_message = self._on_message
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def __enter__(self) -> Watcher:
        if not self._subscribed.wait(PATIENCE_S):
            pytest.fail("the watcher could not subscribe")
        return self

    def __exit__(self, *_: object) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def text(self, topic: str) -> str | None:
        """The payload retained now, None when there is none."""
        payload = self.picture.get(topic)
        return None if payload is None else payload.decode()

    def wait(self, topic: str, payload: str | None) -> None:
        """Until the topic holds exactly this."""
        wait_for(lambda: self.text(topic) == payload, f"{topic} = {payload!r}, is {self.text(topic)!r}")

    def catch_up(self) -> None:
        """Until everything that was retained when we subscribed is here: our own mark comes after it."""
        self.client.publish("mark", "here", 1)
        self.wait("mark", "here")

    def states(self) -> list[str]:
        """Every `$state` heard so far, in order."""
        return [h.payload.decode() for h in self.heard if h.topic.endswith("/$state")]

    def _on_connect(self, client: Client, *_: object) -> None:
        if self._v5:
            client.subscribe("#", options=SubscribeOptions(qos=1, retainAsPublished=True))
        else:
            client.subscribe("#", 1)

    def _on_subscribe(self, *_: object) -> None:
        self._subscribed.set()

    def _on_message(self, client: Client, data: object, message: MQTTMessage) -> None:
        properties: Properties | None = message.properties
        expires_s = getattr(properties, "MessageExpiryInterval", None)
        payload = bytes(message.payload)
        self.heard.append(Heard(message.topic, payload, message.retain, expires_s))
        if payload:
            self.picture[message.topic] = payload
        else:
            self.picture.pop(message.topic, None)


def probe(probe_id: str, role: Role, enclosure: str | None, side: Side | None = None) -> ProbeTerms:
    """A probe read every 10 s."""
    return ProbeTerms(probe_id, role, enclosure, side, 10.0, 2.0, 60.0, 2.0, 0.0)


def shelf(*, unit: Unit = Unit.C, house: str = "shelf-1", first: str = "oak") -> DeviceTerms:
    """Two tubs of the invented shelf: one with a mat and every kind of probe, one only watched; a room probe."""
    mat = MatTerms(Placement.SIDE, 7.0, 25.0, 0.5, 28.0, 30.0, 1.0, 60.0, 60.0, 3600.0, 3, 100_000)
    times = AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5)
    oak = (
        probe("oak-moist", Role.AIR, first, Side.MOIST),
        probe("oak-dry", Role.AIR, first, Side.DRY),
        probe("oak-wall", Role.WALL, first),
        probe("oak-wall-2", Role.WALL, first),
        probe("oak-soil", Role.SUBSTRATE, first),
    )
    alder = (probe("alder-air", Role.AIR, "alder"),)
    return DeviceTerms(
        id=house,
        name="Shelf",
        unit=unit,
        enclosures=(
            Enclosure(first, first.capitalize(), Band(22.2, 27.8), oak, mat, times),
            Enclosure("alder", "Alder", Band(22.2, 27.8), alder, None, times),
        ),
        room_probes=(probe("room-air", Role.ROOM, None),),
        humid=frozenset({"oak-moist", "oak-dry", "alder-air", "room-air"}),
    )


TEMPERATURES_C = {
    "oak-moist": 24.61,
    "oak-dry": 25.0,
    "oak-wall": 26.0,
    "oak-wall-2": 26.44,
    "oak-soil": 24.0,
    "alder-air": 23.5,
    "room-air": 18.0,
}


def at(mono_s: float) -> At:
    """An instant of the run, on both clocks."""
    return At(mono_s, WALL_S + mono_s)


def readings(mono_s: float, temperatures_c: dict[str, float] | None = None) -> Readings:
    """One cycle's readings, of every probe unless named."""
    taken = tuple(
        Reading(name, at(mono_s), value_c, 78.0 if name in shelf().humid else None)
        for name, value_c in (temperatures_c or TEMPERATURES_C).items()
    )
    return Readings(at(mono_s), taken)


def refused(mono_s: float, probe_id: str, quality: Quality = Quality.MISSING) -> Refused:
    """A capture without a good reading."""
    return Refused(at(mono_s), probe_id, quality, "no answer")


def verdict(mono_s: float, allowed: bool, reason: Reason, operations: int = 1) -> VerdictChanged:
    """The guard of the oak tub."""
    return VerdictChanged(at(mono_s), "oak", Verdict(allowed, reason), "because", operations)


def alarm(mono_s: float, state: AlarmState, text: str = "Oak is cold", name: str = "cold/oak") -> AlarmChanged:
    """A transition of an alarm."""
    return AlarmChanged(at(mono_s), name, "oak", AlarmState.NORMAL, state, Priority.HIGH, text, 0.0)


def all_values(mono_s: float = 10.0) -> Sequence[Event]:
    """Enough for every reading's topic to have a value."""
    return (readings(mono_s), verdict(mono_s, True, Reason.BELOW_SETPOINT))
