"""What follows from a fitted tub, each number with its interval. Pure.

An interval comes of many networks drawn from the fit's covariance, each taken through the same question; and of what
no network of this kind gets right, which is put on top: `STRUCTURE`. That part was measured, not derived: of forty
plants of tests/analysis the rise at full heat was off by 0.04 K in the mean and by 0.17 K at the most. The times and
the shares have not been held against those plants yet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np

from matwarden.analysis.control import Control, cooled, cycling, heated_from_cold, share_for
from matwarden.analysis.fit import Found
from matwarden.analysis.network import WALL, Array, Network, steady

__all__ = ["Estimate", "Findings", "Rooms", "coldest_room_c", "findings"]

DRAWS_N = 32
_SEED = 20
# Standard deviation of what the network itself gets wrong, as a part of a rise, a time or a share.
STRUCTURE = 0.006
STRUCTURE_TIME = 0.03
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
    middle = _numbers(fit.network, control, low_c, rooms, watts_known)
    drawn = [_numbers(each, control, low_c, rooms, watts_known) for each in _draws(fit)]
    rise_k = max(abs(middle["rise_inside"] or 0.0), abs(middle["rise_wall"] or 0.0))
    estimates = {}
    for name, unit in _UNITS.items():
        value = middle[name]
        others = np.array([each[name] for each in drawn if each[name] is not None], dtype=np.float64)
        if value is None:
            estimates[name] = Estimate(None, None, None, unit)
            continue
        low, high = (value, value) if len(others) < DRAWS_N // 2 else map(float, np.percentile(others, _LEVEL))
        more = _Z * (STRUCTURE * rise_k if unit in ("K", "C") else STRUCTURE_TIME * abs(value))
        low = value - float(np.hypot(max(value - low, 0.0), more))
        high = value + float(np.hypot(max(high - value, 0.0), more))
        if unit not in ("K", "C"):
            low = max(low, 0.0)
        estimates[name] = Estimate(value, low, high, unit)
    return Findings(**{field.name: estimates[field.name] for field in fields(Findings)})


def coldest_room_c(network: Network, control: Control, low_c: float) -> float:
    """The room in which the inside's lowest reading is just `low_c`, with heat wanted all the time."""
    inside, low_node_c = network.shape.inside, low_c - network.inside_offset_k
    full = steady(network, 1.0)
    room_c = float(low_node_c - full[inside])
    limit_c = control.limiter_c - network.wall_offset_k
    if room_c + float(full[WALL]) <= limit_c:
        return room_c
    always = Control(
        control.limiter_c + 50.0,
        1.0,
        control.limiter_c,
        control.cut_out_c,
        control.differential_k,
        control.minimum_on_s,
        control.minimum_off_s,
        control.by_wall,
        control.poll_s,
    )
    # The limiter holds the wall: how far the inside is then from its mean is found by living through it.
    wall_mean_c, dip_k = limit_c - control.differential_k / 2.0, 0.0
    for _ in range(4):
        room_c = _held_by_wall(network, wall_mean_c, low_node_c + dip_k, room_c)
        cycle = cycling(network, always, room_c)
        wall_mean_c = cycle.mean_wall_c - network.wall_offset_k
        share = share_for(network, WALL, wall_mean_c - room_c)
        mean_c = room_c + float(steady(network, share)[inside])
        dip_k = mean_c - (cycle.inside[0] - network.inside_offset_k)
    return room_c


def _held_by_wall(network: Network, wall_c: float, inside_c: float, guess_c: float) -> float:
    """The room in which a wall held at `wall_c` makes an inside of `inside_c`."""
    low, high = guess_c - 1.0, inside_c

    def makes(room_c: float) -> float:
        share = share_for(network, WALL, wall_c - room_c)
        return room_c + float(steady(network, share)[network.shape.inside])

    while makes(low) > inside_c and low > guess_c - 80.0:
        low -= 10.0
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if makes(middle) < inside_c else (low, middle)
    return 0.5 * (low + high)


def _numbers(
    network: Network, control: Control, low_c: float, rooms: Rooms, watts_known: bool
) -> dict[str, float | None]:
    inside = network.shape.inside
    full = steady(network, 1.0)
    usual = cycling(network, control, rooms.usual_c)
    cold = cycling(network, control, rooms.coldest_c)
    hottest = heated_from_cold(network, control, rooms.coldest_c)
    period_s = usual.period_s
    return {
        "rise_wall": float(full[WALL]),
        "rise_inside": float(full[inside]),
        "coldest_room": coldest_room_c(network, control, low_c),
        "welded_wall": rooms.hottest_c + float(full[WALL]) + network.wall_offset_k,
        "welded_inside": rooms.hottest_c + float(full[inside]) + network.inside_offset_k,
        "ride_through": _ride_h(network, control, cold.share, rooms.coldest_c, low_c),
        "ride_through_usual": _ride_h(network, control, usual.share, rooms.usual_c, low_c),
        "overshoot": None if hottest is None else hottest - control.limiter_c,
        "period": None if period_s is None else period_s / 60.0,
        "share": usual.share,
        "energy": usual.share * network.power_w * 24.0 if watts_known else None,
        "operations": 0.0 if period_s is None else _YEAR_S / period_s,
        "share_coldest": cold.share,
    }


def _ride_h(network: Network, control: Control, share: float, room_c: float, low_c: float) -> float | None:
    """From the mean of the rhythm on."""
    nodes_c = room_c + steady(network, share)
    after_s = cooled(network, np.asarray(nodes_c), share, room_c, low_c).after_s
    return None if after_s is None else after_s / 3600.0


def _draws(fit: Found) -> list[Network]:
    """Networks as sure as the fit is, always the same ones."""
    random = np.random.default_rng(_SEED)
    roots, axes = np.linalg.eigh(fit.covariance)
    spread: Array = axes * np.sqrt(np.clip(roots, 0.0, None))
    made: list[Network] = []
    make: Callable[[Array], Network] = fit.network_of
    for _ in range(DRAWS_N):
        made.append(make(fit.values + spread @ random.standard_normal(len(roots))))
    return made
