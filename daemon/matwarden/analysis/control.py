"""A network under the thermostat: the guard's rules 9 to 12 for a healthy tub, polled like the guard. Pure.

Each question is asked of many networks at once (`cyclings`, `coolings`, `heatings`); of one it has its plain form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matwarden.analysis.network import WALL, Array, Network, steady
from matwarden.analysis.stack import Stack, Steps, shares_for, stacked, steadies

__all__ = [
    "Control",
    "Cycle",
    "Cycles",
    "Decay",
    "cooled",
    "coolings",
    "cycling",
    "cyclings",
    "heated_from_cold",
    "heatings",
    "share_for",
]

_POLL_S = 10.0
_LONGEST_DECAY_S = 14 * 86_400.0
_LONGEST_RISE_S = 3 * 86_400.0


@dataclass(frozen=True, slots=True)
class Control:
    """What the guard holds a tub to. Celsius as the probes read it, kelvin, seconds.

    Attributes:
        by_wall: demand is by the wall, for want of an inside probe that governs.
    """

    setpoint_c: float
    hysteresis_k: float
    limiter_c: float
    cut_out_c: float
    differential_k: float
    minimum_on_s: float
    minimum_off_s: float
    by_wall: bool = False
    poll_s: float = _POLL_S

    @property
    def always(self) -> Control:
        """The same with heat wanted all the time: only the limiter holds it."""
        return replace(self, setpoint_c=self.limiter_c + 50.0)


@dataclass(frozen=True, slots=True)
class Cycle:
    """A tub that has come to its rhythm.

    Attributes:
        period_s: None when the relay does not switch. share: of the time in which heat is allowed.
        wall, inside: lowest and highest reading.
    """

    period_s: float | None
    share: float
    wall: tuple[float, float]
    inside: tuple[float, float]
    mean_wall_c: float


@dataclass(frozen=True, slots=True)
class Cycles:
    """The same of k tubs, each (k,). `period_s`: NaN where the relay does not switch."""

    period_s: Array
    share: Array
    lowest_wall_c: Array
    highest_wall_c: Array
    lowest_inside_c: Array
    highest_inside_c: Array
    mean_wall_c: Array


@dataclass(frozen=True, slots=True)
class Decay:
    """Seconds until the inside reads less than asked for; None: it never does."""

    after_s: float | None
    ends_at_c: float


def share_for(network: Network, node: int, over_k: float) -> float:
    """The share of the time for which heat must be allowed to keep a node so far over the room; above 1: it cannot."""
    return float(shares_for(stacked([network]), node, np.array([over_k]))[0])


def cycling(network: Network, control: Control, room_c: float, lasts_s: float = 28_800.0) -> Cycle:
    """The rhythm a tub comes to in a steady room."""
    found = cyclings(stacked([network]), control, np.array([room_c]), lasts_s)
    period_s = float(found.period_s[0])
    return Cycle(
        None if np.isnan(period_s) else period_s,
        float(found.share[0]),
        (float(found.lowest_wall_c[0]), float(found.highest_wall_c[0])),
        (float(found.lowest_inside_c[0]), float(found.highest_inside_c[0])),
        float(found.mean_wall_c[0]),
    )


def cyclings(stack: Stack, control: Control | Sequence[Control], room_c: Array, lasts_s: float = 28_800.0) -> Cycles:
    """The rhythm each tub comes to in its own steady (k,) room; under one control, or each under its own.

    Several controls are polled alike, and demand is by the same probe.
    """
    k, inside = len(stack), stack.shape.inside
    controls = [control] if isinstance(control, Control) else list(control)
    poll_s, by_wall = controls[0].poll_s, controls[0].by_wall
    setpoint_c = np.array([each.setpoint_c for each in controls])
    half_k = np.array([each.hysteresis_k for each in controls]) / 2
    limiter_c = np.array([each.limiter_c for each in controls])
    again_c = limiter_c - np.array([each.differential_k for each in controls])
    minimum_on_s = np.array([each.minimum_on_s for each in controls])
    minimum_off_s = np.array([each.minimum_off_s for each in controls])
    steps = Steps(stack, poll_s)
    wall_k, inside_k = stack.wall_offset_k, stack.inside_offset_k
    node, offset_k = (WALL, wall_k) if by_wall else (inside, inside_k)
    share = shares_for(stack, node, setpoint_c - offset_k - room_c)
    share = np.minimum(1.0, np.minimum(share, shares_for(stack, WALL, limiter_c - wall_k - room_c)))
    state = np.column_stack([room_c[:, None] + steadies(stack, share), share])
    demand, limiter, on = (np.zeros(k, dtype=bool) for _ in range(3))
    since_s = np.full(k, -1e9)
    polls = int(lasts_s // poll_s)
    walls, insides = np.empty((polls, k)), np.empty((polls, k))
    heats = np.zeros((polls, k), dtype=bool)
    on_c, off_c = setpoint_c - half_k, setpoint_c + half_k
    for poll in range(polls):
        now_s = poll * poll_s
        wall_c, inside_c = state[:, WALL] + wall_k, state[:, inside] + inside_k
        walls[poll], insides[poll] = wall_c, inside_c
        sensed = wall_c if by_wall else inside_c
        demand = (sensed <= on_c) | (demand & (sensed < off_c))
        hottest = np.maximum(wall_c, inside_c)
        limiter = (hottest >= limiter_c) | (limiter & (hottest >= again_c))
        for_s = now_s - since_s
        want = ~limiter & np.where(on, demand | (for_s < minimum_on_s), demand & (for_s >= minimum_off_s))
        since_s = np.where(want != on, now_s, since_s)
        on = want
        heats[poll] = on
        state = steps.next(state, on, room_c)
    return _rhythm(walls, insides, heats, polls // 2, poll_s)


def coolings(stack: Stack, nodes_c: Array, heat: Array, room_c: Array, low_c: float) -> Array:
    """(k,) seconds for which each inside stays at `low_c` or above once heat is lost; NaN: it always does.

    Args:
        nodes_c, heat: (k, n) and (k,), as they were until then.
    """
    inside, offset_k = stack.shape.inside, stack.inside_offset_k
    step_s = 60.0
    steps = Steps(stack, step_s)
    state = np.column_stack([nodes_c, heat])
    none = np.zeros(len(stack))
    before = state[:, inside] + offset_k
    after_s = np.where(before < low_c, 0.0, np.nan)
    for minute in range(int(_LONGEST_DECAY_S / step_s)):
        waiting = np.isnan(after_s) & (room_c + offset_k < low_c)
        if not waiting.any():
            break
        state = steps.next(state, none, room_c)
        now = state[:, inside] + offset_k
        fell = waiting & (now < low_c)
        part = np.divide(before - low_c, before - now, out=np.zeros_like(now), where=fell)
        after_s = np.where(fell, step_s * (minute + part), after_s)
        before = now
    return after_s


def cooled(network: Network, nodes_c: Array, heat: float, room_c: float, low_c: float) -> Decay:
    """How long the inside stays at `low_c` or above once heat is lost. `nodes_c`, `heat`: as it was until then."""
    one = coolings(stacked([network]), nodes_c[None, :], np.array([heat]), np.array([room_c]), low_c)
    after_s = float(one[0])
    return Decay(None if np.isnan(after_s) else after_s, room_c + network.inside_offset_k)


def heatings(stack: Stack, control: Control, room_c: Array) -> Array:
    """(k,) the wall's highest reading when full heat from a cold start meets the limiter; NaN: it never gets so far."""
    wall_k = stack.wall_offset_k
    steps = Steps(stack, control.poll_s)
    state = np.column_stack([np.repeat(room_c[:, None], stack.shape.order, axis=1), np.zeros(len(stack))])
    reaches = room_c + steadies(stack, np.ones(len(stack)))[:, WALL] + wall_k >= control.limiter_c
    on, highest = np.ones(len(stack), dtype=bool), np.full(len(stack), -np.inf)
    done = ~reaches
    for _ in range(int(_LONGEST_RISE_S // control.poll_s)):
        wall_c = state[:, WALL] + wall_k
        on = on & (wall_c < control.limiter_c)
        done = done | (~on & (wall_c < highest))
        if done.all():
            break
        highest = np.where(on | done, highest, np.maximum(highest, wall_c))
        state = steps.next(state, on, room_c)
    return np.asarray(np.where(reaches & np.isfinite(highest), highest, np.nan))


def heated_from_cold(network: Network, control: Control, room_c: float) -> float | None:
    """The wall's highest reading when full heat from a cold start meets the limiter; None: it never gets so far."""
    if room_c + float(steady(network, 1.0)[WALL]) + network.wall_offset_k < control.limiter_c:
        return None
    highest = float(heatings(stacked([network]), control, np.array([room_c]))[0])
    return None if np.isnan(highest) else highest


def _rhythm(walls: Array, insides: Array, heats: Array, settled: int, poll_s: float) -> Cycles:
    """Of whole rounds after the first half: a part of one would shift the share."""
    k = heats.shape[1]
    table = np.full((7, k), np.nan)
    for one in range(k):
        began = settled + 1 + np.flatnonzero(heats[settled + 1 :, one] & ~heats[settled:-1, one])
        whole = slice(settled, None)
        if len(began) >= 2:
            table[0, one] = (began[-1] - began[0]) * poll_s / (len(began) - 1)
            whole = slice(int(began[0]), int(began[-1]))
        wall, inside = walls[whole, one], insides[whole, one]
        table[1:, one] = (heats[whole, one].mean(), wall.min(), wall.max(), inside.min(), inside.max(), wall.mean())
    return Cycles(*table)
