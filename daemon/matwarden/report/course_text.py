"""A running experiment in one line."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from matwarden.core.units import duration_text, temperature_text
from matwarden.course_run import Progress
from matwarden.report.units import local_clock
from matwarden.terms import Unit

__all__ = ["progress_line"]


def progress_line(progress: Progress, unit: Unit, zone: ZoneInfo) -> str:
    """Part, the longest it may all still take, temperatures and heat: in this order, since a terminal is narrow."""

    def told(value_c: float | None) -> str:
        return "not read" if value_c is None else temperature_text(value_c, unit)

    minutes_s = progress.left_s - progress.left_s % 60.0
    return (
        f"{local_clock(progress.wall_s, zone)} {progress.number}/{progress.parts_n} {progress.part}, up to "
        f"{duration_text(minutes_s)} left: inside {told(progress.inside_c)}, wall {told(progress.wall_c)}, "
        f"heat {progress.heat}, room {told(progress.room_c)}"
    )
