"""A recorded building as if it were a tub: heat in, room out. The split, our fit, persistence, and how wrong each is.

The series is tests/data/winter/source.csv (source, licence and checksum in the README there): 33 days by the hour,
heating power, indoors, outdoors. Indoors stands for a tub's inside, outdoors for its room. The first three weeks are
fitted; the week behind them and the last week of the record are predicted open-loop.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from matwarden.analysis.fit import Fitted, fitted
from matwarden.analysis.grid import Grid
from matwarden.analysis.network import Array, simulate

__all__ = ["FITTED_N", "SOURCE", "WEEKS", "Building", "fit_of", "kept", "ours", "persistence", "read", "rms_k"]

SOURCE = Path(__file__).resolve().parents[1] / "data" / "winter" / "source.csv"
KEPT = Path(__file__).with_name("greybox.md")
DAY, WEEK = 24, 168
FITTED_N = 3 * WEEK
WEEKS = {"next": slice(FITTED_N, FITTED_N + WEEK), "last": slice(792 - WEEK, 792)}
_STEP_S = 3600.0


@dataclass(frozen=True, slots=True)
class Building:
    """By the hour: heating power, and degrees Celsius indoors, outdoors and in the heating circuit."""

    power: Array
    inside_c: Array
    outside_c: Array
    circuit_c: Array


def read() -> Building:
    """All 792 hours."""
    with SOURCE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    power, inside_c, outside_c, circuit_c = (np.array([float(row[key]) for row in rows]) for key in _COLUMNS)
    return Building(power, inside_c, outside_c, circuit_c)


_COLUMNS = ("Ph", "Ti", "Ta", "Th")


def fit_of(building: Building, circuit: bool = False) -> Fitted:
    """The network of the first three weeks. `circuit`: the heating circuit stands for a tub's wall probe."""
    n, full = FITTED_N, float(building.power[:FITTED_N].max())
    read = np.zeros((n, 2), dtype=bool)
    read[:, 0], read[:, 1] = circuit, True
    read_c = np.where(read, np.column_stack([building.circuit_c[:n], building.inside_c[:n]]), 0.0)
    grid = Grid(0.0, _STEP_S, building.outside_c[:n], building.power[: n - 1] / full, read_c, read)
    return fitted([grid], full)


def ours(building: Building, fit: Fitted) -> dict[str, dict[str, Array]]:
    """What `fit` predicts of the inside: by way and week. Ways: see run_greybox.py."""
    network = fit.network
    heat = building.power[:-1] / network.power_w
    whole = simulate(network, fit.nodes_c[0][0], building.outside_c, heat, _STEP_S)
    inside = network.shape.inside
    found: dict[str, dict[str, Array]] = {"through": {}, "restarted": {}, "moved": {}}
    for name, week in WEEKS.items():
        off_k = building.inside_c[week.start] - float(network.readings(whole)[week.start, 1])
        only = np.where(np.arange(network.shape.order) == inside, off_k, 0.0)
        found["through"][name] = network.readings(whole)[week, 1]
        for way, start_c in (("restarted", whole[week.start] + only), ("moved", whole[week.start] + off_k)):
            nodes = simulate(network, start_c, building.outside_c[week], heat[week.start : week.stop - 1], _STEP_S)
            found[way][name] = network.readings(nodes)[:, 1]
    return found


def persistence(building: Building) -> dict[str, dict[str, dict[str, Array]]]:
    """What a look back says of the inside: by its name, way and week."""
    found: dict[str, dict[str, dict[str, Array]]] = {}
    hours = np.arange(WEEK)
    for name, lasts in (("the last value", 1), ("the last day again", DAY), ("the last week again", WEEK)):
        ways: dict[str, dict[str, Array]] = {"through": {}, "restarted": {}}
        for which, week in WEEKS.items():
            # The week's first reading is known to those that are restarted: to the last value too.
            ends = week.start + (1 if lasts == 1 else 0)
            ways["restarted"][which] = building.inside_c[ends - lasts : ends][hours % lasts]
            gone = week.start - FITTED_N
            ways["through"][which] = building.inside_c[FITTED_N - lasts : FITTED_N][(gone + hours) % lasts]
        found[name] = ways
    return found


def rms_k(building: Building, predicted: Mapping[str, Array]) -> dict[str, float]:
    """By week."""
    return {
        name: float(np.sqrt(np.mean((np.asarray(values) - building.inside_c[WEEKS[name]]) ** 2)))
        for name, values in predicted.items()
    }


def kept(column: int) -> dict[str, float]:
    """A column of the table in greybox.md by its rows' names; K. Rows without a number there are left out."""
    found: dict[str, float] = {}
    for line in KEPT.read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) > column and cells[column].endswith(" K"):
            found[cells[0]] = float(cells[column].removesuffix(" K"))
    return found
