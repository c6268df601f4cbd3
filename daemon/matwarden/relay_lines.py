"""The list of relay lines that `matwarden cut` works from, kept beside the record and replaced as a whole."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from matwarden.cut import LINES, RECORD, RelayLine, written
from matwarden.settings.resolved import GpioPermit, GpioRelay, Settings

__all__ = ["keep_lines", "lines_of"]


def lines_of(settings: Settings) -> list[RelayLine]:
    """Every relay line of the settings, a simulated one only if its level is recorded; and the permit's."""
    lines = []
    record = None if settings.simulation is None else settings.simulation.record
    for enclosure, driver in settings.relay_drivers.items():
        if isinstance(driver, GpioRelay):
            lines.append(RelayLine(driver.chip, str(driver.line), "high" if driver.active_high else "low"))
        elif record is not None:
            lines.append(RelayLine(RECORD, str(record), enclosure))
    # Cutting it is leaving it low and still. A simulated one drives nothing and needs no cutting.
    if isinstance(settings.permit, GpioPermit):
        lines.append(RelayLine(settings.permit.chip, str(settings.permit.line), "high"))
    return lines


def keep_lines(settings: Settings) -> Path:
    """Write the list; a reader finds the old one or the new one, never half of one.

    Raises:
        OSError: it cannot be written.
    """
    path = settings.store.directory / LINES
    text = written(lines_of(settings))
    with contextlib.suppress(OSError, ValueError):
        if path.read_text(encoding="utf-8") == text:
            return path  # and so a full disk stands in the way of nothing
    fresh = path.with_suffix(".new")
    with fresh.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    return path
