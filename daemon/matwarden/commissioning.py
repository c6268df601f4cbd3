"""What a range of a tub's record tells: fitted or refused, kept beside the record, and told. Needs matwarden[analysis].

All of it happens in the process that asks; the running daemon has no part in it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from matwarden.analysis.advice import advise
from matwarden.analysis.consequences import Findings, Rooms, findings
from matwarden.analysis.control import Control
from matwarden.analysis.fit import Fitted, Found
from matwarden.analysis.grid import Grid, Lived
from matwarden.analysis.refusal import Refusal
from matwarden.analysis.telling import tell
from matwarden.commissioned import Commissioned, CommissionedError, keep
from matwarden.report.advice_text import advice_document, advice_text
from matwarden.report.commission_text import Commission, commission_document, commission_text, refused_text
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_schema import StoreError
from matwarden.sinks.store_sums_read import Sums
from matwarden.terms import Enclosure, MatTerms, Quantity, Role
from matwarden.tub_record import lived_between

__all__ = ["Report", "Studied", "control_of", "kept_report", "study"]

_TEXT, _PICTURE = "report.txt", "report.png"


@dataclass(frozen=True, slots=True)
class Studied:
    """What was found, or why nothing was. Never both.

    Attributes:
        stated: a room that was asked for beside those recorded, degrees Celsius, and what follows in it.
    """

    lived: Lived
    grids: tuple[Grid, ...]
    fit: Fitted | None
    tub: Commissioned | None
    refusals: tuple[Refusal, ...]
    stated: tuple[float, Findings] | None


@dataclass(frozen=True, slots=True)
class Report:
    """For a person, for a script, and where it is kept (None: it is not)."""

    text: str
    document: dict[str, Any]
    home: Path | None


def control_of(enclosure: Enclosure, mat: MatTerms) -> Control:
    """What the guard holds the tub to, as the analysis takes it."""
    return Control(
        setpoint_c=mat.setpoint_c,
        hysteresis_k=mat.hysteresis_k,
        limiter_c=mat.limiter_c,
        cut_out_c=mat.cut_out_c,
        differential_k=mat.differential_k,
        minimum_on_s=mat.minimum_on_s,
        minimum_off_s=mat.minimum_off_s,
        by_wall=not any(probe.role is Role.AIR for probe in enclosure.probes),
        poll_s=max(probe.poll_s for probe in enclosure.probes),
    )


def study(
    settings: Settings,
    enclosure: Enclosure,
    since_wall_s: float | None,
    until_wall_s: float | None,
    room_c: float | None,
    now_wall_s: float,
) -> Studied:
    """Fit the tub to its record between two times (None: its beginning, its end), and find what follows.

    Raises:
        StoreError: nothing is recorded there, or it cannot be read. ValueError: the tub has no mat.
    """
    if enclosure.mat is None:
        raise ValueError(f"{enclosure.id} has no mat")
    control, band = control_of(enclosure, enclosure.mat), enclosure.band
    watts_w = enclosure.mat.watts_w
    lived = lived_between(settings, enclosure, since_wall_s, until_wall_s)
    told = tell(lived, watts_w or 1.0, control, band.low_c, settings.unit)
    if told.fit is None:
        return Studied(lived, told.grids, None, None, told.refusals, None)
    fit, rooms = told.fit, _rooms(settings, told.grids)
    found = findings(fit, control, band.low_c, rooms, watts_w is not None)
    stated = None
    if room_c is not None:
        there = Rooms(room_c, room_c, room_c)
        stated = room_c, findings(fit, control, band.low_c, there, watts_w is not None)
    first, last = told.grids[0], told.grids[-1]
    tub = Commissioned(
        enclosure=enclosure.id,
        made_wall_s=now_wall_s,
        since_wall_s=first.start_s,
        until_wall_s=last.start_s + last.lasts_s,
        found=Found(fit.network, fit.values, fit.covariance, fit.start),
        tried=fit.tried,
        rms_k=fit.rms_k,
        watts_known=watts_w is not None,
        control=control,
        low_c=band.low_c,
        high_c=band.high_c,
        rooms=rooms,
        findings=found,
        settings=_text_of(settings),
    )
    return Studied(lived, told.grids, fit, tub, (), stated)


def kept_report(settings: Settings, enclosure: Enclosure, studied: Studied) -> Report:
    """Keep what was found, with its report and its picture beside it; of a refusal nothing is kept.

    Raises:
        CommissionedError: it cannot be written.
    """
    if studied.tub is None or studied.fit is None:
        refused = [
            {"name": each.name.value, "missing": each.missing, "advice": each.advice} for each in studied.refusals
        ]
        return Report(refused_text(enclosure.name, studied.refusals), {"refused": refused}, None)
    assert enclosure.mat is not None
    home = keep(settings.store.directory, studied.tub, studied.lived)
    shown = Commission(
        enclosure.name, studied.tub, enclosure.mat, studied.stated, settings.unit, ZoneInfo(settings.zone)
    )
    notes = _drawn(shown, studied, home / _PICTURE)
    tub, mat = studied.tub, enclosure.mat
    advice = advise(tub.found, tub.findings, mat, tub.control, enclosure.band, tub.rooms, settings.unit)
    told = advice_text(enclosure.id, advice, mat.watts_w, settings.unit).rstrip("\n")
    text = f"{commission_text(shown)}\n\nAdvice\n{told}"
    _put(home / _TEXT, (text + "\n").encode())
    ends = [f"Kept in {home}:", "  tub.json, measured.csv.gz, report.txt" + ("" if notes else ", report.png"), *notes]
    return Report(
        "\n".join([text, "", *ends]),
        {**commission_document(shown), "advice": advice_document(advice), "kept": str(home)},
        home,
    )


def _rooms(settings: Settings, grids: tuple[Grid, ...]) -> Rooms:
    """Coldest and hottest of all that is recorded of the room; usual is the middle of the range that was fitted."""
    here = np.concatenate([grid.room_c for grid in grids])
    coldest_c, hottest_c = float(here.min()), float(here.max())
    keys = [(probe.id, Quantity.TEMPERATURE) for probe in settings.room_probes]
    # From before anything was ever recorded to after.
    for low, high in Sums(settings.store.directory).series_extremes(-1e10, 1e11, keys).values():
        coldest_c, hottest_c = min(coldest_c, low.value), max(hottest_c, high.value)
    return Rooms(coldest_c, float(np.median(here)), hottest_c)


def _drawn(shown: Commission, studied: Studied, path: Path) -> list[str]:
    """Draw the picture; why there is none, in lines."""
    assert studied.fit is not None
    try:
        from matwarden.report.commission_picture import commission_picture
    except ModuleNotFoundError as error:
        return [f"  no picture: {error.name} is missing: pip install 'matwarden[report]'"]
    _put(path, commission_picture(shown, studied.fit, studied.grids))
    return []


def _put(path: Path, content: bytes) -> None:
    fresh = path.with_name(path.name + ".new")
    try:
        fresh.write_bytes(content)
        os.replace(fresh, path)
    except OSError as error:
        raise CommissionedError(f"{path} cannot be written: {error.strerror or error}") from error


def _text_of(settings: Settings) -> str:
    try:
        return settings.source.read_text(encoding="utf-8")
    except OSError as error:
        raise StoreError(f"{settings.source} cannot be read again: {error.strerror or error}") from error
