"""Whether a fit may be used: what it left over, how far apart it thinks the probes are, how sure it is. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from matwarden.analysis.fit import Fitted
from matwarden.analysis.grid import Grid
from matwarden.analysis.network import WALL, Array, steady
from matwarden.analysis.refusal import Cannot, Refusal
from matwarden.core.units import difference_text, duration_text
from matwarden.terms import Unit

__all__ = ["doubts"]

# Ours. Root mean squares are 0.02 K in healthy plants, 0.4 K and more where a probe came half loose or the loss changed
# midway (or a twentieth of the readings and more is left out); a real tub is opened and watered between.
_LEFT_K, _LEFT_PART = 0.3, 0.02
_DROPPED = 0.05
_BLOCK_S = 6 * 3600.0
_BLOCK_K, _BLOCK_PART = 0.35, 0.02
_OFFSET_K = 1.5
_RISE_PART = 0.15
_Z = 1.645


def doubts(fit: Fitted, grids: Sequence[Grid], unit: Unit = Unit.C) -> list[Refusal]:
    """What speaks against using this fit; empty: nothing."""
    network = fit.network
    full = steady(network, 1.0)
    found = []
    for k, (place, node) in enumerate((("wall", WALL), ("inside", network.shape.inside))):
        rise_k = float(full[node])
        left_k, bound_k = fit.rms_k[k], max(_LEFT_K, _LEFT_PART * rise_k)
        if left_k > bound_k:
            found.append(
                Refusal(
                    Cannot.NO_NETWORK,
                    f"of the {place}'s readings {difference_text(left_k, unit)} (root mean square) remain unexplained, "
                    f"expected less than {difference_text(bound_k, unit)}",
                    "Leave the tub closed and its probes where they are for two days, then try again.",
                )
            )
        worst_k, after_s = _worst_block(fit, grids, k)
        bound_k = max(_BLOCK_K, _BLOCK_PART * rise_k)
        if worst_k > bound_k:
            found.append(
                Refusal(
                    Cannot.CHANGED,
                    f"about {duration_text(after_s)} after its beginning the {place} reads "
                    f"{difference_text(worst_k, unit)} off for hours, expected less than "
                    f"{difference_text(bound_k, unit)}: a probe, the lid or the mat changed",
                    "Look at the tub; name a range of time (--from, --to) in which nothing was changed.",
                )
            )
        offset_k = network.wall_offset_k if k == 0 else network.inside_offset_k
        if abs(offset_k) > _OFFSET_K:
            found.append(
                Refusal(
                    Cannot.OFFSET,
                    f"the {place} probe and the room's seem to be {difference_text(abs(offset_k), unit)} apart at the "
                    f"same temperature, expected less than {difference_text(_OFFSET_K, unit)}",
                    "Put the probes side by side for an hour and set their offsets.",
                )
            )
    dropped = _dropped(fit, grids)
    if dropped > _DROPPED:
        found.append(
            Refusal(
                Cannot.NO_NETWORK,
                f"{dropped * 100.0:.0f} % of the readings are too far from the rest to be used, expected less than "
                f"{_DROPPED * 100.0:.0f} %",
                "Look whether a probe has come loose, or the tub stood open.",
            )
        )
    if any(one.name is Cannot.CHANGED for one in found):
        # What changed also leaves much unexplained: that need not be said twice.
        found = [one for one in found if one.name is not Cannot.NO_NETWORK]
    return found or _unsure(fit, full, unit)


def _worst_block(fit: Fitted, grids: Sequence[Grid], k: int) -> tuple[float, float]:
    """The largest mean of what is left over six hours, K, and when it begins, s from the record's start."""
    worst_k, after_s = 0.0, 0.0
    for grid, left in zip(grids, fit.residual_k, strict=True):
        n = max(1, int(_BLOCK_S / grid.step_s))
        for first in range(0, len(left), n):
            read = grid.read[first : first + n, k]
            if read.sum() < n / 2:
                continue
            mean_k = abs(float(left[first : first + n, k][read].mean()))
            if mean_k > worst_k:
                worst_k, after_s = mean_k, grid.start_s + first * grid.step_s - grids[0].start_s
    return worst_k, after_s


def _dropped(fit: Fitted, grids: Sequence[Grid]) -> float:
    """The part of the readings that the fit left out as too far off: they stand as exactly 0.0."""
    read = sum(int(grid.read.sum()) for grid in grids)
    left_out = sum(int((grid.read & (left == 0.0)).sum()) for grid, left in zip(grids, fit.residual_k, strict=True))
    return left_out / max(1, read)


def _unsure(fit: Fitted, full: Array, unit: Unit) -> list[Refusal]:
    """The rise at full heat with its interval, from the covariance to first order."""
    nodes = [WALL, fit.network.shape.inside]
    step = 1e-3

    def rises(values: Array) -> Array:
        return steady(fit.network_of(values), 1.0)

    slopes = np.column_stack(
        [
            (rises(fit.values + step * one) - rises(fit.values - step * one)) / (2 * step)
            for one in np.eye(len(fit.values))
        ]
    )
    spread = np.sqrt(np.clip(np.diag(slopes @ fit.covariance @ slopes.T), 0.0, None))
    for place, node in zip(("wall", "inside"), nodes, strict=True):
        either_k, rise_k = _Z * float(spread[node]), float(full[node])
        if not either_k <= _RISE_PART * rise_k:
            return [
                Refusal(
                    Cannot.NOT_SURE,
                    f"full heat would make the {place} {difference_text(rise_k, unit)} warmer than the room, give or "
                    f"take {difference_text(either_k, unit)}; expected a tenth or so",
                    "Use a longer record, with colder and warmer nights, or run commission.",
                )
            ]
    return []
