"""Readings as SenML JSON (RFC 8428), one record after the other.

The first record carries what holds for the others: base name and base time (section 4.1). A name is the house, the
probe and the quantity with colons between, of the characters that section 4.5.1 allows. Times are absolute: base time
and a record's own come to 2**28 s or more (section 4.5.3).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator

from matwarden.sinks.store_moments import RecordedReading
from matwarden.terms import Quantity

__all__ = ["senml"]

# Section 12.1: degrees Celsius, relative humidity in percent.
_UNITS = {Quantity.TEMPERATURE: "Cel", Quantity.HUMIDITY: "%RH"}
# Below it a time counts from now (section 4.5.3).
_ABSOLUTE_S = 2**28


def senml(house: str, readings: Iterable[RecordedReading]) -> Iterator[str]:
    """The pack, in pieces. A reading from before 1978-07-04, of a clock that was never set, has no absolute time: it
    is left out, and counted by the caller who compares."""
    base_s: float | None = None
    for reading in readings:
        if reading.wall_s < _ABSOLUTE_S:
            continue
        record: dict[str, object] = {}
        if base_s is None:
            base_s = float(int(reading.wall_s))
            record |= {"bn": f"{house}:", "bt": int(base_s)}
            yield "["
        else:
            yield ",\n "
        record["n"] = f"{reading.probe}:{reading.quantity.value}"
        record["u"] = _UNITS[reading.quantity]
        offset_s = round(reading.wall_s - base_s, 3)
        if offset_s:
            record["t"] = int(offset_s) if offset_s == int(offset_s) else offset_s
        record["v"] = reading.value
        yield json.dumps(record)
    yield "[]\n" if base_s is None else "]\n"
