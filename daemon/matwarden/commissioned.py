"""Commissioned tubs as they are kept: what was measured, what was found, when, under which settings.

One directory each, `commissioned/TUB/TIME/` in that of the record, written once and never changed: `tub.json` with all
numbers, and `measured.csv.gz` with the readings and the heat that they come from. Needs matwarden[analysis].
"""

from __future__ import annotations

import gzip
import json
import os
import shutil
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from matwarden.analysis.consequences import Estimate, Findings, Rooms
from matwarden.analysis.control import Control
from matwarden.analysis.fit import Found, Start, Tried, found_of
from matwarden.analysis.grid import Lived, Series
from matwarden.analysis.network import Shape
from matwarden.commissioned_holds import COMMISSIONED, FOUND
from matwarden.core.units import parse_rfc3339, rfc3339_z

__all__ = ["COMMISSIONED", "Commissioned", "CommissionedError", "keep", "latest", "tubs"]

_MEASURED = "measured.csv.gz"
_FORM = 1


class CommissionedError(Exception):
    """What is kept of a tub cannot be read or written. The text says what, where, and what to do."""


@dataclass(frozen=True, slots=True)
class Commissioned:
    """One tub as it was found to be.

    Attributes:
        made_wall_s: UTC seconds when; since_wall_s, until_wall_s: of the record that it comes from.
        tried: the shapes that were compared, with their error on what was held out. rms_k: of wall and inside.
        watts_known: without the mat's watts energy is not known; temperatures and times are.
        control, low_c, high_c: what the tub was held to then. settings: the text of the file.
    """

    enclosure: str
    made_wall_s: float
    since_wall_s: float
    until_wall_s: float
    found: Found
    tried: tuple[Tried, ...]
    rms_k: tuple[float, float]
    watts_known: bool
    control: Control
    low_c: float
    high_c: float
    rooms: Rooms
    findings: Findings
    settings: str


def keep(directory: Path, tub: Commissioned, lived: Lived) -> Path:
    """Keep it beside the record; returns its directory, which is whole or not there.

    Args:
        directory: of the record.

    Raises:
        CommissionedError: it cannot be written.
    """
    name = rfc3339_z(tub.made_wall_s).replace(":", "")
    home = directory / COMMISSIONED / tub.enclosure
    fresh = home / f"{name}.new"
    try:
        home.mkdir(parents=True, exist_ok=True)
        if fresh.exists():  # of a run that was ended in the midst of it
            shutil.rmtree(fresh)
        fresh.mkdir()
        (fresh / FOUND).write_text(json.dumps(_document(tub), indent=1) + "\n", encoding="utf-8")
        _write_measured(fresh / _MEASURED, lived)
        os.replace(fresh, home / name)
    except OSError as error:
        raise CommissionedError(f"what was found cannot be kept in {home}: {error.strerror or error}") from error
    return home / name


def latest(directory: Path, enclosure: str) -> Commissioned | None:
    """The newest one of a tub; None: it was never commissioned.

    Raises:
        CommissionedError: it is there and cannot be read.
    """
    home = directory / COMMISSIONED / enclosure
    try:
        found = sorted(path.parent for path in home.glob(f"*Z/{FOUND}"))
        if not found:
            return None
        path = found[-1] / FOUND
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise CommissionedError(f"{home} cannot be read: {error.strerror or error}") from error
    advice = f"move {path.parent} away, and commission {enclosure} again"
    try:
        document = json.loads(text)
        if document["form"] != _FORM:
            raise CommissionedError(f"{path} was written by another version of matwarden: {advice}")
        return _tub(document)
    except (AttributeError, IndexError, KeyError, TypeError, ValueError) as error:
        raise CommissionedError(f"{path} is damaged ({error!r}): {advice}") from error


def tubs(directory: Path) -> list[str]:
    """Every tub of which something is kept."""
    return sorted({path.parent.parent.name for path in (directory / COMMISSIONED).glob(f"*/*Z/{FOUND}")})


def _document(tub: Commissioned) -> dict[str, Any]:
    found = tub.found
    return {
        "form": _FORM,
        "enclosure": tub.enclosure,
        "made": rfc3339_z(tub.made_wall_s),
        "since": rfc3339_z(tub.since_wall_s),
        "until": rfc3339_z(tub.until_wall_s),
        "shape": asdict(found.network.shape),
        "values": found.values.tolist(),
        "covariance": found.covariance.tolist(),
        "start": asdict(found.start),
        "tried": [asdict(one) for one in tub.tried],
        "rms_k": list(tub.rms_k),
        "watts_known": tub.watts_known,
        "control": asdict(tub.control),
        "band_c": [tub.low_c, tub.high_c],
        "rooms": asdict(tub.rooms),
        "findings": asdict(tub.findings),
        "settings": tub.settings,
    }


def _tub(document: dict[str, Any]) -> Commissioned:
    values, covariance = (np.array(document[key], dtype=np.float64) for key in ("values", "covariance"))
    n = len(values)
    if covariance.shape != (n, n) or not (np.isfinite(values).all() and np.isfinite(covariance).all()):
        raise ValueError(f"{n} values with a covariance of {covariance.shape}, expected numbers that go together")
    wall_k, inside_k = document["rms_k"]
    low_c, high_c = document["band_c"]
    return Commissioned(
        document["enclosure"],
        parse_rfc3339(document["made"]),
        parse_rfc3339(document["since"]),
        parse_rfc3339(document["until"]),
        found_of(Shape(**document["shape"]), values, covariance, Start(**document["start"])),
        tuple(Tried(Shape(**one["shape"]), one["held_out_k"]) for one in document["tried"]),
        (wall_k, inside_k),
        document["watts_known"],
        Control(**document["control"]),
        low_c,
        high_c,
        Rooms(**document["rooms"]),
        Findings(**{name: Estimate(**one) for name, one in document["findings"].items()}),
        document["settings"],
    )


def _write_measured(path: Path, lived: Lived) -> None:
    """Rows of UTC seconds, what it is of (`wall-1`, `inside-1`, `room-1`, `heat`), and degrees Celsius or 1 and 0."""
    with gzip.open(path, "wt", encoding="utf-8", compresslevel=6) as file:
        file.write("utc_s,of,value\n")
        for role, several in (("wall", lived.wall), ("inside", lived.inside), ("room", lived.room)):
            for number, series in enumerate(several, 1):
                file.write(_rows(f"{role}-{number}", series))
        changes = zip(lived.heat.t_s.tolist(), lived.heat.allowed.tolist(), strict=True)
        file.writelines(f"{t_s:.3f},heat,{int(allowed)}\n" for t_s, allowed in changes)


def _rows(name: str, series: Series) -> str:
    points = zip(series.t_s.tolist(), series.value_c.tolist(), strict=True)
    return "".join(f"{t_s:.3f},{name},{value_c:.3f}\n" for t_s, value_c in points)
