"""The room of a drill: one that stays the same, or the recorded one of some days."""

from __future__ import annotations

from datetime import time
from zoneinfo import ZoneInfo

from matwarden.core.dates import instant, local_date
from matwarden.core.units import duration_text, temperature_text
from matwarden.drill import SETTLED_S, SOUGHT_S, Plan
from matwarden.report.units import local_day_and_clock
from matwarden.settings.resolved import RoomFormula, RoomSeries, Settings
from matwarden.sinks.store_moments import readings_in
from matwarden.terms import Quantity

__all__ = ["RoomError", "at_start_c", "constant_room", "recorded_room"]

# A room changes slowly: its readings are taken together by so many seconds.
_STEP_S = 300.0
# Between two readings further apart the room is a guess, which is told.
_GAP_S = 1800.0
# So much must be left of a record after the fault.
_LEFT_S = 12 * 3600.0


class RoomError(Exception):
    """A record that gives no room for a drill, in words."""


def constant_room(room_c: float, now_wall_s: float, zone: ZoneInfo) -> Plan:
    """Begun at 18:00 of this day, so that a fault strikes in the small hours."""
    start_wall_s = instant(local_date(now_wall_s, zone), time(18, 0), zone)
    until_s = SETTLED_S + SOUGHT_S
    return Plan(RoomFormula(room_c, 0.0, 15.0, 0.0), start_wall_s, SETTLED_S, until_s, float("inf"))


def recorded_room(settings: Settings, since_wall_s: float, until_wall_s: float) -> tuple[Plan, str]:
    """The room as its probes read it, their mean; and how it is called.

    Before its first reading it is taken as of then, for as long as the tub needs to come to its rhythm.

    Raises:
        RoomError: no room probe, too little of it. StoreError: the record cannot be read.
    """
    probes = {probe.id for probe in settings.room_probes}
    if not probes:
        raise RoomError("no probe has the role room in your settings: give --room instead of --from and --to")
    sums: dict[int, tuple[float, int]] = {}
    for reading in readings_in(settings.store.directory, since_wall_s, until_wall_s, probes, untouched=True):
        if reading.quantity is Quantity.TEMPERATURE:
            step = int((reading.wall_s - since_wall_s) // _STEP_S)
            total, count = sums.get(step, (0.0, 0))
            sums[step] = (total + reading.value, count + 1)
    steps = sorted(sums)
    if not steps or (steps[-1] - steps[0]) * _STEP_S < _LEFT_S + SOUGHT_S:
        told = duration_text((steps[-1] - steps[0]) * _STEP_S) if steps else "nothing"
        need = duration_text(_LEFT_S + SOUGHT_S)
        raise RoomError(f"of the room there is {told} between --from and --to; a drill needs {need} at the least")
    values_c = {step: sums[step][0] / sums[step][1] for step in steps}
    first_s = (steps[0] + 0.5) * _STEP_S
    points = tuple((SETTLED_S + (step + 0.5) * _STEP_S - first_s, values_c[step]) for step in steps)
    ends_s = points[-1][0]
    zone, unit = ZoneInfo(settings.zone), settings.unit
    low_c, high_c = min(values_c.values()), max(values_c.values())
    begins, ends = (local_day_and_clock(since_wall_s + (step + 0.5) * _STEP_S, zone) for step in (steps[0], steps[-1]))
    told = f"as recorded from {begins} to {ends}, {temperature_text(low_c, unit)} to {temperature_text(high_c, unit)}"
    longest_s = max((b - a for a, b in zip(steps, steps[1:], strict=False)), default=1) * _STEP_S
    if longest_s > _GAP_S:
        told += f"; not read for {duration_text(longest_s)} on end, taken as a straight line there"
    plan = Plan(
        RoomSeries(points), since_wall_s + first_s - SETTLED_S, SETTLED_S, max(SETTLED_S, ends_s - _LEFT_S), ends_s
    )
    return plan, told


def at_start_c(room: RoomFormula | RoomSeries) -> float:
    """The room at the start of the drill."""
    return room.mean_c if isinstance(room, RoomFormula) else room.points[0][1]
