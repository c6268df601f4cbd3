"""What follows from a fitted tub, each number with its interval. Pure.

An interval comes of many networks drawn from the fit's covariance, each taken through the same question; and of what
no network of this kind gets right, which is put on top: `STRUCTURE`. That part was measured, not derived: on forty
plants of tests/analysis, and then held against forty others (tests/analysis/run_plants.py).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from matwarden.analysis.control import Control, coolings, cyclings, heatings
from matwarden.analysis.fit import Found
from matwarden.analysis.network import WALL, Array, Network
from matwarden.analysis.stack import Stack, shares_for, stacked, steadies

__all__ = ["STRUCTURE", "Estimate", "Findings", "Rooms", "coldest_room_c", "coldest_rooms_c", "draws", "findings"]

DRAWS_N = 32
_SEED = 20
# Standard deviation of what the network itself gets wrong: as a part of the rise at full heat for temperatures, of the
# number itself for hours of ride-through, and for the rhythm.
STRUCTURE = {"K": 0.0015, "C": 0.0015, "h": 0.004}
STRUCTURE_RHYTHM = 0.002
_LEVEL = (5.0, 95.0)
_Z = 1.645
_YEAR_S = 365.25 * 86_400.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number and the interval that holds the truth nine times in ten. None: it does not happen."""

    value: float | None
    low: float | None
    high: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class Rooms:
    """The rooms that are asked about, in degrees Celsius."""

    coldest_c: float
    usual_c: float
    hottest_c: float


@dataclass(frozen=True, slots=True)
class Findings:
    """What a tub can do.

    Attributes:
        rise_wall, rise_inside: over the room, at full heat, in the end.
        coldest_room: in which the inside still keeps the band's low edge, with the limiter acting.
        welded_wall, welded_inside: in the end, with heat that nobody can cut, in the hottest room.
        ride_through: hours until the inside is under the band, when heat is lost in the coldest room.
        ride_through_usual: the same in the usual room.
        overshoot: of the wall over the limiter, from full heat; None: the wall never gets there.
        period, share, energy, operations: in the usual room.
        share_coldest: share of the time in which heat is allowed in the coldest room.
    """

    rise_wall: Estimate
    rise_inside: Estimate
    coldest_room: Estimate
    welded_wall: Estimate
    welded_inside: Estimate
    ride_through: Estimate
    ride_through_usual: Estimate
    overshoot: Estimate
    period: Estimate
    share: Estimate
    energy: Estimate
    operations: Estimate
    share_coldest: Estimate


_UNITS = {
    "rise_wall": "K",
    "rise_inside": "K",
    "coldest_room": "C",
    "welded_wall": "C",
    "welded_inside": "C",
    "ride_through": "h",
    "ride_through_usual": "h",
    "overshoot": "K",
    "period": "min",
    "share": "1",
    "energy": "Wh/d",
    "operations": "1/a",
    "share_coldest": "1",
}


def findings(fit: Found, control: Control, low_c: float, rooms: Rooms, watts_known: bool) -> Findings:
    """Everything above for one tub. `low_c`: the band's low edge."""
    numbers = _numbers(stacked([fit.network, *draws(fit)]), control, low_c, rooms, watts_known)
    rise_k = max(abs(float(numbers["rise_inside"][0])), abs(float(numbers["rise_wall"][0])))
    return Findings(
        **{field.name: _estimate(numbers[field.name], _UNITS[field.name], rise_k) for field in fields(Findings)}
    )


def _estimate(numbers: Array, unit: str, rise_k: float) -> Estimate:
    """The first of the numbers with an interval from the others; NaN: it does not happen."""
    value = float(numbers[0])
    if np.isnan(value):
        return Estimate(None, None, None, unit)
    others = numbers[1:][~np.isnan(numbers[1:])]
    low, high = (value, value) if len(others) < DRAWS_N // 2 else map(float, np.percentile(others, _LEVEL))
    more = _Z * STRUCTURE.get(unit, STRUCTURE_RHYTHM) * (rise_k if unit in ("K", "C") else abs(value))
    low = value - float(np.hypot(max(value - low, 0.0), more))
    high = value + float(np.hypot(max(high - value, 0.0), more))
    if unit not in ("K", "C"):
        low = max(low, 0.0)
    return Estimate(value, low, high, unit)


def coldest_room_c(network: Network, control: Control, low_c: float) -> float:
    """The room in which the inside's lowest reading is just `low_c`, with heat wanted all the time."""
    return float(coldest_rooms_c(stacked([network]), control, low_c)[0])


def coldest_rooms_c(stack: Stack, control: Control, low_c: float) -> Array:
    """The same of k tubs, (k,)."""
    inside = stack.shape.inside
    low_node_c = low_c - stack.inside_offset_k
    limit_c = control.limiter_c - stack.wall_offset_k
    full = steadies(stack, np.ones(len(stack)))
    free_c = low_node_c - full[:, inside]
    limited = free_c + full[:, WALL] > limit_c
    if not limited.any():
        return np.asarray(free_c)
    # The limiter holds the wall: how far the inside is then from its mean is found by living through it.
    wall_mean_c, dip_k, room_c = limit_c - control.differential_k / 2.0, np.zeros(len(stack)), free_c
    for _ in range(4):
        share = _held_by_wall(stack, wall_mean_c - low_node_c - dip_k)
        room_c = np.where(limited, wall_mean_c - steadies(stack, share)[:, WALL], free_c)
        cycle = cyclings(stack, control.always, room_c)
        wall_mean_c = cycle.mean_wall_c - stack.wall_offset_k
        share = shares_for(stack, WALL, wall_mean_c - room_c)
        mean_c = room_c + steadies(stack, share)[:, inside]
        dip_k = mean_c - (cycle.lowest_inside_c - stack.inside_offset_k)
    return np.asarray(room_c)


def _held_by_wall(stack: Stack, between_k: Array) -> Array:
    """(k,) the share of heat at which wall and inside are so far apart: it grows with the share."""
    inside = stack.shape.inside
    low, high = np.zeros(len(stack)), np.ones(len(stack))
    for _ in range(34):
        middle = 0.5 * (low + high)
        over_k = steadies(stack, middle)
        short = over_k[:, WALL] - over_k[:, inside] < between_k
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(0.5 * (low + high))


def _numbers(stack: Stack, control: Control, low_c: float, rooms: Rooms, watts_known: bool) -> dict[str, Array]:
    k, inside = len(stack), stack.shape.inside
    full = steadies(stack, np.ones(k))
    coldest_c, usual_c = np.full(k, rooms.coldest_c), np.full(k, rooms.usual_c)
    usual, cold = cyclings(stack, control, usual_c), cyclings(stack, control, coldest_c)
    wall_k, inside_k = stack.wall_offset_k, stack.inside_offset_k
    return {
        "rise_wall": full[:, WALL],
        "rise_inside": full[:, inside],
        "coldest_room": coldest_rooms_c(stack, control, low_c),
        "welded_wall": rooms.hottest_c + full[:, WALL] + wall_k,
        "welded_inside": rooms.hottest_c + full[:, inside] + inside_k,
        "ride_through": _ride_h(stack, cold.share, coldest_c, low_c),
        "ride_through_usual": _ride_h(stack, usual.share, usual_c, low_c),
        "overshoot": heatings(stack, control, coldest_c) - control.limiter_c,
        "period": usual.period_s / 60.0,
        "share": usual.share,
        "energy": usual.share * stack.power_w * 24.0 if watts_known else np.full(k, np.nan),
        "operations": np.where(np.isnan(usual.period_s), 0.0, _YEAR_S / usual.period_s),
        "share_coldest": cold.share,
    }


def _ride_h(stack: Stack, share: Array, room_c: Array, low_c: float) -> Array:
    """From the mean of the rhythm on."""
    return coolings(stack, room_c[:, None] + steadies(stack, share), share, room_c, low_c) / 3600.0


def draws(fit: Found) -> list[Network]:
    """Networks as sure as the fit is, always the same ones."""
    random = np.random.default_rng(_SEED)
    roots, axes = np.linalg.eigh(fit.covariance)
    spread: Array = axes * np.sqrt(np.clip(roots, 0.0, None))
    return [fit.network_of(fit.values + spread @ random.standard_normal(len(roots))) for _ in range(DRAWS_N)]
