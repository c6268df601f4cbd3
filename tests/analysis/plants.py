"""What is said of random tubs, beside what is true of them: tests/analysis/plant.py, solved by scipy with events.

Truths are of the plant as its probes read it: each probe has an offset that nobody told the program of.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from analysis.plant import AIR, WALL, Array, Plant, coldest_room, live, some_plant
from analysis.test_fit import recorded
from matwarden.analysis.consequences import Estimate, Rooms, findings
from matwarden.analysis.control import Control
from matwarden.analysis.fit import fitted
from matwarden.analysis.grid import laid_out

__all__ = ["BOUNDS", "Compared", "compared", "covered_pct", "table"]

LOW_C, ROOMS = 22.2, Rooms(16.0, 19.5, 28.0)
# Polled twice as often as usual, and without minimum times: the plant's thermostat switches at once. The limiter is
# out of reach, as in the plant.
CONTROL = Control(24.0, 1.0, 70.0, 72.0, 1.0, 0.0, 0.0, poll_s=5.0)
# How far from the truth each may be: kelvin, or a part of it.
BOUNDS = {
    "coldest_room": 0.5,
    "welded_wall": 1.0,
    "welded_inside": 1.0,
    "ride_through": 0.10,
    "ride_through_usual": 0.10,
    "period": 0.05,
    "share": 0.05,
    "share_coldest": 0.05,
}
_KELVIN = ("coldest_room", "welded_wall", "welded_inside")


@dataclass(frozen=True, slots=True)
class Compared:
    """One number of one tub."""

    name: str
    seed: int
    told: Estimate
    true: float

    @property
    def off(self) -> float:
        """Kelvin, or a part of the truth."""
        assert self.told.value is not None
        difference = self.told.value - self.true
        return difference if self.name in _KELVIN else difference / self.true

    @property
    def covered(self) -> bool:
        assert self.told.low is not None
        assert self.told.high is not None
        return self.told.low <= self.true <= self.told.high


class _Rhythm(NamedTuple):
    """Share of the time with heat; None where the relay does not switch, or barely."""

    period_min: float | None
    share: float | None


def compared(seed: int) -> list[Compared]:
    """A random tub, recorded for a day and a half, fitted, and held against itself."""
    random = np.random.default_rng(seed)
    plant, offsets_k = some_plant(random), random.normal(0.0, 0.25, 2)
    fit = fitted(laid_out(recorded(plant, seed, offsets_k), 30.0), plant.watts)
    told = findings(fit, CONTROL, LOW_C, ROOMS, watts_known=True)
    return [
        Compared(name, seed, getattr(told, name), true)
        for name, true in _truths(plant, offsets_k).items()
        if true is not None
    ]


def covered_pct(all_of_it: list[Compared], name: str | None = None) -> float:
    """Percent of the truths that lie in their intervals."""
    some = [one.covered for one in all_of_it if name in (None, one.name)]
    return 100.0 * sum(some) / len(some)


def table(all_of_it: list[Compared]) -> str:
    """Lines of Markdown."""
    lines = ["| number | tubs | mean error | largest | bound | in its interval |", "|---|---|---|---|---|---|"]
    for name, bound in BOUNDS.items():
        off = np.array([one.off for one in all_of_it if one.name == name])
        unit, by = ("K", 1.0) if name in _KELVIN else ("%", 100.0)
        errors = (np.abs(off).mean() * by, np.abs(off).max() * by, bound * by)
        shown = " | ".join(f"{error:.2f} {unit}" for error in errors)
        lines.append(f"| {name} | {len(off)} | {shown} | {covered_pct(all_of_it, name):.0f} % |")
    lines.append(f"| all | {len(all_of_it)} | | | | {covered_pct(all_of_it):.0f} % |")
    return "\n".join(lines)


def _truths(plant: Plant, offsets_k: Array) -> dict[str, float | None]:
    wall_k, inside_k = offsets_k
    full = plant.steady(ROOMS.hottest_c, 1.0)
    usual, cold = (_rhythm(plant, inside_k, room_c) for room_c in (ROOMS.usual_c, ROOMS.coldest_c))
    return {
        "coldest_room": coldest_room(plant, LOW_C - inside_k),
        "welded_wall": float(full[WALL] + wall_k),
        "welded_inside": float(full[AIR] + inside_k),
        "ride_through": _ride_h(plant, inside_k, ROOMS.coldest_c, cold.share),
        "ride_through_usual": _ride_h(plant, inside_k, ROOMS.usual_c, usual.share),
        "period": usual.period_min,
        "share": usual.share,
        "share_coldest": cold.share,
    }


def _rhythm(plant: Plant, inside_k: float, room_c: float) -> _Rhythm:
    on_c, off_c = (CONTROL.setpoint_c + sign * CONTROL.hysteresis_k / 2 - inside_k for sign in (-1, 1))

    def over(share: float) -> float:
        return float(plant.steady(room_c, share)[AIR] - (on_c + off_c) / 2.0)

    if float(plant.steady(room_c, 1.0)[AIR]) < off_c + 0.5:
        return _Rhythm(None, None)
    start_c = plant.steady(room_c, float(brentq(over, 0.0, 1.0)))
    lasts_s = 16 * 3600.0
    lived = live(plant, lambda _: room_c, lambda _: (on_c, off_c), lasts_s, start_c, step_s=1.0, stretch_s=lasts_s)
    heat = lived.heat
    began = np.flatnonzero((heat[:-1] < 1e-9) & (heat[1:] >= 1e-9))
    began = began[began > len(heat) // 2]
    if len(began) < 3:
        return _Rhythm(None, None)
    share = float(heat[began[0] + 1 : began[-1] + 1].mean())
    return _Rhythm((began[-1] - began[0]) / (len(began) - 1) / 60.0, share)


def _ride_h(plant: Plant, inside_k: float, room_c: float, share: float | None) -> float | None:
    """From the mean of the rhythm on; None where there is none, or the inside is under the band already."""
    if share is None:
        return None
    start_c = plant.steady(room_c, share)

    def left_k(_: float, nodes: Array) -> float:
        return float(nodes[AIR] + inside_k - LOW_C)

    left_k.terminal = True  # type: ignore[attr-defined]
    if left_k(0.0, start_c) <= 0.0:
        return None
    run: Any = solve_ivp(
        lambda _, nodes: plant.rates(nodes, room_c, 0.0),
        (0.0, 10 * 86_400.0),
        start_c,
        method="LSODA",
        rtol=1e-7,
        atol=1e-7,
        events=left_k,
    )
    return float(run.t_events[0][0]) / 3600.0 if len(run.t_events[0]) else None
