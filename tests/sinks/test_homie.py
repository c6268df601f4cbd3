"""The Homie side without a broker: ids, documents, payloads."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers_homie import fits, refusals
from helpers_mqtt import shelf
from matwarden.sinks import homie
from matwarden.terms import Reason, Unit

FLOAT = {"datatype": "float", "format": "-55:125:0.1"}


def described(node: str, key: str, device: homie.DeviceTerms | None = None) -> dict[str, Any]:
    """One property as the document tells it."""
    document = json.loads(homie.description(device or shelf()))
    found: dict[str, Any] = document["nodes"][node]["properties"][key]
    return found


@pytest.mark.parametrize("text", ["oak", "a", "7", "shelf-1", "a-b-c"])
def test_lower_case_digits_and_inner_hyphens_make_an_id(text: str) -> None:
    """An id is what Homie v5.0.0, "Topic IDs", allows."""
    assert homie.is_id(text)


@pytest.mark.parametrize(
    "text", ["", "Oak", "-oak", "oak-", "oak 1", "oak/1", "oak_1", "$oak", "öak", "oak\n", "+", "#"]
)
def test_everything_else_is_no_id(text: str) -> None:
    """Capital letters, spaces, edge hyphens and MQTT's own signs are refused."""
    assert not homie.is_id(text)


def test_the_description_is_what_a_strict_controller_takes() -> None:
    """A validator written from the convention finds nothing to refuse, in either unit."""
    for unit in Unit:
        document = homie.description(shelf(unit=unit))
        picture = {"homie/5/shelf-1/$state": b"ready", "homie/5/shelf-1/$description": document.encode()}
        assert refusals(picture, "shelf-1") == []


def test_nothing_is_settable() -> None:
    """No property of any node claims to take commands."""
    nodes = json.loads(homie.description(shelf()))["nodes"]
    assert not [p for node in nodes.values() for p in node["properties"].values() if p.get("settable", False)]


def test_every_reason_of_the_guard_can_be_told() -> None:
    """heat-reason lists each reason, and what is shown before the first and after the last decision."""
    values = described("oak", "heat-reason")["format"].split(",")
    assert values == ["starting", "stopped", *Reason]


def test_a_tub_without_a_mat_has_no_heat() -> None:
    """What is only watched shows neither heat nor the alarms of a mat."""
    properties = json.loads(homie.description(shelf()))["nodes"]["alder"]["properties"]
    assert not [key for key in properties if "heat" in key or "relay" in key or "cut-out" in key]


def test_only_probes_that_measure_humidity_get_a_property_for_it() -> None:
    """The house says which probes are humid; the others promise nothing."""
    dry = dataclasses.replace(shelf(), humid=frozenset({"oak-dry"}))
    nodes = json.loads(homie.description(dry))["nodes"]
    assert [k for n in nodes.values() for k in n["properties"] if "humidity" in k] == ["humidity-dry"]


def test_only_a_tub_whose_humidity_is_measured_can_be_too_dry() -> None:
    """A probe of the moist side (or an untold one) that measures it, and a limit: else there is no such property."""
    house = shelf()
    lenient = [dataclasses.replace(e, alarms=dataclasses.replace(e.alarms, too_dry_kpa=1.6)) for e in house.enclosures]
    for tubs, humid, told in (
        (lenient, {"oak-moist"}, ["oak"]),
        (lenient, {"oak-dry"}, []),
        (house.enclosures, {"oak-moist"}, []),
    ):
        nodes = json.loads(
            homie.description(dataclasses.replace(house, enclosures=tuple(tubs), humid=frozenset(humid)))
        )
        assert [name for name, node in nodes["nodes"].items() if "too-dry-alarm" in node["properties"]] == told


def test_the_unit_is_the_keepers() -> None:
    """Temperatures are described in the unit of the settings, with the degree sign as C2 B0."""
    assert described("oak", "air-temperature", shelf(unit=Unit.F))["unit"].encode() == b"\xc2\xb0F"
    assert described("oak", "air-temperature", shelf(unit=Unit.C))["unit"].encode() == b"\xc2\xb0C"


def test_the_version_changes_exactly_when_the_document_does() -> None:
    """Same house, same number; another name, another number; both fit 31 bits."""
    versions = [json.loads(homie.description(d))["version"] for d in (shelf(), shelf(), shelf(first="rowan"))]
    assert versions[0] == versions[1] != versions[2]
    assert all(0 <= version < 2**31 for version in versions)


@pytest.mark.parametrize("name", ["room", "house", "Oak", "alder"])
def test_a_tub_that_cannot_be_a_topic_is_refused(name: str) -> None:
    """Reserved, illegal and doubled ids are named in the error, before anything is sent."""
    with pytest.raises(homie.HomieError, match=name):
        homie.layout(shelf(first=name))


# Fixed points of the two scales: ice and steam, and the crossing at -40 (definition of the Fahrenheit scale, ITS-90).
@pytest.mark.parametrize(("celsius", "shown"), [(0.0, b"32.0"), (100.0, b"212.0"), (-40.0, b"-40.0"), (22.2, b"72.0")])
def test_fahrenheit_is_shown_to_a_tenth(celsius: float, shown: bytes) -> None:
    """A temperature is converted, then rounded once."""
    assert homie.temperature(celsius, Unit.F) == shown


def test_zero_has_no_sign() -> None:
    """-0.04 is 0.0, not -0.0."""
    assert homie.temperature(-0.04, Unit.C) == b"0.0"


@given(st.floats(-55, 125))
def test_every_temperature_of_a_probe_has_a_legal_payload(celsius: float) -> None:
    """Over the range of the widest probe the payload is a Homie float, within half a tenth of the value."""
    payload = homie.temperature(celsius, Unit.C)
    assert fits(FLOAT, payload)
    assert abs(float(payload) - celsius) <= 0.05 + 1e-9


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_not_a_number_is_not_published(value: float) -> None:
    """Homie floats know neither NaN nor infinity: there is an error instead of a payload."""
    with pytest.raises(homie.HomieError):
        homie.temperature(value, Unit.C)


def test_empty_text_is_one_zero_byte() -> None:
    """A payload of no bytes would delete the topic (Homie v5.0.0, "Payload")."""
    assert homie.string("") == b"\x00"
    assert homie.string("Grüße") == "Grüße".encode()


# 1793606400 = 2026-11-02T08:00:00Z and 2**31 = 2038-01-19T03:14:08Z: `date -u -d @N` (GNU coreutils).
@pytest.mark.parametrize(
    ("wall_s", "shown"), [(1793606400.9, b"2026-11-02T08:00:00Z"), (2.0**31, b"2038-01-19T03:14:08Z")]
)
def test_times_are_utc_with_a_z(wall_s: float, shown: bytes) -> None:
    """Whole seconds, never rounded into the future."""
    assert homie.datetime_z(wall_s) == shown


@given(st.text(max_size=30))
def test_every_alarm_has_an_id_for_its_alert(alarm: str) -> None:
    """Whatever an alarm is called, its alert's last level is a legal id."""
    assert homie.is_id(homie.alert_id(alarm))


def test_an_alert_is_named_after_its_tub_first() -> None:
    """Alerts of one tub sort together."""
    assert homie.alert_id("cold/oak") == "oak-cold"


def test_a_digest_that_is_not_json_is_refused() -> None:
    """NaN is not JSON (RFC 8259, section 6)."""
    with pytest.raises(homie.HomieError):
        homie.document({"lowest_c": float("nan")})
