"""The house in the words of the Homie convention, version 5: topics, `$description`, payloads.

Pure: values in, values out. One device for the daemon, one node for each tub, a node `room` for room probes and a
node `house`. Nothing is settable but, where the settings want it, the acknowledgement of alarms: no message can allow
heat, raise a limit or clear a trip.
Source: Homie convention v5.0.0 (CC BY 4.0), homieiot.github.io.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from matwarden.core.alarm_table import HOUSE_ALARMS, PEER_ALARMS, PEERS_UNSEEN
from matwarden.core.disagreement import comparable
from matwarden.core.dryness import counting
from matwarden.terms import AlarmState, Enclosure, ProbeTerms, Reason, Role, Unit

__all__ = [
    "ACKNOWLEDGE",
    "HOUSE_CONDITIONS",
    "RESERVED_NODES",
    "STARTING",
    "STOPPED",
    "DeviceTerms",
    "HomieError",
    "Property",
    "alert_id",
    "boolean",
    "conditions",
    "datetime_z",
    "description",
    "device_root",
    "document",
    "faults",
    "humidity",
    "humidity_key",
    "house_alarms",
    "integer",
    "is_id",
    "layout",
    "string",
    "temperature",
]

STARTING = "starting"  # heat-reason until the guard has first decided
STOPPED = "stopped"  # and after a clean stop: nobody is there to allow heat, so it is cut
ACKNOWLEDGE = "acknowledge"  # the one property that can be set, where the settings want it
RESERVED_NODES = ("house", "room")

HOUSE_CONDITIONS = tuple(spec.condition for spec in HOUSE_ALARMS)
_PEER_CONDITIONS = tuple(spec.condition for spec in PEER_ALARMS if spec is not PEERS_UNSEEN)

_OF_A_MAT = ("cut-out", "relay-fault", "heat-not-arriving", "heat-while-cut", "relay-wear")
_ID = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?")
_VERSION_MASK = 0x7FFF_FFFF  # "integer" to many a reader is 32 bits with a sign
_COLDEST_C, _HOTTEST_C = -55, 125  # the widest range of the probes we know: DS18B20 datasheet


class HomieError(ValueError):
    """An id that cannot be a topic, or a value that has no payload. The text says which and what is allowed."""


@dataclass(frozen=True, slots=True)
class DeviceTerms:
    """What is published: one house.

    Attributes:
        id: the house's id, and the device's.
        humid: ids of the probes that measure humidity too.
        watched: ids of the other stations that are watched from here.
        acknowledge: alarms can be acknowledged by a message.
    """

    id: str
    name: str
    unit: Unit
    enclosures: tuple[Enclosure, ...]
    room_probes: tuple[ProbeTerms, ...] = ()
    humid: frozenset[str] = frozenset()
    watched: tuple[str, ...] = ()
    acknowledge: bool = False


@dataclass(frozen=True, slots=True)
class Property:
    """One property of a node as `$description` tells it."""

    name: str
    datatype: str
    format: str | None = None
    unit: str | None = None
    settable: bool = False

    def fields(self) -> dict[str, str | bool]:
        """Its JSON object; fields left at the convention's default (retained, not settable) are left out."""
        told = {"name": self.name, "datatype": self.datatype, "format": self.format, "unit": self.unit}
        fields: dict[str, str | bool] = {key: text for key, text in told.items() if text is not None}
        return fields | ({"settable": True} if self.settable else {})


def is_id(text: str) -> bool:
    """May `text` be one level of a Homie topic? Lower-case letters, digits and inner hyphens."""
    return _ID.fullmatch(text) is not None


def faults(device: DeviceTerms) -> list[str]:
    """Everything that keeps this house from being published, one sentence each; empty when all is well."""
    found = []
    if not is_id(device.id):
        found.append(f"house id {device.id!r}: only a-z, 0-9 and inner hyphens can be in an MQTT topic")
    seen: set[str] = set()
    for enclosure in device.enclosures:
        if not is_id(enclosure.id):
            found.append(f"enclosure id {enclosure.id!r}: only a-z, 0-9 and inner hyphens can be in an MQTT topic")
        if enclosure.id in RESERVED_NODES:
            found.append(f"enclosure id {enclosure.id!r} is taken by a node of our own: choose another")
        if enclosure.id in seen:
            found.append(f"enclosure id {enclosure.id!r} is used twice")
        seen.add(enclosure.id)
    return found


def conditions(enclosure: Enclosure, humid: frozenset[str] = frozenset()) -> tuple[str, ...]:
    """The alarms a tub can have, by the first part of their ids. `humid`: the probes that measure humidity."""
    mat = () if enclosure.mat is None else _OF_A_MAT
    pairs = ("probes-disagree",) if comparable(enclosure.probes) else ()
    dry = ("too-dry",) if any(probe.id in humid for probe in counting(enclosure.probes, enclosure.alarms)) else ()
    return ("cold", "hot", "blind", *mat, *pairs, *dry)


def house_alarms(device: DeviceTerms) -> dict[str, str]:
    """The alarms of no tub: the property that carries each one's state, by its id."""
    # A device without tubs only watches others: it has no house to tell of.
    of_house = HOUSE_CONDITIONS if device.enclosures else ()
    keys = {f"{condition}/house": f"{condition}-alarm" for condition in of_house}
    if device.watched:
        keys[f"{PEERS_UNSEEN.condition}/house"] = f"{PEERS_UNSEEN.condition}-alarm"
    keys |= {
        f"{condition}/{peer}": f"{condition}-{peer}-alarm" for peer in device.watched for condition in _PEER_CONDITIONS
    }
    return keys


def device_root(domain: str, device_id: str) -> str:
    """The topic under which everything of this device lives."""
    return f"{domain}/5/{device_id}"


def alert_id(alarm: str) -> str:
    """`cold/oak` -> `oak-cold`: the last level of an alert's topic. What cannot be in an id becomes a hyphen."""
    condition, _, whose = alarm.partition("/")
    text = re.sub(r"[^a-z0-9]+", "-", f"{whose}-{condition}".lower()).strip("-")
    return text or "alarm"


def layout(device: DeviceTerms) -> dict[str, dict[str, Property]]:
    """Every node and its properties, in the order they are told.

    Raises:
        HomieError: an id cannot be in a topic (see `faults`).
    """
    wrong = faults(device)
    if wrong:
        raise HomieError("; ".join(wrong))
    nodes = {e.id: _enclosure_properties(device, e) for e in device.enclosures}
    if device.room_probes:
        nodes["room"] = _climate_properties(device, device.room_probes)
    nodes["house"] = {
        "run-started": Property("Start of this run", "datetime"),
        "fresh-at": Property("Time of the newest good reading, of a watcher that of its last look", "datetime"),
        "digest-made": Property("When the last digest was made", "datetime"),
        "digest": Property("Last digest", "json"),
        "digest-text": Property("Last digest as text", "string"),
        **{key: _alarm(key.removesuffix("-alarm")) for key in house_alarms(device).values()},
    }
    if device.acknowledge:
        name = "Alarm last acknowledged over MQTT; set to acknowledge one, or all"
        nodes["house"][ACKNOWLEDGE] = Property(name, "string", settable=True)
    return nodes


def description(device: DeviceTerms) -> str:
    """The `$description` document: JSON whose version changes exactly when its content does.

    Raises:
        HomieError: an id cannot be in a topic.
    """
    names = {e.id: e.name for e in device.enclosures} | {"room": "Room", "house": "House"}
    nodes = {
        node: {"name": names[node], "properties": {key: p.fields() for key, p in properties.items()}}
        for node, properties in layout(device).items()
    }
    content: dict[str, Any] = {"homie": "5.0", "name": device.name, "nodes": nodes}
    digest = hashlib.sha256(json.dumps(content, sort_keys=True).encode()).digest()
    version = int.from_bytes(digest[:4], "big") & _VERSION_MASK
    return _json({"homie": "5.0", "version": version} | content)


def temperature(celsius: float, unit: Unit) -> bytes:
    """A temperature in the keeper's unit, to a tenth.

    Raises:
        HomieError: not a finite number, which no payload can say.
    """
    return _tenths(celsius if unit is Unit.C else celsius * 1.8 + 32.0)


def humidity(percent: float) -> bytes:
    """Relative humidity in percent, to a tenth. Raises HomieError for what is not a finite number."""
    return _tenths(percent)


def boolean(value: bool) -> bytes:
    """`true` or `false`, nothing else."""
    return b"true" if value else b"false"


def integer(value: int) -> bytes:
    """Decimal digits."""
    return b"%d" % value


def string(text: str) -> bytes:
    """UTF-8; the empty text is a single zero byte, for a payload of no bytes would delete the topic."""
    return text.encode() or b"\x00"


def datetime_z(wall_s: float) -> bytes:
    """UTC seconds since 1970 as RFC 3339 with Z, whole seconds."""
    return datetime.fromtimestamp(math.floor(wall_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ").encode()


def document(content: Mapping[str, Any]) -> bytes:
    """A JSON object. Raises HomieError for what JSON cannot say, NaN included."""
    try:
        return _json(content).encode()
    except (TypeError, ValueError) as problem:
        raise HomieError(f"not JSON: {problem}") from problem


def _json(content: Mapping[str, Any]) -> str:
    return json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _tenths(value: float) -> bytes:
    if not math.isfinite(value):
        raise HomieError(f"{value!r} has no payload: a missing reading is not published")
    return f"{round(value, 1) + 0.0:.1f}".encode()  # + 0.0 turns -0.0 into 0.0


def _degrees(device: DeviceTerms, name: str) -> Property:
    if device.unit is Unit.F:
        low, high = (round(c * 1.8 + 32.0) for c in (_COLDEST_C, _HOTTEST_C))
        return Property(name, "float", f"{low}:{high}:0.1", "°F")
    return Property(name, "float", f"{_COLDEST_C}:{_HOTTEST_C}:0.1", "°C")


def _climate_properties(device: DeviceTerms, probes: Iterable[ProbeTerms]) -> dict[str, Property]:
    """What is measured: a property for each role that has a probe, and for the humidity of each side."""
    probes = tuple(probes)
    properties = {
        f"{role}-temperature": _degrees(device, f"{role.capitalize()} temperature")
        for role in Role
        if any(p.role is role for p in probes)
    }
    for probe in probes:
        if probe.id in device.humid:
            key = humidity_key(probe)
            name = "Humidity" if probe.side is None else f"Humidity, {probe.side} side"
            properties[key] = Property(name, "float", "0:100:0.1", "%")
    properties["last-reading"] = Property("Time of the last good reading", "datetime")
    properties["reading-quality"] = Property("Quality of the readings", "enum", "good,doubtful,missing")
    return properties


def humidity_key(probe: ProbeTerms) -> str:
    """The property that carries a probe's humidity."""
    return "humidity" if probe.side is None else f"humidity-{probe.side}"


def _enclosure_properties(device: DeviceTerms, enclosure: Enclosure) -> dict[str, Property]:
    properties = _climate_properties(device, enclosure.probes)
    properties["band-low"] = _degrees(device, "Lowest temperature that is all right")
    properties["band-high"] = _degrees(device, "Highest temperature that is all right")
    if enclosure.mat is not None:
        reasons = ",".join((STARTING, STOPPED, *Reason))
        properties["heat-allowed"] = Property("Heat allowed", "boolean", "cut,allowed")
        properties["heat-reason"] = Property("Why heat is cut or allowed", "enum", reasons)
        properties["relay-operations"] = Property("Relay operations", "integer", "0:")
    for condition in conditions(enclosure, device.humid):
        properties[f"{condition}-alarm"] = _alarm(condition)
    return properties


def _alarm(condition: str) -> Property:
    return Property(f"Alarm: {condition}", "enum", ",".join(AlarmState))
