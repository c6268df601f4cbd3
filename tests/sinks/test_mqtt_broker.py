"""The sink with a real broker that is there all the time: what subscribers see."""

from __future__ import annotations

import json
from typing import Literal

import pytest

from helpers_homie import refusals
from helpers_mqtt import (
    AnyBroker,
    Mosquitto,
    Watcher,
    alarm,
    all_values,
    at,
    readings,
    refused,
    shelf,
    telling,
    verdict,
    wait_for,
)
from matwarden.events import DigestMade, Started
from matwarden.terms import AlarmState, Reason, Unit

ROOT = "homie/5/shelf-1"
NOT_YET = {
    f"{ROOT}/house/{key}" for key in ("run-started", "digest", "digest-text", "digest-made")
}  # unless a test tells them


def described(watcher: Watcher) -> set[str]:
    """The topic of every property that `$description` promises."""
    nodes = json.loads(watcher.picture[f"{ROOT}/$description"])["nodes"]
    return {f"{ROOT}/{name}/{key}" for name, node in nodes.items() for key in node["properties"]}


@pytest.mark.parametrize("unit", list(Unit))
def test_the_retained_picture_is_complete_and_legal(broker: AnyBroker, unit: Unit) -> None:
    """Every described property has a retained value that a validator of the convention takes."""
    device = shelf(unit=unit)
    digest = DigestMade(at(20), "2026-11-02", "All well", {"to": "2026-11-02T08:00:00Z", "oak": {}})
    with telling(broker.port, device, protocol=broker.protocol) as sink:
        sink.accept([Started(at(0), "0.1.0"), *all_values(), digest, alarm(20, AlarmState.UNACKNOWLEDGED)])
        with Watcher(broker.port, broker.protocol) as watcher:
            watcher.wait(f"{ROOT}/$state", "ready")
            watcher.wait(f"{ROOT}/house/digest-text", "All well")
            assert refusals(watcher.picture, "shelf-1") == []
            assert described(watcher) <= set(watcher.picture)


def test_the_start_is_in_the_order_of_the_convention(broker: AnyBroker) -> None:
    """init, then the description, then values, and ready last (Homie v5.0.0, "Device lifecycle")."""
    with Watcher(broker.port, broker.protocol) as watcher:
        with telling(broker.port, protocol=broker.protocol):
            watcher.wait(f"{ROOT}/$state", "ready")
        order = [h.topic.removeprefix(f"{ROOT}/") for h in watcher.heard]
        ready = [h.payload for h in watcher.heard].index(b"ready")
        assert order[:2] == ["$state", "$description"]
        assert order.index("room/reading-quality") < ready


def test_everything_is_retained(mosquitto: Mosquitto) -> None:
    """Each publication carries the retain flag, so a controller that comes later misses nothing."""
    with Watcher(mosquitto.port) as watcher, telling(mosquitto.port) as sink:
        sink.accept([*all_values(), alarm(20, AlarmState.UNACKNOWLEDGED)])
        watcher.wait(f"{ROOT}/$alert/oak-cold", "Oak is cold")
        assert all(h.retained for h in watcher.heard)


def test_a_new_reading_arrives(broker: AnyBroker) -> None:
    """What changed is published; what did not is not sent again."""
    with (
        Watcher(broker.port, broker.protocol) as watcher,
        telling(broker.port, protocol=broker.protocol) as sink,
    ):
        sink.accept(all_values())
        watcher.wait(f"{ROOT}/alder/air-temperature", "23.5")
        sink.accept([readings(20, {"alder-air": 21.0})])
        watcher.wait(f"{ROOT}/alder/air-temperature", "21.0")
        assert [h.payload for h in watcher.heard if h.topic == f"{ROOT}/alder/band-low"] == [b"22.2"]


def test_a_verdict_does_not_wait_for_the_next_round(broker: AnyBroker) -> None:
    """With an hour between rounds of readings, a verdict and an alarm still go out at once."""
    with (
        Watcher(broker.port, broker.protocol) as watcher,
        telling(broker.port, flush_s=3600.0, protocol=broker.protocol) as sink,
    ):
        watcher.wait(f"{ROOT}/$state", "ready")
        sink.accept([verdict(20, False, Reason.CUT_OUT)])
        watcher.wait(f"{ROOT}/oak/heat-reason", "cut-out")


def test_an_alert_appears_and_is_deleted(broker: AnyBroker) -> None:
    """While the alarm is active its text is retained; on return to normal the topic is gone."""
    with (
        Watcher(broker.port, broker.protocol) as watcher,
        telling(broker.port, protocol=broker.protocol) as sink,
    ):
        sink.accept([alarm(10, AlarmState.UNACKNOWLEDGED, "Oak below 22.2 °C for 60 min (now 21.4 °C)")])
        watcher.wait(f"{ROOT}/$alert/oak-cold", "Oak below 22.2 °C for 60 min (now 21.4 °C)")
        sink.accept([alarm(20, AlarmState.NORMAL)])
        watcher.wait(f"{ROOT}/$alert/oak-cold", None)
        assert watcher.text(f"{ROOT}/oak/cold-alarm") == "normal"


def test_a_stale_reading_is_deleted_at_the_broker(broker: AnyBroker) -> None:
    """Whatever the protocol, an old temperature does not stay retained."""
    with (
        Watcher(broker.port, broker.protocol) as watcher,
        telling(broker.port, protocol=broker.protocol) as sink,
    ):
        sink.accept([readings(10)])
        watcher.wait(f"{ROOT}/alder/air-temperature", "23.5")
        sink.accept([refused(80, "alder-air")])
        watcher.wait(f"{ROOT}/alder/air-temperature", None)
        watcher.wait(f"{ROOT}/alder/reading-quality", "missing")


def test_a_clean_stop_says_so(broker: AnyBroker) -> None:
    """After close the device is disconnected, never lost, and heat is shown as cut."""
    with Watcher(broker.port, broker.protocol) as watcher:
        with telling(broker.port, protocol=broker.protocol) as sink:
            sink.accept(all_values())
            watcher.wait(f"{ROOT}/oak/heat-allowed", "true")
        watcher.wait(f"{ROOT}/$state", "disconnected")
        assert watcher.states() == ["init", "ready", "disconnected"]
        assert watcher.text(f"{ROOT}/oak/heat-allowed") == "false"


def test_what_came_in_just_before_the_stop_is_published(broker: AnyBroker) -> None:
    """Close takes along what no round has fetched yet."""
    with Watcher(broker.port, broker.protocol) as watcher:
        with telling(broker.port, flush_s=3600.0, protocol=broker.protocol) as sink:
            watcher.wait(f"{ROOT}/$state", "ready")
            sink.accept([readings(20, {"alder-air": 19.0})])
        watcher.wait(f"{ROOT}/alder/air-temperature", "19.0")


def test_close_can_be_called_twice(broker: AnyBroker) -> None:
    """The second time nothing happens."""
    with telling(broker.port, protocol=broker.protocol) as sink:
        sink.close()


def test_no_message_from_outside_changes_anything(broker: AnyBroker) -> None:
    """Commands to every property, heat above all, and to the device itself are not acted upon."""
    with (
        Watcher(broker.port, broker.protocol) as watcher,
        telling(broker.port, protocol=broker.protocol) as sink,
    ):
        sink.accept([readings(10), verdict(10, False, Reason.TRIPPED)])
        watcher.wait(f"{ROOT}/oak/heat-reason", "tripped")
        watcher.wait(f"{ROOT}/$state", "ready")
        wait_for(lambda: described(watcher) - set(watcher.picture) == NOT_YET, "the whole picture")
        before = dict(watcher.picture)
        for topic in [t for t in before if "$" not in t]:
            watcher.client.publish(f"{topic}/set", "true" if "heat" in topic else "40", 1)
        watcher.client.publish("homie/5/$broadcast/reset", "shelf-1", 1).wait_for_publish(5)
        sink.accept([readings(19, {"alder-air": 21.0})])
        watcher.wait(f"{ROOT}/alder/air-temperature", "21.0")
        watcher.wait(f"{ROOT}/alder/last-reading", "2026-11-02T08:00:19Z")
        ours = {t: p for t, p in watcher.picture.items() if not t.endswith("/set") and "$broadcast" not in t}
        assert {t for t in ours if ours[t] != before.get(t)} == {
            f"{ROOT}/alder/air-temperature",
            f"{ROOT}/alder/last-reading",
        }


def test_readings_expire_and_nothing_else_does(mosquitto: Mosquitto) -> None:
    """Temperatures and humidity carry a message expiry interval; states, alerts, settings never."""
    with Watcher(mosquitto.port) as watcher, telling(mosquitto.port, expire_after_s=120) as sink:
        sink.accept([*all_values(), alarm(20, AlarmState.UNACKNOWLEDGED)])
        watcher.wait(f"{ROOT}/$alert/oak-cold", "Oak is cold")
        expiring = {h.topic for h in watcher.heard if h.expires_s is not None}
        assert {h.expires_s for h in watcher.heard if h.topic in expiring} <= {119, 120}
        assert expiring == {t for t in watcher.picture if "temperature" in t or "humidity" in t}


def test_the_broker_forgets_a_reading_that_is_not_renewed(mosquitto: Mosquitto) -> None:
    """When the daemon says nothing more, an old temperature vanishes by itself, and the state stays."""
    with telling(mosquitto.port, expire_after_s=1) as sink:
        sink.accept(all_values())

        def held() -> set[str]:
            with Watcher(mosquitto.port) as late:
                late.catch_up()
                return set(late.picture)

        wait_for(lambda: f"{ROOT}/alder/last-reading" in held(), "the picture")
        wait_for(lambda: f"{ROOT}/alder/air-temperature" not in held(), "the temperature to expire")
        assert f"{ROOT}/alder/last-reading" in held()


def test_a_steady_temperature_is_renewed_before_it_expires(mosquitto: Mosquitto) -> None:
    """The same number again and again is still a new reading."""
    topic = f"{ROOT}/alder/air-temperature"
    with Watcher(mosquitto.port) as watcher, telling(mosquitto.port, expire_after_s=1) as sink:

        def renewed() -> bool:
            sink.accept([readings(10)])
            return [h.payload for h in watcher.heard if h.topic == topic].count(b"23.5") >= 3

        wait_for(renewed, "the third publication of an unchanged temperature")


def test_a_renamed_tub_leaves_no_ghost(broker: AnyBroker) -> None:
    """Topics and alerts of an earlier run that are no longer said are deleted; other devices' are not touched."""
    other = "homie/5/shelf-2/oak/air-temperature"
    with Watcher(broker.port, broker.protocol) as watcher:
        watcher.client.publish(other, "24.0", 1, retain=True)
        watcher.wait(other, "24.0")
        with telling(broker.port, protocol=broker.protocol) as before:
            before.accept([*all_values(), alarm(10, AlarmState.UNACKNOWLEDGED)])
            watcher.wait(f"{ROOT}/$alert/oak-cold", "Oak is cold")
        with telling(broker.port, shelf(first="hazel"), protocol=broker.protocol):
            wait_for(lambda: not [t for t in watcher.picture if "oak" in t and t != other], "oak's topics to go")
            assert watcher.text(f"{ROOT}/hazel/band-low") == "22.2"
    assert watcher.text(other) == "24.0"


def test_last_nights_digest_outlives_a_restart(broker: AnyBroker) -> None:
    """A new run has no digest yet and leaves the old one where it is."""
    with Watcher(broker.port, broker.protocol) as watcher:
        with telling(broker.port, protocol=broker.protocol) as before:
            before.accept([DigestMade(at(20), "2026-11-02", "All well", {}), *all_values()])
            watcher.wait(f"{ROOT}/oak/heat-reason", "below-setpoint")
        with telling(broker.port, protocol=broker.protocol):
            # The survey is over when the last run's readings, which this run cannot vouch for, are deleted.
            watcher.wait(f"{ROOT}/alder/air-temperature", None)
            assert watcher.text(f"{ROOT}/house/digest-text") == "All well"


def test_an_alert_that_is_handed_on_outlives_a_restart(broker: AnyBroker) -> None:
    """What the new run is told at its start stays; an alert it knows nothing of is deleted."""
    cold, hot = (f"{ROOT}/$alert/oak-{condition}" for condition in ("cold", "hot"))
    handed_on = alarm(10, AlarmState.UNACKNOWLEDGED)
    with Watcher(broker.port, broker.protocol) as watcher:
        with telling(broker.port, protocol=broker.protocol) as before:
            before.accept([handed_on, alarm(10, AlarmState.UNACKNOWLEDGED, "Oak is hot", "hot/oak")])
            watcher.wait(hot, "Oak is hot")
        with telling(broker.port, protocol=broker.protocol) as after:
            after.accept([handed_on])
            watcher.wait(hot, None)
    assert watcher.text(cold) == "Oak is cold"
    assert [h.payload for h in watcher.heard if h.topic == cold and not h.payload] == []


def test_a_digest_that_is_not_json_stops_nothing(broker: AnyBroker, caplog: pytest.LogCaptureFixture) -> None:
    """It is left out and logged; what comes with it and after it is published."""
    with (
        Watcher(broker.port, broker.protocol) as watcher,
        telling(broker.port, protocol=broker.protocol) as sink,
    ):
        watcher.wait(f"{ROOT}/$state", "ready")
        sink.accept([DigestMade(at(20), "2026-11-02", "", {"c": float("nan")}), readings(20)])
        watcher.wait(f"{ROOT}/alder/air-temperature", "23.5")
    assert "the digest cannot be published: not JSON" in caplog.text
    assert watcher.text(f"{ROOT}/house/digest") is None


@pytest.mark.parametrize("qos", [1, 2])
def test_both_qualities_of_service_work(mosquitto: Mosquitto, qos: Literal[1, 2]) -> None:
    """The whole picture and a change arrive with either."""
    with Watcher(mosquitto.port) as watcher, telling(mosquitto.port, qos=qos) as sink:
        sink.accept(all_values())
        watcher.wait(f"{ROOT}/$state", "ready")
        sink.accept([readings(20, {"alder-air": 21.0})])
        watcher.wait(f"{ROOT}/alder/air-temperature", "21.0")


def test_another_domain_can_be_chosen(broker: AnyBroker) -> None:
    """The first level is the keeper's; everything is below it."""
    with Watcher(broker.port, broker.protocol) as watcher:
        with telling(broker.port, domain="animals", protocol=broker.protocol):
            watcher.wait("animals/5/shelf-1/$state", "ready")
        assert {h.topic.split("/")[0] for h in watcher.heard} == {"animals"}
