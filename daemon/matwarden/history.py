"""The columns of a tub's past: from readings while the range is short, from the sums of hours when it is long."""

from __future__ import annotations

from matwarden.core.history import Column, columns_of_strips
from matwarden.core.strips_of import strips_of
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_moments import marks_between
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_time import START
from matwarden.terms import Enclosure

__all__ = ["columns_between"]


def columns_between(
    settings: Settings, enclosure: Enclosure, since_wall_s: float, until_wall_s: float, count: int
) -> list[Column]:
    """At most `count` columns; none where nothing was recorded.

    Raises:
        StoreError: the record cannot be read.
    """
    directory = settings.store.directory
    since, until = marks_between(directory, since_wall_s, until_wall_s)
    if since == until or until == START:
        return []
    recorded = Recorded(directory)
    window = recorded.window(since, until)
    standing = [line for line in recorded.active_alarms(since) if line.wall_s < until_wall_s]
    strips = strips_of(window, [enclosure], settings.room_probes, standing, count)
    return columns_of_strips(strips, enclosure.id)
