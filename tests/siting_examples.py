"""Shared by the tests of siting: places made of numbers, and a shelf of recorded rooms in a real record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from helpers_process import settings_file, shelf_text
from matwarden.core.record import Point
from matwarden.core.siting import PlaceRead
from matwarden.events import Readings, Started, VerdictChanged
from matwarden.sinks.store import StoreSink, open_store
from matwarden.terms import At, Band, Reading, Reason, Verdict

HOUR_S = 3600.0
BAND = Band(22.0, 28.0)
# 2026-01-11T23:00:00Z: midnight in Amsterdam.
MIDNIGHT_S = 1_768_172_400.0
POLL_S, STALE_S = 300.0, 900.0


def hourly(values: Sequence[float | None], from_h: int = 0, hold_s: float = HOUR_S) -> PlaceRead:
    """A reading an hour, None: none; elapsed time zero is midnight in Amsterdam."""
    points = [
        Point((from_h + n) * HOUR_S, MIDNIGHT_S + (from_h + n) * HOUR_S, value)
        for n, value in enumerate(values)
        if value is not None
    ]
    return PlaceRead(points, hold_s)


def shelf(
    directory: Path,
    places: Mapping[str, Sequence[float | None]],
    more: str = "",
    heat: Mapping[int, bool] | None = None,
) -> Path:
    """A settings file and the record beside it: a reading of each probe every five minutes from MIDNIGHT_S on.

    `more`: added to the settings. `heat`: from which reading on oak's heat is allowed, or cut.
    Probes whose names are none of the settings' own get the role room; None: no reading. Oak has a mat, rowan none.
    """
    text = shelf_text("oak")
    slower = {
        "every_s = 1\n": f"every_s = {POLL_S:g}\n",
        "step_s = 1\n": f"step_s = {POLL_S:g}\n",
        "deadline_s = 0.5": "deadline_s = 1",
        "stale_after_s = 30": f"stale_after_s = {STALE_S:g}",
    }
    for quick, slow in slower.items():
        text = text.replace(quick, slow)
    for name in places:
        if f'id = "{name}"' not in text:
            text += f'\n[[probe]]\nid = "{name}"\nrole = "room"\ndriver = "twin"\n'
    file = settings_file(directory, text + more)
    data = directory / "data"
    data.mkdir(exist_ok=True)
    sink = StoreSink(open_store(data, MIDNIGHT_S, power_safe=False), HOUR_S)
    sink.accept([Started(At(0.0, MIDNIGHT_S), "0.1.0")])
    for k in range(max(map(len, places.values()))):
        now = At(POLL_S * k, MIDNIGHT_S + POLL_S * k)
        taken = [
            Reading(name, now, value, None)
            for name, values in places.items()
            if k < len(values) and (value := values[k]) is not None
        ]
        sink.accept([Readings(now, tuple(taken))])
        if heat is not None and k in heat:
            reason = Reason.BELOW_SETPOINT if heat[k] else Reason.WARM_ENOUGH
            sink.accept([VerdictChanged(now, "oak", Verdict(heat[k], reason), "oak", 1)])
    sink.close()
    return file
