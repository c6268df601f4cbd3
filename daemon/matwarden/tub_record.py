"""What the store has of one tub, as the analysis takes it. Needs matwarden[analysis]."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Sequence

import numpy as np

from matwarden.analysis.grid import Heat, Lived, Series
from matwarden.core.inside import inside_probes
from matwarden.core.record import Point, Window
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_heat import UNKNOWN
from matwarden.sinks.store_moments import marks_between
from matwarden.sinks.store_read import Recorded, Track
from matwarden.sinks.store_time import START
from matwarden.terms import Enclosure, ProbeTerms, Quantity, Role

__all__ = ["lived_between", "places_between"]


def lived_between(
    settings: Settings, enclosure: Enclosure, since_wall_s: float | None, until_wall_s: float | None
) -> Lived:
    """What is recorded of the tub between two times; None: from the beginning, or up to now.

    Times are UTC seconds at the range's beginning, and go on steadily from there: a clock that was set in between
    leaves no gap. While the program was down heat was cut. `inside` is empty where only the wall has a probe.

    Raises:
        StoreError: nothing is recorded there, or it cannot be read.
    """
    wall = [probe for probe in enclosure.probes if probe.role is Role.WALL]
    inside = [probe for probe in inside_probes(enclosure) if probe.role is not Role.WALL]
    room = settings.room_probes
    window = _window(settings, [probe.id for probe in (*wall, *inside, *room)], since_wall_s, until_wall_s)
    changes = [change for change in window.heat if change.enclosure == enclosure.id and change.reason != UNKNOWN]
    heat = Heat(
        np.array([window.start_wall_s + change.elapsed_s for change in changes], dtype=np.float64),
        np.array([change.allowed for change in changes], dtype=np.bool_),
    )
    return Lived(_series(window, wall), _series(window, inside), _series(window, room), heat)


def places_between(
    settings: Settings, probes: Sequence[str], since_wall_s: float | None, until_wall_s: float | None
) -> dict[str, Series]:
    """The temperatures of single probes, by id; one that has none is left out. Times and errors as above."""
    window = _window(settings, probes, since_wall_s, until_wall_s)
    return {
        probe: _as_series(window, window.series[probe, Quantity.TEMPERATURE])
        for probe in probes
        if (probe, Quantity.TEMPERATURE) in window.series
    }


def _window(
    settings: Settings, probes: Sequence[str], since_wall_s: float | None, until_wall_s: float | None
) -> Window:
    since, until = marks_between(settings.store.directory, since_wall_s, until_wall_s)
    return Recorded(settings.store.directory).window(None if since == START else since, until, probes)


def _series(window: Window, probes: Iterable[ProbeTerms]) -> list[Series]:
    keys = [(probe.id, Quantity.TEMPERATURE) for probe in probes]
    return [_as_series(window, window.series[key]) for key in keys if key in window.series]


def _as_series(window: Window, points: Sequence[Point]) -> Series:
    assert isinstance(points, Track)
    elapsed_ms, _, milli = points.columns
    # Told in the order they came; of a slow probe one may come after a later one of a quick probe, never of its own.
    return Series(window.start_wall_s + _numbers(elapsed_ms) / 1000.0, _numbers(milli) / 1000.0)


def _numbers(column: array[int]) -> np.ndarray:
    return np.frombuffer(column, dtype=np.int64)
