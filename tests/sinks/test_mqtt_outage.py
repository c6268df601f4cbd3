"""The sink when the broker, the line or the daemon itself goes away."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest

from helpers_homie import refusals
from helpers_mqtt import (
    MOSQUITTO,
    AnyBroker,
    Cable,
    Mosquitto,
    Watcher,
    alarm,
    all_values,
    free_port,
    readings,
    telling,
    wait_for,
)
from matwarden.sinks.demo_broker import embedded_broker
from matwarden.sinks.mqtt import MqttSink
from matwarden.terms import AlarmState

ROOT = "homie/5/shelf-1"
BATCHES = 5_000
# 5000 batches in this time are 1 ms each: a hundred times what is measured, and far under any network wait.
BUDGET_S = 5.0

DAEMON = """
import sys, time
from helpers_mqtt import all_values, shelf, telling
with telling(int(sys.argv[1]), will_delay_s=int(sys.argv[2])) as sink:
    sink.accept(all_values())
    time.sleep(600)
"""


@pytest.fixture
def cable(mosquitto: Mosquitto) -> Iterator[Cable]:
    """A line to the broker that a test can pull out."""
    line = Cable(mosquitto.port)
    yield line
    line.close()


def flood(sink: MqttSink) -> float:
    """Offer many batches; how long that took, in seconds."""
    begun = time.monotonic()
    for cycle in range(BATCHES):
        sink.accept([readings(cycle)])
    sink.accept([readings(BATCHES, {"alder-air": 20.1})])
    return time.monotonic() - begun


def test_a_killed_daemon_is_lost(mosquitto: Mosquitto) -> None:
    """kill -9 leaves nobody to say goodbye: the broker says `lost`, retained."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-c", DAEMON, str(mosquitto.port), "1"]
    with Watcher(mosquitto.port) as watcher, subprocess.Popen(command, env=environment) as daemon:
        watcher.wait(f"{ROOT}/$state", "ready")
        daemon.send_signal(signal.SIGKILL)
        watcher.wait(f"{ROOT}/$state", "lost")
    with Watcher(mosquitto.port) as late:
        late.wait(f"{ROOT}/$state", "lost")


def test_a_short_drop_of_the_line_is_not_lost(mosquitto: Mosquitto, cable: Cable) -> None:
    """Within the will delay a reconnection is seen as a new init and ready, never as lost."""
    with Watcher(mosquitto.port) as watcher, telling(cable.port, will_delay_s=10) as sink:
        sink.accept(all_values())
        watcher.wait(f"{ROOT}/$state", "ready")
        cable.pull()
        cable.plug()
        wait_for(lambda: watcher.states().count("ready") == 2, "the second ready")
        assert "lost" not in watcher.states()


def test_a_long_drop_of_the_line_is_lost_until_it_is_back(mosquitto: Mosquitto, cable: Cable) -> None:
    """Beyond the will delay watchers are told; with the line back the device is ready again."""
    with Watcher(mosquitto.port) as watcher, telling(cable.port, will_delay_s=1):
        watcher.wait(f"{ROOT}/$state", "ready")
        cable.pull()
        watcher.wait(f"{ROOT}/$state", "lost")
        cable.plug()
        watcher.wait(f"{ROOT}/$state", "ready")
        assert watcher.states() == ["init", "ready", "lost", "init", "ready"]


@pytest.mark.parametrize("qos", [1, 2])
def test_a_broker_that_lost_everything_gets_everything_again(mosquitto: Mosquitto, qos: int) -> None:
    """After a restart with an empty store the picture is complete, legal and the same as before."""
    with telling(mosquitto.port, qos=qos) as sink:
        sink.accept([*all_values(), alarm(20, AlarmState.UNACKNOWLEDGED)])
        with Watcher(mosquitto.port) as before:
            before.wait(f"{ROOT}/$alert/oak-cold", "Oak is cold")
            before.wait(f"{ROOT}/$state", "ready")
        mosquitto.stop()
        mosquitto.start()
        begun = time.monotonic()
        with Watcher(mosquitto.port) as after:
            after.wait(f"{ROOT}/$state", "ready")
            assert time.monotonic() - begun < 7.0
            assert after.picture == before.picture
            assert refusals(after.picture, "shelf-1") == []


def test_a_broker_that_comes_late_is_found() -> None:
    """Nothing blocks while there is none, and within some six seconds the newest value is there."""
    port = free_port()
    with telling(port, protocol="3.1.1") as sink:
        assert flood(sink) < BUDGET_S
        with embedded_broker(port), Watcher(port, "3.1.1") as watcher:
            watcher.wait(f"{ROOT}/alder/air-temperature", "20.1")
            watcher.wait(f"{ROOT}/$state", "ready")


def test_closing_without_a_broker_does_not_wait() -> None:
    """There is nobody to say goodbye to."""
    with telling(free_port()) as sink:
        begun = time.monotonic()
        sink.close()
        assert time.monotonic() - begun < 2.0


def test_a_frozen_broker_blocks_nobody(mosquitto: Mosquitto) -> None:
    """While the broker's process stands still events are taken as ever; thawed, it has the newest value."""
    with telling(mosquitto.port) as sink, Watcher(mosquitto.port) as watcher:
        watcher.wait(f"{ROOT}/$state", "ready")
        mosquitto.freeze()
        assert flood(sink) < BUDGET_S
        mosquitto.thaw()
        watcher.wait(f"{ROOT}/alder/air-temperature", "20.1")


def test_closing_before_a_frozen_broker_ends_soon(mosquitto: Mosquitto) -> None:
    """The goodbye is waited for, but not for long."""
    with telling(mosquitto.port) as sink, Watcher(mosquitto.port) as watcher:
        watcher.wait(f"{ROOT}/$state", "ready")
        mosquitto.freeze()
        begun = time.monotonic()
        sink.close()
        assert time.monotonic() - begun < 5.5
        mosquitto.thaw()


def test_a_broker_not_there_is_complained_of_once(caplog: pytest.LogCaptureFixture) -> None:
    """One line says which broker and what happens next, however often it is tried."""
    port = free_port()
    with telling(port):
        wait_for(lambda: f"no connection to 127.0.0.1:{port}" in caplog.text, "the complaint")
        time.sleep(1.5)  # long enough for a second try to complain too
    assert caplog.text.count("no connection") == 1


def test_two_daemons_with_one_id_do_not_fight_for_ever(mosquitto: Mosquitto, caplog: pytest.LogCaptureFixture) -> None:
    """After throwing each other out a few times one of them complains and stays away; the other goes on."""
    with Watcher(mosquitto.port) as watcher, telling(mosquitto.port) as one, telling(mosquitto.port) as other:
        wait_for(lambda: "another daemon use the same house id" in caplog.text, "the complaint")
        for sink in (one, other):
            sink.accept([readings(10, {"alder-air": 19.9})])
        watcher.wait(f"{ROOT}/alder/air-temperature", "19.9")
        wait_for(lambda: watcher.text(f"{ROOT}/$state") == "ready", "ready")


# The bytes are packets of MQTT 5.0 (OASIS 2019, sections 3.2 CONNACK, 3.14 DISCONNECT, 2.4 reason codes) and of
# MQTT 3.1.1 (section 3.2), written from memory; paho, a client of its own, reads them so.
ACCEPTED = b"\x20\x03\x00\x00\x00"


@pytest.mark.parametrize(
    ("answer", "complaint"),
    [
        (b"\x20\x03\x00\x86\x00", "the broker does not let us in"),
        (b"\x20\x03\x00\x87\x00", "the broker does not let us in"),
        (b"\x20\x03\x00\x84\x00", 'set protocol = "3.1.1"'),
        (b"\x20\x02\x00\x01", 'set protocol = "3.1.1"'),
        (ACCEPTED + b"\xe0\x02\x8e\x00", "two daemons must not share one id"),
        (ACCEPTED + b"\xe0\x02\x8b\x00", "the broker said: Server shutting down"),
        (ACCEPTED + b"\xe0\x00", "the broker said: Normal disconnection"),
        (ACCEPTED + b"\x30\xff\xff\xff\xff\xff", "the connection broke"),
        (b"HTTP/1.1 400 Bad Request\r\n\r\n", "did not answer as an MQTT broker does"),
        (b"", "did not answer as an MQTT broker does"),
    ],
)
def test_the_complaint_says_what_the_broker_said(
    caplog: pytest.LogCaptureFixture, answer: bytes, complaint: str
) -> None:
    """Each refusal becomes a sentence a keeper can act on, and no answer brings the thread down."""
    with socket.create_server(("127.0.0.1", 0)) as listener, telling(listener.getsockname()[1]):
        connection, _ = listener.accept()
        with connection:
            connection.recv(4096)
            connection.sendall(answer)
            connection.shutdown(socket.SHUT_WR)
            wait_for(lambda: complaint in caplog.text, complaint)
    assert "a mistake in matwarden" not in caplog.text


def test_a_broker_that_never_answers_is_given_up(caplog: pytest.LogCaptureFixture) -> None:
    """A server that takes the connection and stays silent does not hold the sink for ever."""
    with socket.create_server(("127.0.0.1", 0)) as listener, telling(listener.getsockname()[1]):
        wait_for(lambda: "did not answer as an MQTT broker does" in caplog.text, "the complaint")


@pytest.mark.skipif(MOSQUITTO is None, reason="this shows what mosquitto and the demo's broker have in common")
def test_the_picture_is_the_same_with_either_protocol(broker: AnyBroker) -> None:
    """MQTT 3.1.1 at the demo's broker shows what MQTT 5 at mosquitto shows."""
    pictures = []
    with embedded_broker(free_port()) as embedded:
        for port, protocol in (broker, AnyBroker(embedded.port, "3.1.1")):
            with telling(port, protocol=protocol) as sink, Watcher(port, protocol) as watcher:
                sink.accept([*all_values(), alarm(20, AlarmState.UNACKNOWLEDGED)])
                watcher.wait(f"{ROOT}/$alert/oak-cold", "Oak is cold")
                watcher.wait(f"{ROOT}/$state", "ready")
                pictures.append(dict(watcher.picture))
    assert pictures[0] == pictures[1]
