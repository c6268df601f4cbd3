"""A recorded building, predicted by our fit, by looking back and by a general-purpose grey-box library.

`make greybox`; two minutes. The library is installed into `.venv-greybox`, from greybox-requirements.txt beside this.
Writes greybox.md.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from analysis.building import FITTED_N, KEPT, SOURCE, WEEKS, Building, fit_of, ours, persistence, read, rms_k

_HERE = Path(__file__).resolve().parent
_VENV = _HERE.parents[1] / ".venv-greybox"
_WAYS = ("through", "restarted", "moved")
_NODES = {"Ti": 1, "TiTe": 2, "TiTh": 2, "TiTeTh": 3, "TiTeThRia": 3}

_HEAD = ["prediction", "nodes", "fitted", *(f"{week}, {way}" for way in _WAYS for week in ("next", "last"))]
_TEXT = """# A recorded building: our fit beside looking back and beside a general-purpose grey-box library

Written by `make greybox` on {today}; the library is darkgreybox 0.3.2 (MIT) with scipy 1.17.1 and lmfit 1.3.4.

The record is tests/data/winter/source.csv: 33 days by the hour. Hours 0 to 503 (23 December to 12 January) are fitted,
the week behind them (13 to 19 January) and the last week (18 to 24 January) are predicted from the outdoor temperature
and the heating power alone. Root mean square error of the indoor temperature.

* *through*: open-loop from the first hour of the record on; nothing measured after 12 January is used.
* *restarted*: the inside is set to the week's first reading, as the library's tutorial does it (heating circuit too).
* *moved*: at the week's first reading all nodes are moved by as much as the inside was off.

{rows}

Ours, as a tub's fit chooses it on the last quarter of the fitted weeks: {shape}. With the heating circuit standing for
a wall probe: {circuit}.

## What the table says

{verdict}

## How it came about

The library's tutorial takes the model with the least training error, TiTeThRia. The first version of our fit (before
29 November 2026) took every hour's error as independent. It had 0.472 K in the next week and 1.777 K in the last one,
through: it put most of the building's loss down to an indoor probe that is off by 7 K. The reason was found by
looking at that result, so these two weeks are not wholly unseen; the remedy is general (errors are weighed by how they
hang together, `_off_by` in analysis/fit.py), has no number that was chosen here, and brings the random tubs of
plants.md from 0.21 K off at the most to 0.05 K. Another start of the search, which predicted these weeks better still
(0.628 K and 0.671 K), was left out: nothing but these weeks spoke for it.
"""


def main() -> int:
    """Fit, compare, write."""
    building, told = read(), _library()
    fit = fit_of(building)
    with_circuit = fit_of(building, circuit=True)
    rows: dict[str, dict[str, dict[str, float]]] = {}
    shown = []

    def row(name: str, nodes: str, fitted_k: float | None, ways: Mapping[str, Mapping[str, Any]]) -> None:
        rows[name] = {way: rms_k(building, weeks) for way, weeks in ways.items()}
        cells = [f"{rows[name][way][week]:.3f} K" if way in ways else "–" for way in _WAYS for week in WEEKS]
        shown.append(" | ".join([f"| {name}", nodes, "–" if fitted_k is None else f"{fitted_k:.3f} K", *cells]) + " |")

    for name, ways in persistence(building).items():
        row(name, "–", None, ways)
    for name, one in told.items():
        row(f"library, {name}", str(_NODES[name]), one["fitted"], one["predicted"])
    row("ours", str(fit.network.shape.order), _inside_rms_k(building, fit), ours(building, fit))
    row(
        "ours, circuit as wall",
        str(with_circuit.network.shape.order),
        _inside_rms_k(building, with_circuit),
        ours(building, with_circuit),
    )
    shape = fit.network.shape
    text = _TEXT.format(
        today=f"{datetime.now(UTC):%Y-%m-%d}",
        rows="\n".join([f"| {' | '.join(_HEAD)} |", "|---" * len(_HEAD) + "|", *shown]),
        shape=f"{shape.order} nodes, a loss that {'grows' if shape.grows else 'is linear'}",
        circuit=_circuit(building, with_circuit.rms_k[0]),
        verdict=_verdict(rows),
    )
    KEPT.write_text(text, encoding="utf-8")
    print(text)
    return 0


def _inside_rms_k(building: Building, fit: Any) -> float:
    read_c = fit.network.readings(fit.nodes_c[0])[:, 1]
    return float(np.sqrt(np.mean((read_c - building.inside_c[:FITTED_N]) ** 2)))


def _circuit(building: Building, wall_k: float) -> str:
    off = building.power[:FITTED_N] == 0.0
    return (
        f"the circuit itself is missed by {wall_k:.1f} K, because its probe is no wall: without heat it reads "
        f"{building.circuit_c[:FITTED_N][off].mean():.1f} °C in the mean, with "
        f"{building.inside_c[:FITTED_N][off].mean():.1f} °C indoors"
    )


def _verdict(rows: Mapping[str, Mapping[str, Mapping[str, float]]]) -> str:
    """Who comes closest, by way and week, in the table's own numbers."""
    lines = []
    for way in _WAYS:
        for week in WEEKS:
            own = rows["ours"][way][week]
            libraries = {name: ways[way][week] for name, ways in rows.items() if name.startswith("library")}
            best = min(libraries, key=libraries.__getitem__)
            less = "less" if own < libraries[best] else "more"
            line = f"* {week} week, {way}: ours {own:.3f} K, {less} than {best} with {libraries[best]:.3f} K"
            looked = {name: ways[way][week] for name, ways in rows.items() if name.startswith("the ") and way in ways}
            beaten = [name for name, value in looked.items() if own < value]
            lost = [f"{name} ({value:.3f} K)" for name, value in looked.items() if own >= value]
            if beaten:
                line += f"; less than {', '.join(beaten)}"
            if lost:
                line += f"; more than {', '.join(lost)}"
            lines.append(f"{line}.")
    return "\n".join(lines)


def _library() -> dict[str, Any]:
    python = _VENV / "bin" / "python"
    if not python.exists():
        subprocess.run([sys.executable, "-m", "venv", str(_VENV)], check=True)
    wanted = _HERE / "greybox-requirements.txt"
    pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--requirement", str(wanted)]
    subprocess.run(pip, check=True)
    ends = [str(edge) for week in WEEKS.values() for edge in (week.start, week.stop)]
    words = [str(python), str(_HERE / "greybox_library.py"), str(SOURCE), str(FITTED_N), *ends]
    found = subprocess.run(words, stdout=subprocess.PIPE, check=True, text=True).stdout
    # The library writes its log to the standard output as well: the last line is ours.
    told: dict[str, Any] = json.loads(found.splitlines()[-1])
    return told


if __name__ == "__main__":
    sys.exit(main())
