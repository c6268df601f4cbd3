"""A network under the thermostat: the guard's rules 9 to 12 for a healthy tub, polled like the guard. Pure.

Each poll is a step of the exact solution for heat and room that are constant within it; the part of the loss that
grows is taken from the step's start.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from matwarden.analysis.network import WALL, Array, Network, grown, steady

__all__ = ["Control", "Cycle", "Decay", "cooled", "cycling", "heated_from_cold", "share_for"]

_POLL_S = 10.0


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
class Decay:
    """Seconds until the inside reads less than asked for; None: it never does."""

    after_s: float | None
    ends_at_c: float


class _Steps:
    """One poll of a network: nodes and the lagged heat, as one linear map."""

    def __init__(self, network: Network, poll_s: float) -> None:
        n = network.shape.order
        rates = -network.conductances() / network.capacities[:, None]
        system = np.zeros((2 * n + 3, 2 * n + 3))
        system[:n, :n] = rates
        system[WALL, n] = network.power_w / network.capacities[WALL]
        system[n, n] = -1.0 / network.lag_s
        # Inputs that are constant over the step: heat, room, and heat taken from each node.
        system[n, n + 1] = 1.0 / network.lag_s
        system[:n, n + 2] = network.losses / network.capacities
        system[:n, n + 3 :] = np.diag(1.0 / network.capacities)
        whole = expm(system * poll_s)
        self.state, self.heat, self.room, self.taken = (
            whole[: n + 1, : n + 1],
            whole[: n + 1, n + 1],
            whole[: n + 1, n + 2],
            whole[: n + 1, n + 3 :],
        )
        self.network = network

    def next(self, state: Array, heat: float, room_c: float) -> Array:
        later = self.state @ state + self.heat * heat + self.room * room_c
        network = self.network
        if network.loss_share:
            over_k = state[:-1] - room_c
            later = later - self.taken @ (network.losses * (grown(network, over_k) - 1.0) * over_k)
        return np.asarray(later)


def share_for(network: Network, node: int, over_k: float) -> float:
    """The share of the time for which heat must be allowed to keep a node so far over the room; above 1: it cannot."""
    if over_k <= 0.0:
        return 0.0
    low, high = 0.0, 1.0
    while steady(network, high)[node] < over_k and high < 64.0:
        low, high = high, 2.0 * high
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if steady(network, middle)[node] < over_k else (low, middle)
    return 0.5 * (low + high)


def cycling(network: Network, control: Control, room_c: float, lasts_s: float = 43_200.0) -> Cycle:
    """The rhythm a tub comes to in a steady room."""
    steps = _Steps(network, control.poll_s)
    node = WALL if control.by_wall else network.shape.inside
    offset_k = network.wall_offset_k if control.by_wall else network.inside_offset_k
    share = min(1.0, share_for(network, node, control.setpoint_c - offset_k - room_c))
    share = min(share, share_for(network, WALL, control.limiter_c - network.wall_offset_k - room_c))
    state = np.concatenate([room_c + steady(network, share), [share]])
    wall_k, inside_k, inside = network.wall_offset_k, network.inside_offset_k, network.shape.inside
    demand, limiter, on = False, False, False
    since_s = -1e9
    polls = int(lasts_s // control.poll_s)
    settled = polls // 2
    began: list[int] = []
    walls, insides, heats = np.empty(polls), np.empty(polls), np.zeros(polls)
    on_c = control.setpoint_c - control.hysteresis_k / 2
    off_c = control.setpoint_c + control.hysteresis_k / 2
    for poll in range(polls):
        now_s = poll * control.poll_s
        wall_c, inside_c = float(state[WALL]) + wall_k, float(state[inside]) + inside_k
        walls[poll], insides[poll] = wall_c, inside_c
        sensed = wall_c if control.by_wall else inside_c
        demand = sensed <= on_c or (demand and sensed < off_c)
        hottest = max(wall_c, inside_c)
        limiter = hottest >= control.limiter_c or (limiter and hottest >= control.limiter_c - control.differential_k)
        finishing = on and now_s - since_s < control.minimum_on_s
        resting = not on and now_s - since_s < control.minimum_off_s
        want = not limiter and (demand or finishing) and not resting
        if want != on:
            on, since_s = want, now_s
            if on and poll >= settled:
                began.append(poll)
        heats[poll] = on
        state = steps.next(state, float(on), room_c)
    period_s, whole = None, slice(settled, polls)
    if len(began) >= 2:
        # Whole rounds only: a part of one would shift the share.
        period_s, whole = (began[-1] - began[0]) * control.poll_s / (len(began) - 1), slice(began[0], began[-1])
    walls, insides = walls[whole], insides[whole]
    return Cycle(
        period_s,
        float(heats[whole].mean()),
        (float(walls.min()), float(walls.max())),
        (float(insides.min()), float(insides.max())),
        float(walls.mean()),
    )


def cooled(network: Network, nodes_c: Array, heat: float, room_c: float, low_c: float) -> Decay:
    """How long the inside stays at `low_c` or above once heat is lost. `nodes_c`, `heat`: as it was until then."""
    ends_c = room_c + network.inside_offset_k
    if float(nodes_c[network.shape.inside]) + network.inside_offset_k < low_c:
        return Decay(0.0, ends_c)
    if ends_c >= low_c:
        return Decay(None, ends_c)
    steps = _Steps(network, 60.0)
    state = np.concatenate([nodes_c, [heat]])
    before = float(state[network.shape.inside]) + network.inside_offset_k
    for minute in range(60 * 24 * 30):
        state = steps.next(state, 0.0, room_c)
        now = float(state[network.shape.inside]) + network.inside_offset_k
        if now < low_c <= before:
            return Decay(60.0 * (minute + (before - low_c) / (before - now)), ends_c)
        before = now
    return Decay(None, ends_c)


def heated_from_cold(network: Network, control: Control, room_c: float) -> float | None:
    """The wall's highest reading when full heat from a cold start meets the limiter; None: it never gets so far."""
    steps = _Steps(network, control.poll_s)
    state = np.concatenate([np.full(network.shape.order, room_c), [0.0]])
    if room_c + float(steady(network, 1.0)[WALL]) + network.wall_offset_k < control.limiter_c:
        return None
    on, highest = True, -np.inf
    for _ in range(int(5 * 86_400 // control.poll_s)):
        wall_c = float(state[WALL]) + network.wall_offset_k
        if on and wall_c >= control.limiter_c:
            on = False
        if not on:
            if wall_c < highest:
                return float(highest)
            highest = max(highest, wall_c)
        state = steps.next(state, float(on), room_c)
    return None if highest == -np.inf else float(highest)
