"""Nights that are hard on a page: trouble in them, names of every kind, a full rack. Every value was chosen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from digest_examples import EVERY_S, HEAT, HOUR_S, LENGTH_S, OAK, QUIET_SERIES, ROWAN, START_S, line
from matwarden.core.record import AlarmLine, HeatChange, Point, RefusalCount, SeriesKey
from matwarden.report.night import Night
from matwarden.terms import AlarmState, Enclosure, Quantity, Unit
from night_examples import night_of

__all__ = ["HOSTILE_NAMES", "cycling", "full_shelf", "troubled_night"]

# What a settings file may call a tub: markup, quotes, a right-to-left script, pictures, no place to break a line.
HOSTILE_NAMES = (
    '<b onmouseover="alert(1)">Oak & Söhne</b> \'"><script>',
    "קערה 3 (בלוט)",
    "\U0001f41b\U0001f33f Hazel \U0001f33f\U0001f41b",
    "R" * 60,
)


def cycling(middle: float, swing: float, period_s: float = 1500.0, to_s: float = LENGTH_S) -> list[Point]:
    """A place that a thermostat keeps: up and down around a middle."""
    times = [n * EVERY_S for n in range(int(to_s / EVERY_S))]
    return [Point(at_s, START_S + at_s, middle + swing * math.sin(math.tau * at_s / period_s)) for at_s in times]


def troubled_night(names: Sequence[str] = ("Oak", "Rowan"), unit: Unit = Unit.C) -> Night:
    """One tub cold since the evening and still cold, the other not read for four hours; the rest as on any night."""
    state = AlarmState.UNACKNOWLEDGED
    fading = [
        Point(n * EVERY_S, START_S + n * EVERY_S, 24.0 - max(0.0, n * EVERY_S - 14 * HOUR_S) / HOUR_S * 0.6)
        for n in range(int(LENGTH_S / EVERY_S))
    ]
    cold = line("cold/oak", 18 * HOUR_S, state, HOUR_S)
    cold = cold._replace(text=f"{names[0]} is cold: at or under 22.2 °C for 1 h, coldest 21.4 °C, now 21.4 °C.")
    blind = line("blind/rowan", 20 * HOUR_S + 660.0, state, 600.0, "rowan")
    blind = blind._replace(text=f"{names[1]}: no reading for 10 min.")
    return night_of(
        {
            **QUIET_SERIES,
            ("oak-air", Quantity.TEMPERATURE): fading,
            ("oak-wall", Quantity.TEMPERATURE): cycling(26.4, 1.6),
            ("oak-air", Quantity.HUMIDITY): cycling(79.0, 3.0, 5400.0),
            ("rowan-air", Quantity.TEMPERATURE): cycling(25.0, 0.4, to_s=20 * HOUR_S),
        },
        tubs=(replace(OAK, name=names[0]), replace(ROWAN, name=names[1])),
        alarms=[cold, blind],
        standing=[cold, blind],
        refusals=[RefusalCount("rowan-air", 1440, 2, "the probe does not answer <no word>")],
        unit=unit,
        due=(f"{names[0]}: substrate, 4 months old", f"{names[1]}: probes not checked for a year"),
    )


def full_shelf(count: int = 64) -> Night:
    """As many tubs as a rack holds, every seventh of them with an alarm that is still on."""
    enclosures: list[Enclosure] = []
    series: dict[SeriesKey, Sequence[Point]] = dict(QUIET_SERIES)
    heat: list[HeatChange] = []
    standing: list[AlarmLine] = []
    air, wall = cycling(24.5, 0.4), cycling(26.4, 1.6)
    for number in range(count):
        id = f"tub-{number}"
        probes = tuple(replace(probe, id=f"{id}-{probe.role.value}", enclosure=id) for probe in OAK.probes)
        enclosures.append(replace(OAK, id=id, name=f"{HOSTILE_NAMES[number % 4][:40]} {number}", probes=probes))
        series[f"{id}-air", Quantity.TEMPERATURE] = air
        series[f"{id}-wall", Quantity.TEMPERATURE] = wall
        heat += [change._replace(enclosure=id) for change in HEAT]
        if number % 7 == 3:
            standing.append(line(f"cold/{id}", 18 * HOUR_S, AlarmState.UNACKNOWLEDGED, HOUR_S, id))
    return night_of(series, tubs=enclosures, heat=heat, alarms=standing, standing=standing)
