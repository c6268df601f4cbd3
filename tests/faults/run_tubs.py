"""`make tubs`: the heat watch over a wide grid of tubs, mats, rooms and probe errors; prints each one that is wrong.

Healthy tubs must ring nothing in two days; a weld and a dead mat must be told in time. A wall probe that lies is told
in time on most tubs, late or never on some with a mat far too strong for a warm room, which needs it for
minutes only: these are printed, and fail nothing. What the tests keep of it is in tests/core/test_heat_watch_grid.py.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from itertools import product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from heat_examples import FAULT_S, HOUR_S, LIES, Heated, TubPhysics, heated, night

MATS_W = (4.0, 7.0, 10.0, 15.0, 20.0)
WALLS_J_PER_K = (150.0, 250.0, 600.0, 800.0)
AIRS_J_PER_K = (120.0, 500.0)
DAYS_C = (14.0, 18.0, 21.0, 24.0)
# Honest probes: wall and air, each off by less than 0.5 K.
OFFSETS_K = ((0.0, 0.0), (0.4, -0.4), (-0.4, 0.4))
DEAD_WITHIN_S = 45 * 60.0
TOLD_WITHIN_S = 15 * 60.0

Tub = tuple[float, float, float, float, tuple[float, float], bool]


def _heated(tub: Tub) -> Heated:
    mat_w, wall_j_per_k, air_j_per_k, day_c, (wall_k, air_k), has_air = tub
    physics = TubPhysics(wall_j_per_k=wall_j_per_k, air_j_per_k=air_j_per_k, mat_w=mat_w)
    return Heated(physics, night(day_c), wall_k, air_k, has_air)


def healthy(tub: Tub) -> str:
    """What rang although nothing was wrong."""
    run = heated(_heated(tub), 48 * HOUR_S)
    return f"rang {run.no_heat_s} {run.stays_hot_s}" if run.no_heat_s or run.stays_hot_s else ""


def welded(tub: Tub) -> str:
    """Late or never told, by the watch or by the trip."""
    run = heated(replace(_heated(tub), welded_s=FAULT_S), 20 * HOUR_S)
    if run.cut_welded_s is None:
        return ""
    told_s = [*run.stays_hot_s, *(() if run.tripped_s is None else (run.tripped_s,))]
    return _late(told_s, run.cut_welded_s, TOLD_WITHIN_S)


def dead(tub: Tub) -> str:
    """Late or never told; without an air probe it is left to the cold alarm."""
    of = _heated(tub)
    if not of.has_air:
        return ""
    run = heated(replace(of, dead_s=FAULT_S), 20 * HOUR_S)
    return "" if run.wanted_dead_s is None else _late(run.no_heat_s, run.wanted_dead_s, DEAD_WITHIN_S)


def _late(told_s: list[float], since_s: float, within_s: float) -> str:
    if not told_s:
        return "not told"
    late_s = min(told_s) - since_s
    return "" if 0.0 <= late_s <= within_s else f"told after {late_s / 60:.0f} min"


def lying(tub: Tub) -> str:
    """Which lies let the wall pass 30.5 C, and were told late or never."""
    of = _heated(tub)
    if not of.has_air:
        return ""
    broken = []
    for name, lie in LIES.items():
        run = heated(replace(of, wall_reads=lie), 20 * HOUR_S)
        if run.past_s is None:
            continue
        told_s = [at_s for at_s in (*run.no_heat_s, *run.stays_hot_s) if at_s >= FAULT_S]
        late_s = min(told_s, default=1e9) - run.past_s
        if late_s > TOLD_WITHIN_S:
            broken.append(f"{name}: {'not told' if not told_s else f'told {late_s / 60:.0f} min late'}")
    return ", ".join(broken)


def main() -> int:
    """Run every tub through every part; one line for each that is wrong."""
    wrong_n = 0
    grid = list(product(MATS_W, WALLS_J_PER_K, AIRS_J_PER_K, DAYS_C, OFFSETS_K, (True, False)))
    for part in (healthy, welded, dead, lying):
        found = [(tub, what) for tub in grid if (what := part(tub))]
        for tub, what in found:
            print(f"{part.__name__}: {tub}: {what}")
        print(f"{part.__name__}: {len(grid)} tubs, {len(found)} wrong", flush=True)
        wrong_n += len(found) if part is not lying else 0
    return 1 if wrong_n else 0


if __name__ == "__main__":
    sys.exit(main())
