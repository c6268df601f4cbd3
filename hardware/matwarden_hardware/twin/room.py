"""The room the simulated shelf stands in: temperature by time, from a recorded file or from a formula.

Time is the shelf's own: seconds since it was made, 0 at its start.
"""

from __future__ import annotations

import csv
import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from matwarden_hardware.ports import DriverError

__all__ = ["DailyRoom", "DayPlanRoom", "Room", "SeriesRoom"]

_DAY_S = 86400.0
_HEADER = ["time", "temperature_c"]


class Room(Protocol):
    """Whatever knows how warm the room is."""

    def temperature_c(self, t_s: float) -> float:
        """The room's temperature at shelf time `t_s`."""


@dataclass(frozen=True, slots=True)
class DailyRoom:
    """A room that swings once a day about a mean that may drift.

    Attributes:
        mean_c: mean at the start.
        swing_k: from the coldest to the warmest of a day.
        warmest_hour: hour of the day (0 to 24) of the warmest moment.
        drift_k_per_day: how fast the mean moves.
        start_hour: hour of the day at shelf time 0.
    """

    mean_c: float
    swing_k: float = 0.0
    warmest_hour: float = 15.0
    drift_k_per_day: float = 0.0
    start_hour: float = 0.0

    def temperature_c(self, t_s: float) -> float:
        """The room's temperature at shelf time `t_s`."""
        turn = t_s / _DAY_S + (self.start_hour - self.warmest_hour) / 24.0
        return self.mean_c + self.drift_k_per_day * t_s / _DAY_S + 0.5 * self.swing_k * math.cos(math.tau * turn)


class DayPlanRoom:
    """A room that goes through the same points every day, in straight lines: a night set-back.

    Args:
        points: (hour of the day, degrees Celsius), hours rising, each at least 0 and below 24.
        drift_k_per_day: how fast the whole plan moves.
        start_hour: hour of the day at shelf time 0.

    Raises:
        DriverError: no point, hours that do not rise, a value that is no number.
    """

    __slots__ = ("_drift_k_per_s", "_start_s", "_temperatures_c", "_times_s")

    def __init__(
        self,
        points: Iterable[tuple[float, float]],
        drift_k_per_day: float = 0.0,
        start_hour: float = 0.0,
    ) -> None:
        plan = [(float(hour), float(temperature_c)) for hour, temperature_c in points]
        if not plan:
            raise DriverError("the room's day has no points: give at least one (hour, temperature)")
        hours = [hour for hour, _ in plan]
        if not all(0.0 <= hour < 24.0 for hour in hours) or any(b <= a for a, b in zip(hours, hours[1:], strict=False)):
            raise DriverError(f"the hours of the room's day are {hours}: expected rising, from 0 to below 24")
        if not all(math.isfinite(temperature_c) for _, temperature_c in plan):
            raise DriverError("a temperature of the room's day is not a number")
        # One point of the day before and one of the day after, so that midnight is like any other moment.
        plan = [(plan[-1][0] - 24.0, plan[-1][1]), *plan, (plan[0][0] + 24.0, plan[0][1])]
        self._times_s = [hour * 3600.0 for hour, _ in plan]
        self._temperatures_c = [temperature_c for _, temperature_c in plan]
        self._drift_k_per_s = drift_k_per_day / _DAY_S
        self._start_s = start_hour * 3600.0

    def temperature_c(self, t_s: float) -> float:
        """The room's temperature at shelf time `t_s`."""
        day_s = (t_s + self._start_s) % _DAY_S
        i = bisect_right(self._times_s, day_s)
        return _between(self._times_s, self._temperatures_c, i, day_s) + self._drift_k_per_s * t_s


class SeriesRoom:
    """A recorded room: straight lines between its points, held before the first and after the last.

    Args:
        times_s: shelf times of the points, rising.
        temperatures_c: one for each.

    Raises:
        DriverError: no points, lengths that disagree, times that do not rise.
    """

    __slots__ = ("_at", "_temperatures_c", "_times_s")

    def __init__(self, times_s: Sequence[float], temperatures_c: Sequence[float]) -> None:
        if not times_s or len(times_s) != len(temperatures_c):
            raise DriverError("a recorded room needs at least one time, and one temperature for each")
        if any(b <= a for a, b in zip(times_s, times_s[1:], strict=False)):
            raise DriverError("the times of a recorded room must rise")
        self._times_s = [float(t) for t in times_s]
        self._temperatures_c = [float(c) for c in temperatures_c]
        self._at = 0

    @classmethod
    def from_csv(cls, path: Path, start: str | None = None) -> SeriesRoom:
        """Read a file with the header `time,temperature_c`: RFC 3339 times with their offset, degrees Celsius.

        Args:
            start: RFC 3339 time that is shelf time 0; None: the first row's.

        Raises:
            DriverError: the file cannot be read, or a line is not as expected; the text names the line.
        """
        rows: list[tuple[float, float]] = []
        try:
            with path.open(encoding="utf-8", newline="") as file:
                lines = csv.reader(file, strict=True)
                header = next(lines, [])
                if header != _HEADER:
                    raise DriverError(f"{path}, line 1: expected '{','.join(_HEADER)}', found '{','.join(header)}'")
                for fields in lines:
                    rows.append(_row(fields, f"{path}, line {lines.line_num}", rows[-1][0] if rows else None))
        except (OSError, UnicodeDecodeError, csv.Error) as error:
            raise DriverError(f"{path}: the room's file cannot be read: {error}") from error
        if not rows:
            raise DriverError(f"{path}: no line after the header, expected at least one")
        origin_s = rows[0][0] if start is None else _moment_s(start, f"start of {path}")
        return cls([t - origin_s for t, _ in rows], [c for _, c in rows])

    def temperature_c(self, t_s: float) -> float:
        """The room's temperature at shelf time `t_s`. Fastest when asked in rising order."""
        times_s = self._times_s
        i = self._at
        # Where the last answer was found is nearly always right; the search is for the first ask and for jumps.
        if not (0 < i < len(times_s) and times_s[i - 1] <= t_s < times_s[i]):
            i = self._at = bisect_right(times_s, t_s)
        if i == 0:
            return self._temperatures_c[0]
        if i == len(times_s):
            return self._temperatures_c[-1]
        return _between(times_s, self._temperatures_c, i, t_s)


def _between(times_s: list[float], temperatures_c: list[float], i: int, t_s: float) -> float:
    """On the line from point i-1 to point i."""
    before_s, before_c = times_s[i - 1], temperatures_c[i - 1]
    return before_c + (temperatures_c[i] - before_c) * (t_s - before_s) / (times_s[i] - before_s)


def _moment_s(text: str, where: str) -> float:
    """RFC 3339 text as UTC seconds since 1970."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise DriverError(f"{where}: '{text}' is not a time like 2020-01-24T06:00:00Z") from None
    if moment.tzinfo is None:
        raise DriverError(f"{where}: '{text}' has no offset, expected a time like 2020-01-24T06:00:00Z")
    return moment.timestamp()


def _row(fields: list[str], where: str, before_s: float | None) -> tuple[float, float]:
    if len(fields) != len(_HEADER):
        raise DriverError(f"{where}: expected a time and a temperature, found {len(fields)} fields")
    t_s = _moment_s(fields[0], where)
    try:
        temperature_c = float(fields[1])
    except ValueError:
        temperature_c = math.nan
    if not math.isfinite(temperature_c):
        raise DriverError(f"{where}: '{fields[1]}' is not a temperature in degrees Celsius")
    if before_s is not None and t_s <= before_s:
        raise DriverError(f"{where}: {fields[0]} is not after the line before it")
    return t_s, temperature_c
