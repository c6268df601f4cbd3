"""Each commissioned tub against its last week, as a program of its own: `python -m matwarden.drift_child`.

It takes settings and a time from its parent, a program that makes a digest, and tells it a line of JSON for each tub as
soon as it is done: a parent that waits no longer has those. What it costs in memory, and whatever it may come to, is
its own. Needs matwarden[analysis]; nothing of the running daemon imports it.
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import resource
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from matwarden.analysis.drift import DAYS, drift
from matwarden.analysis.grid import laid_out, step_for
from matwarden.commissioned import CommissionedError, latest, tubs
from matwarden.core.units import rfc3339_z
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_schema import StoreError
from matwarden.terms import Enclosure
from matwarden.tub_record import lived_between

__all__ = ["drift_of"]

# Finer than any time constant that a cause shows in, and a week of it is soon simulated.
_STEP_S = 120.0
# Whoever is asked for this long hangs, or its parent has gone.
_CPU_S = 600
_FIRST_TO_GO = "600"
_DECIMALS = 4


def drift_of(settings: Settings, enclosure: Enclosure, until_wall_s: float) -> dict[str, Any] | None:
    """What became of a tub since it was commissioned, as JSON-able values; None where nothing can be said.

    Raises:
        CommissionedError: what is kept of it cannot be read. StoreError: the record cannot be read.
    """
    commissioned = latest(settings.store.directory, enclosure.id)
    if commissioned is None:
        return None
    since_s = max(until_wall_s - DAYS * 86_400.0, commissioned.until_wall_s)
    if since_s >= until_wall_s:
        return None
    lived = lived_between(settings, enclosure, since_s, until_wall_s)
    found = drift(commissioned.found, commissioned.rms_k, laid_out(lived, max(_STEP_S, step_for(lived))))
    if found is None:
        return None
    document: dict[str, Any] = {
        "tub": enclosure.id,
        "name": enclosure.name,
        "commissioned": rfc3339_z(commissioned.made_wall_s),
    }
    for name, value in asdict(found).items():
        document[name] = _rounded(value)
    return document


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _rounded(each) for name, each in value.items()}
    return round(value, _DECIMALS) if isinstance(value, float) else value


def _main() -> int:
    with contextlib.suppress(OSError):
        os.nice(10)
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(_FIRST_TO_GO, encoding="ascii")
    resource.setrlimit(resource.RLIMIT_CPU, (_CPU_S, _CPU_S))
    # Only our own parent speaks to us, over a pipe.
    settings, until_wall_s = pickle.load(sys.stdin.buffer)
    there = set(tubs(settings.store.directory))
    # Another one first each day: where time runs out, it is not always the same that nobody looked at.
    first = int(until_wall_s // 86_400.0) % max(1, len(settings.enclosures))
    for enclosure in (*settings.enclosures[first:], *settings.enclosures[:first]):
        if enclosure.id not in there or enclosure.mat is None:
            continue
        try:
            answer = drift_of(settings, enclosure, until_wall_s)
        except (CommissionedError, StoreError) as error:
            answer = {"tub": enclosure.id, "name": enclosure.name, "error": str(error)}
        if answer is not None:
            print(json.dumps(answer), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(_main())
