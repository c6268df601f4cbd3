"""Nights for tests of what is drawn and written of them: every value was chosen, nothing measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from digest_examples import AMSTERDAM, HEAT, LENGTH_S, OAK, QUIET_SERIES, ROOM, ROWAN, START_S
from matwarden.core.digest import night_digest
from matwarden.core.record import AlarmLine, HeatChange, Point, RefusalCount, SeriesKey, Window
from matwarden.core.strips_of import strips_of
from matwarden.report.digest_text import digest_text, first_line
from matwarden.report.night import Night
from matwarden.terms import Enclosure, ProbeTerms, Quantity, Unit

T = Quantity.TEMPERATURE


def night_of(
    series: Mapping[SeriesKey, Sequence[Point]] | None = None,
    *,
    alarms: Sequence[AlarmLine] = (),
    standing: Sequence[AlarmLine] = (),
    heat: Sequence[HeatChange] = HEAT,
    tubs: Sequence[Enclosure] = (OAK, ROWAN),
    room: Sequence[ProbeTerms] = (ROOM,),
    house: str = "Shelf",
    unit: Unit = Unit.C,
    zone: ZoneInfo = AMSTERDAM,
    start_wall_s: float = START_S,
    lasts_s: float = LENGTH_S,
    clock_steps: Sequence[float] = (),
    refusals: Sequence[RefusalCount] = (),
    date: str = "2026-01-15",
    due: Sequence[str] = (),
) -> Night:
    """A night of these series; None: the quiet one of `digest_examples`."""
    every = QUIET_SERIES if series is None else series
    end_wall_s = start_wall_s + lasts_s + sum(clock_steps)
    window = Window(0.0, lasts_s, start_wall_s, end_wall_s, every, heat, alarms, refusals, 0, clock_steps)
    digest = night_digest(date, zone.key, window, tubs, room, standing)
    strips = strips_of(window, tubs, room, standing)
    text = digest_text(digest, unit, zone)
    return Night(house, unit, zone, digest, strips, first_line(digest), text, tuple(due))


def many_tubs(count: int) -> list[Enclosure]:
    """So many tubs like the oak's, `tub-1` and on."""
    return [
        replace(
            OAK,
            id=f"tub-{number}",
            name=f"Tub {number}",
            probes=tuple(replace(each, id=f"tub-{number}-{each.role.value}") for each in OAK.probes),
        )
        for number in range(1, count + 1)
    ]
