"""Acknowledging over a real broker, from a message to the running station and back; and all that is ignored."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import replace

import pytest

from helpers_homie import refusals
from helpers_mqtt import Mosquitto, Watcher, wait_for
from helpers_station import ALARMS, Bench, pushes, tub
from matwarden.control_verbs import AlarmVerbs
from matwarden.core.alarm_table import ALARMS as SPECS
from matwarden.core.alarm_table import HOUSE_ALARMS
from matwarden.events import Notice, PersonDid
from matwarden.mqtt_acknowledge import WAITING_MOST, RemoteAcknowledge
from matwarden.sinks import homie
from matwarden.sinks.mqtt import MqttSink
from matwarden.sinks.mqtt_terms import MqttTerms
from matwarden.terms import AlarmState, Unit

ROOT = "homie/5/shelf-1"
SET = f"{ROOT}/house/acknowledge/set"


class Listening(Bench):
    """Oak, cold or warm, told to a broker, from which it may be acknowledged."""

    def __init__(self, port: int, acknowledge: bool = True) -> None:
        oak = replace(tub(), alarms=replace(ALARMS, cold_after_s=60.0))
        self.sink: MqttSink | None = None
        super().__init__(oak, on_tell=lambda events: None if self.sink is None else self.sink.accept(events))
        remote = RemoteAcknowledge()
        device = homie.DeviceTerms("shelf-1", "Shelf", Unit.C, (oak,), acknowledge=acknowledge)
        terms = MqttTerms("127.0.0.1", port, acknowledge=acknowledge)
        self.sink = MqttSink(terms, device, time.monotonic, 0.05, on_acknowledge=remote.ask)
        remote.serve(self.station, AlarmVerbs(self.station, "Shelf", 86400.0))
        self.set(oak_air=20.0, oak_wall=20.0)
        self.run(120.0)

    def state(self) -> str:
        return next(a.memory.state.value for a in self.station.alarms() if a.id == "cold/oak")

    def until(self, watcher: Watcher, topic: str, payload: str) -> None:
        """Cycle when asked to, until the topic holds this."""

        def there() -> bool:
            if self.station.wake.is_set():
                self.cycle()
            return watcher.text(f"{ROOT}/{topic}") == payload

        wait_for(there, f"{topic} = {payload}")


@pytest.fixture
def shelf(mosquitto: Mosquitto) -> Iterator[Listening]:
    shelf = Listening(mosquitto.port)
    yield shelf
    assert shelf.sink is not None
    shelf.sink.close()


@pytest.mark.parametrize("target", ["cold/oak", "all"])
def test_a_message_acknowledges_and_the_property_says_which(
    shelf: Listening, mosquitto: Mosquitto, target: str
) -> None:
    """The alarm is acknowledged by `mqtt`; what was asked is reflected, as Homie v5.0.0 has it for a settable one."""
    with Watcher(mosquitto.port) as watcher:
        watcher.wait(f"{ROOT}/$state", "ready")
        watcher.client.publish(SET, target, 1)
        shelf.until(watcher, "house/acknowledge", target)
        watcher.wait(f"{ROOT}/oak/cold-alarm", "acknowledged")
        deeds = [event for event in shelf.told if isinstance(event, PersonDid)]
        assert [(deed.by, deed.verb, deed.target) for deed in deeds] == [("mqtt", "ack", target)]
        kept = {topic: payload for topic, payload in watcher.picture.items() if topic != SET}
        assert refusals(kept, "shelf-1") == []


@pytest.mark.parametrize(
    "payload",
    [b"oak", b"hot/oak", b"reset oak", b"on", b"\xff\xfe", b"cold/oak " + b"x" * 100_000, b'{"do":"reset"}'],
    ids=lambda payload: repr(payload[:12]),
)
def test_anything_else_is_ignored_with_a_line_and_not_reflected(
    shelf: Listening, mosquitto: Mosquitto, payload: bytes
) -> None:
    """A tub, an alarm that is not on, a command, junk: nothing is done, recorded or reflected."""
    with Watcher(mosquitto.port) as watcher:
        watcher.wait(f"{ROOT}/$state", "ready")
        watcher.client.publish(SET, payload, 1)
        wait_for(shelf.station.wake.is_set, "the message to reach the station")
        shelf.cycle()
        (line,) = (e.text for e in shelf.told if isinstance(e, Notice) and "MQTT" in e.text)
        assert "ignored" in line
        assert shelf.state() == "unacknowledged"
        assert not [event for event in shelf.told if isinstance(event, PersonDid)]
        assert watcher.text(f"{ROOT}/house/acknowledge") is None


def test_a_retained_message_acknowledges_nothing(mosquitto: Mosquitto) -> None:
    """What a broker has kept from before is no act of now; it does not even reach the station."""
    with Watcher(mosquitto.port) as watcher:
        watcher.client.publish(SET, "all", 1, retain=True).wait_for_publish(20.0)
        shelf = Listening(mosquitto.port)
        try:
            watcher.wait(f"{ROOT}/$state", "ready")
            watcher.wait(SET, None)  # found by the survey, and deleted: everything retained has come in by then
            shelf.run(30.0)
            assert shelf.state() == "unacknowledged"
            assert not [event for event in shelf.told if isinstance(event, PersonDid)]
        finally:
            assert shelf.sink is not None
            shelf.sink.close()


def test_without_the_setting_nothing_is_settable_and_nothing_heard(mosquitto: Mosquitto) -> None:
    """By default the description names no such property, and a message to its topic changes nothing."""
    shelf = Listening(mosquitto.port, acknowledge=False)
    try:
        with Watcher(mosquitto.port) as watcher:
            watcher.wait(f"{ROOT}/$state", "ready")
            watcher.client.publish(SET, "all", 1)
            watcher.catch_up()
            shelf.run(30.0)
            assert shelf.state() == "unacknowledged"
            document = json.loads(watcher.text(f"{ROOT}/$description") or "")
            assert "acknowledge" not in document["nodes"]["house"]["properties"]
    finally:
        assert shelf.sink is not None
        shelf.sink.close()


def test_a_flood_costs_a_few_looks_and_one_line() -> None:
    """Ten thousand messages between two cycles: 32 wait for the station, and one line tells of the rest."""
    bench = Bench()
    remote = RemoteAcknowledge()
    remote.serve(bench.station, AlarmVerbs(bench.station, "Shelf", 86400.0))
    for number in range(10_000):
        remote.ask(f"cold/{number}")
    assert len(bench.station._calls) == WAITING_MOST
    bench.run(50.0)
    assert len([e for e in bench.told if isinstance(e, Notice) and "MQTT" in e.text]) == 1
    assert not pushes(bench.told, "cold/oak")


def test_the_one_settable_property_is_described_as_such() -> None:
    """Where it is wanted, house/acknowledge is a settable string, and the only settable one."""
    nodes = json.loads(homie.description(replace(_device(), acknowledge=True)))["nodes"]
    settable = {(n, key): p for n, node in nodes.items() for key, p in node["properties"].items() if p.get("settable")}
    assert [key for key in settable] == [("house", "acknowledge")]
    assert settable["house", "acknowledge"]["datatype"] == "string"


def test_each_alarm_of_the_table_has_every_state_it_can_be_in() -> None:
    """The enum of an alarm's property is the states, for each alarm of tub and house the table has."""
    nodes = json.loads(homie.description(_device()))["nodes"]
    properties = nodes["oak"]["properties"] | nodes["house"]["properties"]
    for spec in SPECS:
        if spec in HOUSE_ALARMS or spec.condition in homie.conditions(_device().enclosures[0]):
            assert properties[f"{spec.condition}-alarm"]["format"] == ",".join(AlarmState)


def _device() -> homie.DeviceTerms:
    return homie.DeviceTerms("shelf-1", "Shelf", Unit.C, (tub(),))
