"""The columns of a tub's past: from readings while the range is short, from the sums of hours when it is long."""

from __future__ import annotations

from matwarden.core.history import Column, columns_of_hours, columns_of_strips
from matwarden.core.record import SeriesKey
from matwarden.core.strips_of import ON, strips_of
from matwarden.core.sums import SeriesSum
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_moments import marks_between
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_sums_read import Sums
from matwarden.sinks.store_time import START
from matwarden.terms import Enclosure, Quantity

__all__ = ["columns_between"]

_DAY_S = 86_400.0
# Up to here every single reading is looked at.
_SHORT_S = 2.0 * _DAY_S


def columns_between(
    settings: Settings, enclosure: Enclosure, since_wall_s: float, until_wall_s: float, count: int
) -> list[Column]:
    """At most `count` columns; none where nothing was recorded.

    Over more than two days they are of whole hours from the sums, and of readings after the last sum.

    Raises:
        StoreError: the record cannot be read.
    """
    summed_s = Sums(settings.store.directory).summed_to_wall_s()
    if until_wall_s - since_wall_s <= _SHORT_S or summed_s is None or summed_s <= since_wall_s:
        return _of_readings(settings, enclosure, since_wall_s, until_wall_s, count)
    # No column is shorter than an hour, or some would be empty.
    count = max(1, min(count, int((until_wall_s - since_wall_s) // 3600.0)))
    width_s = (until_wall_s - since_wall_s) / count
    summed = min(count, int((min(summed_s, until_wall_s) - since_wall_s) // width_s))
    until_s = since_wall_s + summed * width_s
    columns = [] if not summed else _of_hours(settings, enclosure, since_wall_s, until_s, summed)
    if summed < count:
        columns += _of_readings(settings, enclosure, until_s, until_wall_s, count - summed)
    return columns if any(each.inside or each.wall or each.room for each in columns) else []


def _of_hours(
    settings: Settings, enclosure: Enclosure, since_wall_s: float, until_wall_s: float, count: int
) -> list[Column]:
    sums = Sums(settings.store.directory)
    probes = (*enclosure.probes, *settings.room_probes)
    keys = [(probe.id, Quantity.TEMPERATURE) for probe in probes]
    series: dict[SeriesKey, list[SeriesSum]] = sums.series_hours(keys, since_wall_s, until_wall_s)
    tub = sums.tub_hours(enclosure.id, since_wall_s, until_wall_s)
    columns = columns_of_hours(series, tub, enclosure, settings.room_probes, since_wall_s, until_wall_s, count)
    spans = _alarms(settings, enclosure.id, since_wall_s)

    def rang(column: Column) -> bool:
        return any(from_s < column.wall_s + column.lasts_s and to_s > column.wall_s for from_s, to_s in spans)

    return [column._replace(alarm=rang(column)) for column in columns]


def _alarms(settings: Settings, enclosure: str, since_wall_s: float) -> list[tuple[float, float]]:
    """From when until when an alarm of the tub was on, by the wall clock of then: they are kept for ever."""
    recorded = Recorded(settings.store.directory)
    seen_s = recorded.last_seen() or since_wall_s
    history = recorded.alarm_history(max(_DAY_S, seen_s - since_wall_s))
    began: dict[str, float] = {}
    spans = []
    for line in (*history.before, *history.lines):
        if line.enclosure != enclosure:
            continue
        if line.state in ON:
            began.setdefault(line.alarm, line.wall_s)
        elif line.alarm in began:
            spans.append((began.pop(line.alarm), line.wall_s))
    return spans + [(from_s, history.end_wall_s) for from_s in began.values()]


def _of_readings(
    settings: Settings, enclosure: Enclosure, since_wall_s: float, until_wall_s: float, count: int
) -> list[Column]:
    directory = settings.store.directory
    since, until = marks_between(directory, since_wall_s, until_wall_s)
    if since == until or until == START:
        return []
    recorded = Recorded(directory)
    window = recorded.window(since, until)
    standing = [line for line in recorded.active_alarms(since) if line.wall_s < until_wall_s]
    strips = strips_of(window, [enclosure], settings.room_probes, standing, count)
    return columns_of_strips(strips, enclosure.id)
