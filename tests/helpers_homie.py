"""Reads a retained picture as a strict Homie controller would, and says what it would refuse.

Written from the rules of the Homie convention v5.0.0 (homieiot.github.io, CC BY 4.0), sections Topic IDs, Payload,
Device attributes, Node attributes, Property attributes; it shares no code with the daemon.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

# Section "Topic IDs": lowercase a-z, 0-9 and hyphen. (Version 4 also forbade a hyphen at either end: kept to here.)
ID = re.compile(r"^[a-z0-9]([a-z0-9-]*[a-z0-9])?$")
STATES = {"init", "ready", "disconnected", "sleeping", "lost"}
DATATYPES = {"integer", "float", "boolean", "string", "enum", "color", "datetime", "duration", "json"}
# Section "Property attributes": the recommended unit strings.
UNITS = {*"°C °F ° L gal V W kW kWh A Hz rpm % m m³ ft m/s kn Pa psi ppm s min h lx K MK⁻¹ #".split()}  # noqa: SIM905 - as listed there
DEVICE_FIELDS = {"homie", "version", "nodes", "name", "type", "children", "root", "parent", "extensions"}
NODE_FIELDS = {"name", "type", "properties"}
PROPERTY_FIELDS = {"name", "datatype", "format", "settable", "retained", "unit"}


def refusals(picture: Mapping[str, bytes], device: str, domain: str = "homie") -> list[str]:
    """Every rule that the retained topics of `device` break; empty for a picture a controller would take whole."""
    root = f"{domain}/5/{device}"
    own = {topic.removeprefix(f"{root}/"): payload for topic, payload in picture.items() if topic.startswith(root)}
    found = [] if ID.match(device) else [f"device id {device}"]
    if own.pop("$state", b"").decode() not in STATES:
        found.append("no legal $state")
    document = json.loads(own.pop("$description").decode("utf-8"))
    found += _description(document)
    for topic, payload in own.items():
        levels = topic.split("/")
        if levels[0] == "$alert":
            if len(levels) != 2 or not ID.match(levels[1]) or not payload.decode("utf-8"):
                found.append(f"alert {topic}")
            continue
        try:
            node, key = levels
            described = document["nodes"][node]["properties"][key]
        except (KeyError, ValueError):
            found.append(f"{topic} is not described")
            continue
        if not fits(described, payload):
            found.append(f"{topic} = {payload!r} is not a {described}")
    return found


def _description(document: dict[str, Any]) -> list[str]:
    found = []
    if not re.fullmatch(r"5\.\d+", document["homie"]):
        found.append("homie is not 5.x")
    if type(document["version"]) is not int:
        found.append("version is not an integer")
    if set(document) - DEVICE_FIELDS:
        found.append(f"unknown device fields {set(document) - DEVICE_FIELDS}")
    for node, attributes in document["nodes"].items():
        if not ID.match(node) or set(attributes) - NODE_FIELDS:
            found.append(f"node {node}")
        for key, described in attributes["properties"].items():
            if not ID.match(key) or set(described) - PROPERTY_FIELDS or not _legal(described):
                found.append(f"property {node}/{key}: {described}")
    return found


def _legal(described: dict[str, Any]) -> bool:
    kind, pattern = described["datatype"], described.get("format")
    if kind not in DATATYPES or described.get("unit", "°C") not in UNITS:
        return False
    if kind == "enum":
        values = (pattern or "").split(",")
        return all(values) and len(set(values)) == len(values)
    if kind == "boolean" and pattern is not None:
        return len(pattern.split(",")) == 2
    if kind in ("integer", "float") and pattern is not None:
        return re.fullmatch(r"(-?[\d.]+)?:(-?[\d.]+)?(:[\d.]+)?", pattern) is not None
    return True


def fits(described: dict[str, Any], payload: bytes) -> bool:
    """Is the payload legal for a property described so? Section "Payload", one rule for each datatype."""
    kind, pattern, text = described["datatype"], described.get("format"), payload.decode("utf-8")
    if kind == "integer":
        return re.fullmatch(r"-?\d+", text) is not None and _in_range(float(text), pattern)
    if kind == "float":
        return re.fullmatch(r"-?\d+(\.\d+)?([eE]-?\d+)?", text) is not None and _in_range(float(text), pattern)
    if kind == "boolean":
        return text in ("true", "false")
    if kind == "enum":
        return text in (pattern or "").split(",")
    if kind == "datetime":
        return "T" in text and datetime.fromisoformat(text).tzinfo is not None
    if kind == "json":
        return isinstance(json.loads(text), dict | list)
    return kind == "string" and not text.startswith("\ufeff")


def _in_range(value: float, pattern: str | None) -> bool:
    low, high, *_ = (*(pattern or ":").split(":"), "", "")
    return (not low or value >= float(low)) and (not high or value <= float(high))
