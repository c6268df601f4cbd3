"""Runs in an environment of its own, without matwarden: a general-purpose grey-box library on the building's record.

As the library's own tutorial does it (docs/tutorials/darkgrey_poc_demo_04.ipynb of darkgreybox 0.3.2): the same five
models with the same initial values, a first fit to each single day, those that are off by less than 2 K fitted on to
the whole training set by Nelder-Mead, and the one with the least training error taken. Ours is only the split.
Prints JSON: for each model its training error and its predictions by way and week.
"""

from __future__ import annotations

import copy
import json
import logging
import sys
import warnings
from typing import Any

import numpy as np
import pandas as pd

# The library says np.NaN, which numpy 2 does not.
np.NaN = np.nan  # type: ignore[attr-defined]
from darkgreybox.fit import darkgreyfit  # noqa: E402
from darkgreybox.models import Ti, TiTe, TiTeTh, TiTeThRia, TiTh  # noqa: E402

logging.disable(logging.CRITICAL)
warnings.filterwarnings("ignore")


def error(measured: Any, predicted: Any) -> float:
    """Root mean square; a model that ran away is very wrong."""
    predicted = np.asarray(predicted, dtype=float)
    return float(np.sqrt(np.mean((np.asarray(measured) - predicted) ** 2))) if np.isfinite(predicted).all() else 1e9


def main() -> None:
    """Arguments: the file, the number of hours to fit, and the first hour and the end of each week."""
    source, fitted_n, *ends = sys.argv[1:]
    n, weeks = int(fitted_n), {"next": slice(*map(int, ends[:2])), "last": slice(*map(int, ends[2:]))}
    record = pd.read_csv(source, index_col=0, parse_dates=True)
    record["Ti0"], record["Th0"], record["Te0"] = record["Ti"], record["Ti"], record["Ti"] - 2
    inputs, inside = record[["Ph", "Ta", "Ti0", "Te0", "Th0"]], record["Ti"]
    first = inputs.iloc[0]
    free = {"value": 1}
    start = {"value": first["Ti0"], "vary": False}
    envelope = {"value": first["Te0"], "vary": True, "min": 10, "max": 25}
    heating = {
        "Th0": {"value": first["Th0"], "vary": False},
        "Ch": {"value": 2.55, "vary": False},
        "Rih": {"value": 0.65, "vary": False},
    }
    walls = {"Ci": free, "Ce": free, "Rie": free, "Rea": free}
    models = {
        "Ti": (Ti, {"Ti0": start, "Ci": free, "Ria": free}),
        "TiTe": (TiTe, {"Ti0": start, "Te0": {"value": first["Ti0"], "vary": True}, **walls}),
        "TiTh": (TiTh, {"Ti0": start, "Ci": free, "Ria": free, **heating}),
        "TiTeTh": (TiTeTh, {"Ti0": start, "Te0": envelope, **walls, **heating}),
        "TiTeThRia": (TiTeThRia, {"Ti0": start, "Te0": envelope, **walls, "Ria": free, **heating}),
    }
    everything = {name: inputs[name].to_numpy() for name in inputs}
    told = {}
    for name, (kind, parameters) in models.items():
        print(f"{name} ...", file=sys.stderr, flush=True)
        table = darkgreyfit(
            [kind(parameters, rec_duration=1)],
            inputs[:n],
            inside[:n],
            inputs[weeks["next"]],
            inside[weeks["next"]],
            {
                "Ti0": lambda x, y, result: y.iloc[0],
                "Th0": lambda x, y, result: y.iloc[0],
                "Te0": lambda x, y, result: result.var["Te"][-1],
            },
            error,
            prefit_splits=[(None, np.arange(day * 24, day * 24 + 24)) for day in range(n // 24)],
            prefit_filter=lambda off: off < 2,
            reduce_train_results=True,
            method="nelder",
            n_jobs=1,
            verbose=0,
        )
        best = table.loc[table["train", "error"].astype(float).argmin()]
        model, trained = best["train", "model"], best["train", "model_result"]
        begin = copy.deepcopy(trained.params)
        for node, values in trained.var.items():
            begin[f"{node}0"].value = values[0]
        whole = model.model(begin, everything)
        predicted: dict[str, dict[str, Any]] = {"through": {}, "restarted": {}, "moved": {}}
        for which, week in weeks.items():
            predicted["through"][which] = whole.Z[week].tolist()
            then = {node: float(values[week.start]) for node, values in whole.var.items()}
            now = float(inside.iloc[week.start])
            # The tutorial sets inside and heating system to the reading, and leaves the envelope where it was.
            as_told = {f"{node}0": value if node == "Te" else now for node, value in then.items()}
            moved = {f"{node}0": value + now - then["Ti"] for node, value in then.items()}
            part = {key: values[week] for key, values in everything.items()}
            for way, begins in (("restarted", as_told), ("moved", moved)):
                predicted[way][which] = model.predict(part, begins).Z.tolist()
        told[name] = {"fitted": best["train", "error"], "predicted": predicted}
    json.dump(told, sys.stdout)


main()
