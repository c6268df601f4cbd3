"""The digest's lines about tubs that are no longer what they were when they were commissioned: one a tub, or none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.report.units import difference_value, local_day, parse_rfc3339
from matwarden.terms import Unit

__all__ = ["drift_lines"]


def drift_lines(drifts: Sequence[Mapping[str, Any]], unit: Unit, zone: ZoneInfo) -> list[str]:
    """Of documents as `matwarden.drift_child` makes them, those that are worth a keeper's attention."""
    return [f"{each['name']}: {_told(each, unit, zone)}" for each in drifts if each["told"]]


def _told(each: Mapping[str, Any], unit: Unit, zone: ZoneInfo) -> str:
    then = f"when commissioned ({local_day(parse_rfc3339(each['commissioned']), zone)})"
    rise, rise_then = (_difference(each[name], unit) for name in ("rise", "rise_then"))
    less = each["rise"]["value"] < each["rise_then"]["value"]
    if each["cause"] == "mat":
        return f"mat {'weaker' if less else 'stronger'}: full heat makes {rise} over the room, {rise_then} {then}"
    if each["cause"] == "lid or insulation":
        time, time_then = (_hours(each[name]) for name in ("time_constant", "time_constant_then"))
        return (
            f"lid or insulation changed, it loses heat {'faster' if less else 'slower'}: full heat makes {rise} over"
            f" the room, {rise_then} {then}; it cools with {time}, {time_then} then"
        )
    if each["cause"] in ("wall probe", "inside probe"):
        off = each["shift"]
        word = "lower" if off["value"] < 0.0 else "higher"
        shown = _difference({name: abs(off[name]) for name in ("value", "low", "high")}, unit)
        return f"{each['cause']} moved or failing: it reads {shown} {word} than where it was {then}"
    left, left_then = (f"{difference_value(each[name], unit):.1f} °{unit.value}" for name in ("left_k", "left_then_k"))
    return (
        f"unlike what it was {then}, unexplained: readings are {left} off what that tub would do"
        f" (root mean square; {left_then} then)"
    )


def _difference(estimate: Mapping[str, float], unit: Unit) -> str:
    value, *ends = (difference_value(estimate[name], unit) for name in ("value", "low", "high"))
    low, high = sorted(ends)
    return f"{value:.1f} °{unit.value} ({low:.1f} to {high:.1f})"


def _hours(estimate: Mapping[str, float]) -> str:
    return f"a time constant of {estimate['value']:.1f} h ({estimate['low']:.1f} to {estimate['high']:.1f})"
