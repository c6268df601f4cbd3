"""Many networks of one shape at once, as arrays: an interval asks the same question of thirty of them. Pure.

`k` networks of `n` nodes. NaN stands for what does not happen; it never leaves the analysis as a number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from matwarden.analysis.network import LOSS_AT_K, WALL, Array, Network, Shape

__all__ = ["Stack", "Steps", "shares_for", "stacked", "steadies"]

# Each round leaves a quarter of the loss's growing part of the error before, or less.
_ROUNDS = 20
_HALVINGS = 34


@dataclass(frozen=True, slots=True)
class Stack:
    """Attributes as those of `Network`, of k networks: (k, n) for what each node has, else (k,)."""

    shape: Shape
    capacities: Array
    linked: Array
    losses: Array
    power_w: Array
    lag_s: Array
    loss_share: Array
    wall_offset_k: Array
    inside_offset_k: Array

    def __len__(self) -> int:
        return len(self.power_w)


def stacked(networks: Sequence[Network]) -> Stack:
    """Networks of one shape. `linked` is (k, n, n): what joins the nodes, without the losses."""
    shape = networks[0].shape
    none = np.zeros(shape.order)
    return Stack(
        shape,
        np.array([each.capacities for each in networks]),
        np.array([each.conductances(none) for each in networks]),
        np.array([each.losses for each in networks]),
        np.array([each.power_w for each in networks]),
        np.array([each.lag_s for each in networks]),
        np.array([each.loss_share for each in networks]),
        np.array([each.wall_offset_k for each in networks]),
        np.array([each.inside_offset_k for each in networks]),
    )


def steadies(stack: Stack, heat: Array) -> Array:
    """(k, n) kelvin of each node over the room in the end, with heat allowed for these (k,) shares of the time."""
    k, n = stack.losses.shape
    source = np.zeros((k, n, 1))
    source[:, WALL, 0] = stack.power_w * heat
    losses: Array = stack.losses
    over_k: Array = np.zeros((k, n))
    for _ in range(_ROUNDS if stack.loss_share.any() else 1):
        matrix = stack.linked + losses[:, :, None] * np.eye(n)
        over_k = np.linalg.solve(matrix, source)[..., 0]
        losses = stack.losses * (1.0 + _growth(stack, over_k))
    return over_k


def shares_for(stack: Stack, node: int, over_k: Array) -> Array:
    """(k,) shares of the time in which heat must be allowed to keep a node so far over the room; above 1: it cannot."""
    low, high = np.zeros(len(stack)), np.ones(len(stack))
    for _ in range(6):
        short = (steadies(stack, high)[:, node] < over_k) & (high < 64.0)
        low, high = np.where(short, high, low), np.where(short, 2.0 * high, high)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        short = steadies(stack, middle)[:, node] < over_k
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(np.where(over_k <= 0.0, 0.0, 0.5 * (low + high)))


class Steps:
    """One step of each network: nodes and the lagged heat, exact for heat and room that are constant within it.

    The part of the loss that grows is taken from the step's start.
    """

    def __init__(self, stack: Stack, step_s: float) -> None:
        k, n = stack.losses.shape
        matrix = stack.linked + stack.losses[:, :, None] * np.eye(n)
        system = np.zeros((k, 2 * n + 3, 2 * n + 3))
        system[:, :n, :n] = -matrix / stack.capacities[:, :, None]
        system[:, WALL, n] = stack.power_w / stack.capacities[:, WALL]
        system[:, n, n] = -1.0 / stack.lag_s
        # Inputs: heat, room, and heat taken from each node.
        system[:, n, n + 1] = 1.0 / stack.lag_s
        system[:, :n, n + 2] = stack.losses / stack.capacities
        nodes = np.arange(n)
        system[:, nodes, n + 3 + nodes] = 1.0 / stack.capacities
        whole = expm(system * step_s)
        self._state = whole[:, : n + 1, : n + 1]
        self._heat, self._room = whole[:, : n + 1, n + 1], whole[:, : n + 1, n + 2]
        self._taken = whole[:, : n + 1, n + 3 :]
        self._stack = stack
        self._grows = bool(stack.loss_share.any())

    def next(self, state: Array, heat: Array, room_c: Array) -> Array:
        """State (k, n + 1) after the step: nodes, and the heat that came through the mat. `heat`, `room_c`: (k,)."""
        heats, rooms = heat[:, None], room_c[:, None]
        later = (self._state @ state[:, :, None])[..., 0] + self._heat * heats + self._room * rooms
        if self._grows:
            over_k = state[:, :-1] - rooms
            taken = self._stack.losses * _growth(self._stack, over_k) * over_k
            later -= (self._taken @ taken[:, :, None])[..., 0]
        return np.asarray(later)


def _growth(stack: Stack, over_k: Array) -> Array:
    """By how much a loss over these differences is greater than linear, as a part of it."""
    return np.asarray(stack.loss_share[:, None] * (np.sqrt(np.sqrt(np.abs(over_k) / LOSS_AT_K)) - 1.0))
