"""The broker inside the process, which lets the demo run with nothing else installed."""

from __future__ import annotations

import subprocess
import sys

import pytest

from helpers_mqtt import Watcher, alarm, all_values, free_port, telling
from matwarden.sinks.demo_broker import DemoBrokerError, embedded_broker
from matwarden.terms import AlarmState

ROOT = "homie/5/shelf-1"


def test_the_sink_can_tell_it_everything() -> None:
    """Picture, alert and goodbye arrive at a subscriber."""
    with embedded_broker(free_port()) as broker, Watcher(broker.port, "3.1.1") as watcher:
        with telling(broker.port, protocol="3.1.1") as sink:
            sink.accept([*all_values(), alarm(20, AlarmState.UNACKNOWLEDGED)])
            watcher.wait(f"{ROOT}/$state", "ready")
            watcher.wait(f"{ROOT}/$alert/oak-cold", "Oak is cold")
        watcher.wait(f"{ROOT}/$state", "disconnected")


def test_a_later_subscriber_gets_what_was_retained() -> None:
    """It keeps the picture for as long as it runs."""
    with embedded_broker(free_port()) as broker, telling(broker.port, protocol="3.1.1") as sink:
        sink.accept(all_values())
        with Watcher(broker.port, "3.1.1") as early:
            early.wait(f"{ROOT}/$state", "ready")
        with Watcher(broker.port, "3.1.1") as late:
            late.wait(f"{ROOT}/oak/air-temperature", "24.6")


def test_what_is_not_ours_is_left_alone_though_this_broker_sends_it() -> None:
    """It sends a new client what any other has subscribed to; only topics below our own id are ever deleted."""
    other, ghost = "homie/5/shelf-2/oak/air-temperature", f"{ROOT}/rowan/air-temperature"
    with embedded_broker(free_port()) as broker, Watcher(broker.port, "3.1.1") as watcher:
        for topic in (other, ghost):
            watcher.client.publish(topic, "24.0", 1, retain=True)
            watcher.wait(topic, "24.0")
        with telling(broker.port, protocol="3.1.1"):
            watcher.wait(ghost, None)
        assert watcher.text(other) == "24.0"


def test_it_listens_on_loopback_only() -> None:
    """Every socket this process listens on for it is bound to 127.0.0.1 (/proc/net/tcp: 0100007F, state 0A)."""
    with embedded_broker(free_port()) as broker:
        with open("/proc/net/tcp", encoding="ascii") as table:
            rows = [line.split() for line in table]
        listening = [row[1] for row in rows if row[3] == "0A" and row[1].endswith(f":{broker.port:04X}")]
        assert listening == [f"0100007F:{broker.port:04X}"]


def test_a_port_in_use_is_told() -> None:
    """The second broker on one port says so, and the first goes on."""
    with embedded_broker(free_port()) as broker:
        with (
            pytest.raises(DemoBrokerError, match=f"127.0.0.1:{broker.port}.*in use"),
            embedded_broker(broker.port),
        ):
            pass
        with Watcher(broker.port, "3.1.1") as watcher:
            watcher.catch_up()


def test_its_port_is_free_again_afterwards() -> None:
    """Start, stop and start on the same port."""
    port = free_port()
    for _ in range(2):
        with embedded_broker(port), Watcher(port, "3.1.1") as watcher:
            watcher.catch_up()


def test_without_its_library_the_extra_is_named() -> None:
    """In an interpreter that has no amqtt the error says what to install."""
    script = (
        "import sys; sys.modules['amqtt'] = None; sys.path[:0] = eval(sys.argv[1])\n"
        "from matwarden.sinks.demo_broker import embedded_broker\n"
        "with embedded_broker(1): pass"
    )
    command = [sys.executable, "-c", script, repr(sys.path)]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    assert "DemoBrokerError: the demo's broker needs the extra `demo`" in ended.stderr
