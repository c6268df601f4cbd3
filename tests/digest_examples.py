"""A recorded night of a shelf with two tubs, for tests of the digest: everything in it was chosen, nothing measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from matwarden.core.digest import NightDigest, night_digest
from matwarden.core.record import AlarmLine, HeatChange, Point, RefusalCount, SeriesKey, Window
from matwarden.terms import (
    AlarmState,
    AlarmTimes,
    Band,
    Enclosure,
    MatTerms,
    Placement,
    ProbeTerms,
    Quantity,
    Role,
    Side,
)

AMSTERDAM = ZoneInfo("Europe/Amsterdam")
HOUR_S = 3600.0
EVERY_S = 10.0
# 2026-01-14 08:00 in Amsterdam (UTC+1 in winter).
START_S = 1_768_374_000.0
LENGTH_S = 24 * HOUR_S

MAT = MatTerms(Placement.BACK, 7.0, 25.0, 0.5, 28.0, 29.0, 1.0, 30.0, 120.0, 3600.0, 3, 100_000)
TIMES = AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5)


def probe(id: str, role: Role, enclosure: str | None = None, side: Side | None = None) -> ProbeTerms:
    return ProbeTerms(id, role, enclosure, side, EVERY_S, 5.0, 60.0, 3.0, 0.0)


OAK = Enclosure(
    "oak",
    "Oak",
    Band(22.2, 27.8),
    (
        probe("oak-air", Role.AIR, "oak", Side.MOIST),
        probe("oak-wall", Role.WALL, "oak"),
        probe("oak-soil", Role.SUBSTRATE, "oak"),
    ),
    MAT,
    TIMES,
)
ROWAN = Enclosure("rowan", "Rowan", Band(22.2, 27.8), (probe("rowan-air", Role.AIR, "rowan"),), None, TIMES)
ROOM = probe("room", Role.ROOM)


def steady(value: float, from_s: float = 0.0, to_s: float = LENGTH_S) -> list[Point]:
    """One value every ten seconds."""
    steps = range(int((to_s - from_s) / EVERY_S))
    return [Point(from_s + n * EVERY_S, START_S + from_s + n * EVERY_S, value) for n in steps]


def cold_spell(low_c: float, from_s: float, to_s: float) -> list[Point]:
    """24 C but for a spell at `low_c`."""
    return [*steady(24.0, 0.0, from_s), *steady(low_c, from_s, to_s), *steady(24.0, to_s)]


def line(alarm: str, at_s: float, state: AlarmState, active_s: float = 0.0, enclosure: str | None = "oak") -> AlarmLine:
    """A transition of an alarm from normal, or back to it."""
    normal = AlarmState.NORMAL
    previous = normal if state is not normal else AlarmState.UNACKNOWLEDGED
    return AlarmLine(at_s, START_S + at_s, alarm, enclosure, previous, state, f"{alarm} {state.value}", active_s)


QUIET_SERIES: dict[SeriesKey, Sequence[Point]] = {
    ("oak-air", Quantity.TEMPERATURE): steady(24.0),
    ("oak-air", Quantity.HUMIDITY): steady(81.0),
    ("oak-wall", Quantity.TEMPERATURE): steady(26.1),
    ("oak-soil", Quantity.TEMPERATURE): steady(23.5),
    ("rowan-air", Quantity.TEMPERATURE): steady(25.0),
    ("room", Quantity.TEMPERATURE): steady(19.0),
}
# Allowed from hour 6 to hour 12: a quarter of the time, switched twice.
HEAT = (
    HeatChange(0.0, START_S, "oak", False, "warm-enough", 40),
    HeatChange(6 * HOUR_S, START_S + 6 * HOUR_S, "oak", True, "below-setpoint", 41),
    HeatChange(12 * HOUR_S, START_S + 12 * HOUR_S, "oak", False, "warm-enough", 42),
)


def digest_of(
    series: Mapping[SeriesKey, Sequence[Point]] | None = None,
    alarms: Sequence[AlarmLine] = (),
    standing: Sequence[AlarmLine] = (),
    refusals: Sequence[RefusalCount] = (),
    restarts: int = 0,
    clock_steps: Sequence[float] = (),
) -> NightDigest:
    """The digest of the quiet night with these differences."""
    window = Window(
        0.0,
        LENGTH_S,
        START_S,
        START_S + LENGTH_S,
        {**QUIET_SERIES, **(series or {})},
        HEAT,
        alarms,
        refusals,
        restarts,
        clock_steps,
    )
    return night_digest("2026-01-15", "Europe/Amsterdam", window, (OAK, ROWAN), (ROOM,), standing)
