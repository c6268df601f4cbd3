"""What a fitted tub would have done in a place, driven by that place's temperature as its room. Pure.

Without heat the network is simulated exactly (network.py). With heat the guard's thermostat acts on it in
steps of two minutes: all places and all draws of the fit at once, since a month is twenty thousand of them.

An interval comes of many networks drawn from the fit's covariance, each with a shift of its own of the place's
temperature. The shift stands for what the fit leaves over in the inside (its RMS), and, where another probe read the
place than the one that was the room of the fit, for the difference of two probes. Share of
heat and energy get `_STRUCTURE` on top.

A tub begins as if it had lived through its first day twice; in a gap its room is a line, and nothing is counted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from matwarden.analysis.consequences import DRAWS_N, draws
from matwarden.analysis.control import Control
from matwarden.analysis.fit import Found
from matwarden.analysis.grid import Mask, Series
from matwarden.analysis.network import WALL, Array, Network, simulate
from matwarden.analysis.stack import Stack, Steps, shares_for, stacked, steadies
from matwarden.core.in_tub import InTub, Likely
from matwarden.core.shared_time import TimeSpan
from matwarden.terms import Band

__all__ = ["Place", "Standing", "in_places"]

# Against polls of 10 s the share of heat differed by 0.007 at the most (three plants, rooms of 15 to 21 C).
STEP_S = 120.0
# Without heat nothing is quick.
_SLOW_N = 3
_HOUR_S = 3600.0
_DAY_N = round(86_400.0 / STEP_S)
_RUNS_IN_N = 2
# Of a probe that is right within +-0.5 K (DS18B20 datasheet), anywhere in it alike; of two probes, each so.
_PROBES_K = 0.5 / np.sqrt(3.0) * np.sqrt(2.0)
# Standard deviation of what the network and the steps get wrong, as a part of the share of heat: of six plants of
# tests/analysis, each in two rooms of a recorded building, it was off by 0.6 % in the mean and by 1.2 % at the most.
_STRUCTURE = 0.01
_LEVEL = (5.0, 95.0)
_Z = 1.645
_SEED = 21


@dataclass(frozen=True, slots=True)
class Standing:
    """The tub that is to stand there.

    Attributes:
        rms_k: what its fit leaves over in the inside. watts_known: without them no energy is told.
    """

    found: Found
    rms_k: float
    control: Control
    band: Band
    watts_known: bool


@dataclass(frozen=True, slots=True)
class Place:
    """The temperature of a place, on a line of seconds that all places share. `other_probe`: see `InTub`."""

    read: Series
    other_probe: bool


def in_places(tub: Standing, places: Mapping[str, Place], spans: Sequence[TimeSpan]) -> dict[str, InTub]:
    """The tub in each place, over `spans`, in all of which every place was read."""
    t_s = np.arange(spans[0].from_s, spans[-1].to_s, STEP_S)
    counted = np.concatenate([np.zeros(_RUNS_IN_N * len(t_s[:_DAY_N]), dtype=bool), _within(t_s, spans)])
    networks = [tub.found.network, *draws(tub.found)]
    rooms_c = np.array([_run_in(np.interp(t_s, each.read.t_s, each.read.value_c)) for each in places.values()])
    shifts_k = np.array([_shifts_k(tub, each) for each in places.values()])
    heated = _heated(tub, networks, rooms_c, shifts_k, counted)
    found = {}
    for number, (id, place) in enumerate(places.items()):
        rooms = zip(networks, shifts_k[number], strict=True)
        unheated = np.array([_unheated(tub, each, rooms_c[number] + k, counted) for each, k in rooms])
        found[id] = _in_tub(tub, unheated, heated[number], float(counted.sum()) * STEP_S, place.other_probe)
    return found


def _run_in(room_c: Array) -> Array:
    return np.concatenate([*[room_c[:_DAY_N]] * _RUNS_IN_N, room_c])


def _shifts_k(tub: Standing, place: Place) -> Array:
    """None for the fit's own network, then one for each draw."""
    sd_k = float(np.hypot(tub.rms_k, _PROBES_K if place.other_probe else 0.0))
    # Evenly over the normal distribution instead of at random: of a shift alone the interval is then exact.
    even = norm.ppf((np.arange(DRAWS_N) + 0.5) / DRAWS_N)
    return np.concatenate([[0.0], sd_k * np.random.default_rng(_SEED).permutation(even)])


def _within(t_s: Array, spans: Sequence[TimeSpan]) -> Mask:
    """Which instants lie in a span."""
    at = np.searchsorted([span.from_s for span in spans], t_s, side="right") - 1
    ends_s = np.array([span.to_s for span in spans])
    return np.asarray((at >= 0) & (t_s < ends_s[np.clip(at, 0, None)]))


def _unheated(
    tub: Standing, network: Network, room_c: Array, counted: Mask
) -> tuple[float, float, float, float, float]:
    """Lowest, highest, share under the band, and kelvin-hours a day under and over it."""
    room_c, counted = room_c[::_SLOW_N], counted[::_SLOW_N]
    start_c = np.full(network.shape.order, room_c[: _DAY_N // _SLOW_N].mean())
    nodes_c = simulate(network, start_c, room_c, np.zeros(len(room_c) - 1), _SLOW_N * STEP_S)
    inside_c = network.readings(nodes_c)[counted, 1]
    under_k, over_k = tub.band.low_c - inside_c, inside_c - tub.band.high_c
    return (
        float(inside_c.min()),
        float(inside_c.max()),
        float((under_k > 0.0).mean()),
        float(np.clip(under_k, 0.0, None).mean()) * 24.0,
        float(np.clip(over_k, 0.0, None).mean()) * 24.0,
    )


def _heated(tub: Standing, networks: Sequence[Network], rooms_c: Array, shifts_k: Array, counted: Mask) -> Array:
    """(places, networks, 2): share of the time in which heat was allowed, and hours under the band all the same."""
    control, stack = tub.control, stacked([*networks] * len(rooms_c))
    inside, wall_k, inside_k = stack.shape.inside, stack.wall_offset_k, stack.inside_offset_k
    first_c = rooms_c[:, :_DAY_N].mean(axis=1)
    steps, state = Steps(stack, STEP_S), _begun(stack, control, (first_c[:, None] + shifts_k).ravel())
    on_c, off_c = control.setpoint_c - control.hysteresis_k / 2.0, control.setpoint_c + control.hysteresis_k / 2.0
    again_c = control.limiter_c - control.differential_k
    demand, limiter, on = (np.zeros(len(stack), dtype=bool) for _ in range(3))
    since_s = np.full(len(stack), -1e9)
    on_n, under_n = np.zeros(len(stack)), np.zeros(len(stack))
    for step, room_c in enumerate(rooms_c.T):
        now_s = step * STEP_S
        wall_c, inside_c = state[:, WALL] + wall_k, state[:, inside] + inside_k
        # The guard's rules 9 to 12, as in control.py.
        sensed_c = wall_c if control.by_wall else inside_c
        demand = (sensed_c <= on_c) | (demand & (sensed_c < off_c))
        hottest_c = np.maximum(wall_c, inside_c)
        limiter = (hottest_c >= control.limiter_c) | (limiter & (hottest_c >= again_c))
        for_s = now_s - since_s
        want = ~limiter & np.where(
            on, demand | (for_s < control.minimum_on_s), demand & (for_s >= control.minimum_off_s)
        )
        since_s = np.where(want != on, now_s, since_s)
        on = want
        if counted[step]:
            on_n += on
            under_n += inside_c < tub.band.low_c
        state = steps.next(state, on, (room_c[:, None] + shifts_k).ravel())
    share, under_h = on_n / max(1, int(counted.sum())), under_n * STEP_S / _HOUR_S
    return np.stack([share, under_h], axis=-1).reshape(len(rooms_c), len(networks), 2)


def _begun(stack: Stack, control: Control, mean_c: Array) -> Array:
    """Nodes and lagged heat as they are in the mean of the first day, when the setpoint is kept as far as it can be."""
    wall_k, inside_k = stack.wall_offset_k, stack.inside_offset_k
    node, offset_k = (WALL, wall_k) if control.by_wall else (stack.shape.inside, inside_k)
    share = shares_for(stack, node, control.setpoint_c - offset_k - mean_c)
    share = np.clip(np.minimum(share, shares_for(stack, WALL, control.limiter_c - wall_k - mean_c)), 0.0, 1.0)
    return np.column_stack([mean_c[:, None] + steadies(stack, share), share])


def _in_tub(tub: Standing, cold: Array, heated: Array, counted_s: float, other_probe: bool) -> InTub:
    """Rows: the fit's own network first, then the draws."""

    def likely(values: Array, structure: float = 0.0, most: float = np.inf) -> Likely:
        value = float(values[0])
        low, high = map(float, np.percentile(values[1:], _LEVEL))
        more = _Z * structure * abs(value)
        low = value - float(np.hypot(max(value - low, 0.0), more))
        high = value + float(np.hypot(max(high - value, 0.0), more))
        return Likely(value, low, min(high, most))

    share, not_held_h = heated[:, 0], heated[:, 1]
    energy = share * tub.found.network.power_w * 24.0
    return InTub(
        lowest_c=likely(cold[:, 0]),
        highest_c=likely(cold[:, 1]),
        below_share=likely(cold[:, 2], most=1.0),
        below_kh_per_day=likely(cold[:, 3]),
        above_kh_per_day=likely(cold[:, 4]),
        heat_share=likely(share, _STRUCTURE, most=1.0),
        energy_wh_per_day=likely(energy, _STRUCTURE) if tub.watts_known else None,
        not_held_h=likely(not_held_h),
        counted_s=counted_s,
        setpoint_c=tub.control.setpoint_c,
        other_probe=other_probe,
    )
