"""The figures of a digest reckoned again by pandas and NumPy from the raw rows of the record; no code of the program.

The rule of time is the record's: a reading holds until the next one, but no longer than it is fresh. A window has what
was recorded after its start, up to and with its end; up to its first reading nothing was missed while a reading would
still have held. Temperatures are degrees Celsius, times UTC seconds since 1970.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

__all__ = ["halves", "heat", "inside", "readings", "reserve", "unread", "utc_s", "verdicts"]

THERMOSTAT = ("warm-enough", "resting", "below-setpoint", "coasting", "minimum-on")


def utc_s(text: str) -> float:
    """RFC 3339 as seconds."""
    return pd.Timestamp(text).timestamp()


def readings(rows: list[tuple[float, float]], from_s: float, to_s: float, fresh_s: float) -> pd.DataFrame:
    """The readings of one series in a window: `t`, `v`, and `dt`, the seconds for which each held."""
    frame = pd.DataFrame(rows, columns=["t", "v"])
    frame = frame[_recorded_in(frame, from_s, to_s)].reset_index(drop=True)
    frame["next"] = frame.t.shift(-1).fillna(to_s)
    frame["dt"] = (frame.next - frame.t).clip(lower=0.0, upper=fresh_s)
    return frame


def inside(
    frame: pd.DataFrame, from_s: float, to_s: float, fresh_s: float, low_c: float, high_c: float
) -> dict[str, Any]:
    """What a digest's document says under `inside`; its instants as seconds."""
    if frame.empty:
        return {"missing_s": to_s - from_s, "in_band_share": None, "mean_c": None, "lowest": None, "highest": None}
    wait_s = frame.t[0] - from_s
    known_s = frame.dt.sum()
    side = np.select([frame.v < low_c, frame.v > high_c], [-1, 1], 0)
    seconds = {
        name: float(frame.dt[side == n].sum()) for name, n in (("below_s", -1), ("in_band_s", 0), ("above_s", 1))
    }
    return {
        **seconds,
        "lowest": (frame.v.min(), frame.t.iloc[int(frame.v.to_numpy().argmin())]),
        "highest": (frame.v.max(), frame.t.iloc[int(frame.v.to_numpy().argmax())]),
        "mean_c": float(np.average(frame.v, weights=frame.dt)),
        "missing_s": to_s - from_s - known_s - (wait_s if wait_s <= fresh_s else 0.0),
        "in_band_share": seconds["in_band_s"] / known_s,
        "longest_cold": _longest(frame, side == -1, fresh_s),
        "longest_hot": _longest(frame, side == 1, fresh_s),
        "below_kh": float((np.maximum(low_c - frame.v, 0.0) * frame.dt).sum() / 3600.0),
        "above_kh": float((np.maximum(frame.v - high_c, 0.0) * frame.dt).sum() / 3600.0),
    }


def _longest(frame: pd.DataFrame, out: np.ndarray[Any, Any], fresh_s: float) -> tuple[float, float] | None:
    """Start and length of the longest unbroken time outside; a gap ends it."""
    gap_before = (frame.next - frame.t).shift(1, fill_value=0.0) > fresh_s
    run = (pd.Series(out).ne(pd.Series(out).shift()) | gap_before).cumsum()
    found = frame[out].groupby(run[out]).agg(start=("t", "min"), lasts=("dt", "sum"))
    if found.empty:
        return None
    at = int(found.lasts.to_numpy().argmax())
    return float(found.start.iloc[at]), float(found.lasts.iloc[at])


def halves(frame: pd.DataFrame, zone: str) -> dict[str, tuple[float, float, float]]:
    """Lowest, mean and known seconds of night (20:00 to 08:00) and day, of readings that lasted at all."""
    frame = frame[frame.dt > 0.0]
    hour = pd.to_datetime(frame.t, unit="s", utc=True).dt.tz_convert(zone).dt.hour
    by = frame.groupby(np.where((hour >= 20) | (hour < 8), "night", "day"))
    return {str(name): (p.v.min(), float(np.average(p.v, weights=p.dt)), float(p.dt.sum())) for name, p in by}


def unread(database: Path, probe: str, from_s: float, to_s: float) -> tuple[int, int]:
    """Captures missing and doubtful, as the record has counted them."""
    with closing(sqlite3.connect(database)) as connection:
        frame = pd.read_sql(
            "SELECT (s.began_wall_ms + r.t_ms) / 1000.0 AS t, probe, missing_n, doubtful_n FROM refusals r"
            " JOIN stretches s ON s.id = r.stretch",
            connection,
        )
    mine = frame[(frame.probe == probe) & _recorded_in(frame, from_s, to_s)]
    return int(mine.missing_n.sum()), int(mine.doubtful_n.sum())


def verdicts(database: Path, enclosure: str) -> pd.DataFrame:
    """Every verdict on a mat: `t`, `allowed`, `reason`, `operations`."""
    with closing(sqlite3.connect(database)) as connection:
        frame = pd.read_sql(
            "SELECT (s.began_wall_ms + v.t_ms) / 1000.0 AS t, enclosure, allowed, v.reason, operations FROM verdicts v"
            " JOIN stretches s ON s.id = v.stretch ORDER BY v.id",
            connection,
        )
    return frame[frame.enclosure == enclosure].reset_index(drop=True)


def heat(frame: pd.DataFrame, from_s: float, to_s: float) -> tuple[float, int, int]:
    """Share of the window in which heat was allowed, relay operations in it, and in the relay's life up to its end."""
    allowed_s = (_until(frame, to_s).clip(from_s, to_s) - frame.t.clip(from_s, to_s))[frame.allowed == 1].sum()
    before, upto = frame[frame.t <= from_s].operations, frame[frame.t <= to_s].operations
    first = int(before.iloc[-1]) if len(before) else int(frame.operations[0] - frame.allowed[0])
    return float(allowed_s / (to_s - from_s)), int(upto.iloc[-1]) - first, int(upto.iloc[-1])


def reserve(
    room: pd.DataFrame, air: pd.DataFrame, ruled: pd.DataFrame, from_s: float, to_s: float
) -> tuple[float, float, float, float] | None:
    """Start, mean room, rise of the air and share of heat of the room's coldest six hours, in half-hour steps.

    Args:
        ruled: the mat's verdicts. Only hours in which the thermostat alone decided count, nine tenths of them read.
    """
    n = int((to_s - from_s) // 1800)
    sums = []
    for frame in (room, air):
        step = ((frame.t - from_s) // 1800).astype(int)
        sums.append([np.bincount(step, w, minlength=n + 1)[:n] for w in (frame.dt, frame.v * frame.dt)])
    rolled = [[np.convolve(part, np.ones(12), "valid") for part in pair] for pair in sums]
    starts = from_s + 1800.0 * np.arange(n - 11)
    other = ruled[~ruled.reason.isin(THERMOSTAT)]
    ends = _until(ruled, to_s)[other.index].to_numpy()
    touched = (other.t.to_numpy()[:, None] < starts + 21600.0) & (ends[:, None] > starts)
    good = ~touched.any(axis=0) & (starts >= ruled.t[0])
    good &= (rolled[0][0] >= 0.9 * 21600.0) & (rolled[1][0] >= 0.9 * 21600.0)
    if not good.any():
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        room_c = np.where(good, rolled[0][1] / rolled[0][0], np.inf)
        air_c = rolled[1][1] / rolled[1][0]
    at = int(room_c.argmin())
    share, _, _ = heat(ruled, starts[at], starts[at] + 21600.0)
    return starts[at] - from_s, room_c[at], air_c[at] - room_c[at], share


def _recorded_in(frame: pd.DataFrame, from_s: float, to_s: float) -> pd.Series[bool]:
    """What was recorded at the very start is of the window before, unless there is none."""
    begun = (frame.t > from_s) | (frame.t == from_s) & (frame.t.min() == from_s)
    found: pd.Series[bool] = begun & (frame.t <= to_s)
    return found


def _until(frame: pd.DataFrame, to_s: float) -> pd.Series[float]:
    return frame.t.shift(-1).fillna(max(to_s, float(frame.t.iloc[-1])))
