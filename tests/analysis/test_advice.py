"""Advice lived through on plants that the program knows nothing of, by a polled thermostat of the test's own."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from analysis.plant import AIR, WALL, Plant, some_plant
from analysis.test_fit import recorded
from helpers_settings import FAHRENHEIT, REAL
from matwarden.analysis.advice import HARMS_C, Advice, advise
from matwarden.analysis.consequences import Rooms, findings
from matwarden.analysis.control import Control
from matwarden.analysis.fit import Fitted, fitted
from matwarden.analysis.grid import laid_out
from matwarden.analysis.network import Array
from matwarden.report.advice_text import advice_text, advice_toml
from matwarden.settings import load
from matwarden.terms import CUT_OUT_CEILING_C, Band, MatTerms, Placement, Unit

_MAT = MatTerms(Placement.SIDE, 8.0, 25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0, 1800.0, 3, 100_000)
_CONTROL = Control(25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0)
_BAND = Band(22.0, 28.0)
_ROOMS = Rooms(15.5, 18.5, 24.0)
_SEEDS = (2, 9)


@cache
def _tub(seed: int) -> tuple[Plant, Array, Fitted]:
    random = np.random.default_rng(seed)
    plant = some_plant(random)
    offsets_k = random.normal(0.0, 0.25, 2)
    return plant, offsets_k, fitted(laid_out(recorded(plant, seed, offsets_k), 30.0), plant.watts)


@cache
def _advice(seed: int, rooms: Rooms = _ROOMS, control: Control = _CONTROL, unit: Unit = Unit.C) -> Advice:
    fit = _tub(seed)[2]
    now = findings(fit, control, _BAND.low_c, rooms, watts_known=True)
    return advise(fit, now, _MAT, control, _BAND, rooms, unit)


def _polled(
    plant: Plant, offsets_k: Array, control: Control, room_c: float, hours: float = 12.0
) -> tuple[Array, Array]:
    """Wall and inside as read every 10 s, and heat, of the second half. Fourth-order Runge-Kutta of 5 s."""
    step_s, n = 5.0, round(hours * 360)
    nodes = np.full(4, control.setpoint_c)
    nodes[:2] += 1.0
    read, heat = np.empty((n, 2)), np.zeros(n, dtype=bool)
    on, demand, limited, since_s = False, False, False, -1e9
    for k in range(n):
        wall_c, air_c = read[k] = nodes[[WALL, AIR]] + offsets_k
        demand = bool(air_c <= control.setpoint_c - control.hysteresis_k / 2) or (
            demand and air_c < control.setpoint_c + control.hysteresis_k / 2
        )
        limited = wall_c >= control.limiter_c or (limited and wall_c >= control.limiter_c - control.differential_k)
        lasted_s = k * 10.0 - since_s
        wanted = (demand or lasted_s < control.minimum_on_s) if on else demand and lasted_s >= control.minimum_off_s
        if (wanted and not limited) != on:
            on, since_s = not on, k * 10.0
        heat[k] = on
        for _ in range(2):
            watts = plant.watts * on
            a = plant.rates(nodes, room_c, watts)
            b = plant.rates(nodes + step_s / 2 * a, room_c, watts)
            c = plant.rates(nodes + step_s / 2 * b, room_c, watts)
            d = plant.rates(nodes + step_s * c, room_c, watts)
            nodes = nodes + step_s / 6 * (a + 2 * b + 2 * c + d)
    return read[n // 2 :], heat[n // 2 :]


@pytest.mark.parametrize("seed", _SEEDS)
def test_the_plant_keeps_the_band_under_the_settings_advised(seed: int) -> None:
    """Inside within the band, wall half a kelvin under the cut-out; 0.1 K for what the fit is off, in both rooms."""
    plant, offsets_k, _ = _tub(seed)
    advice = _advice(seed)
    control = advice.control
    lowest_c, highest_c = [], []
    for room_c in (_ROOMS.usual_c, _ROOMS.coldest_c):
        read, _ = _polled(plant, offsets_k, control, room_c)
        assert read[:, 1].min() >= _BAND.low_c - 0.1
        assert read[:, 1].max() <= _BAND.high_c + 0.1
        assert read[:, 0].max() <= control.cut_out_c - 0.4
        lowest_c.append(read[:, 1].min())
        highest_c.append(read[:, 1].max())
    assert advice.lowest_inside.value == pytest.approx(min(lowest_c), abs=0.15)
    assert advice.highest_inside.value == pytest.approx(max(highest_c), abs=0.15)


@pytest.mark.parametrize("seed", _SEEDS)
def test_the_relay_lasts_longer_and_as_long_as_is_said(seed: int) -> None:
    """The plant's period against the one told, within 10 %; with the settings as they were the relay wears out."""
    plant, offsets_k, _ = _tub(seed)
    advice = _advice(seed)
    _, heat = _polled(plant, offsets_k, advice.control, _ROOMS.usual_c, hours=24.0)
    began = np.flatnonzero(heat[1:] & ~heat[:-1])
    period_min = float(began[-1] - began[0]) / (len(began) - 1) / 6.0
    assert advice.then.period.value == pytest.approx(period_min, rel=0.1)
    now, then = advice.now.operations.value, advice.then.operations.value
    assert now is not None
    assert then is not None
    assert then < now
    assert _MAT.rated_operations / now < 10.0


@pytest.mark.parametrize("seed", _SEEDS)
def test_full_heat_from_the_coldest_room_does_not_trip_the_plant(seed: int) -> None:
    """The limiter alone keeps the wall under the software cut-out, which keeps under the ceiling."""
    plant, offsets_k, _ = _tub(seed)
    control = _advice(seed).control
    always = replace(control, setpoint_c=60.0)
    read, _ = _polled(plant, offsets_k, always, _ROOMS.coldest_c)
    assert read[:, 0].max() < control.cut_out_c
    assert control.setpoint_c + control.hysteresis_k / 2 < control.limiter_c < control.cut_out_c <= CUT_OUT_CEILING_C
    assert control.limiter_c <= HARMS_C


def test_a_mat_that_is_too_small_is_told_with_the_room_it_holds() -> None:
    """In a room of 9 C: by how much, and how much more heat that room would ask of the plant (within 5 %)."""
    plant, offsets_k, _ = _tub(9)
    advice = _advice(9, Rooms(9.0, 15.0, 22.0))
    low_c = _BAND.low_c - float(offsets_k[1])
    assert advice.short.value == pytest.approx(float(low_c - 9.0 - (plant.steady(9.0, 1.0)[AIR] - 9.0)), abs=0.5)
    assert plant.steady(9.0, advice.needed_share)[AIR] == pytest.approx(low_c, abs=0.05 * (low_c - 9.0))
    text = " ".join(advice_text("oak", advice, 8.0, Unit.C).split())
    assert "Too small" in text
    assert "times its heat" in text


def test_a_mat_that_a_welded_relay_makes_deadly_is_told_with_one_that_would_not() -> None:
    """The share of its heat that is survivable keeps the plant's inside at 85 F in the hottest room, within 0.3 K."""
    plant, offsets_k, _ = _tub(2)
    advice = _advice(2)
    inside_c = float(plant.steady(_ROOMS.hottest_c, advice.safe_share)[AIR] + offsets_k[1])
    assert inside_c == pytest.approx(HARMS_C, abs=0.3)
    assert "Too big for a relay that welds" in advice_text("oak", advice, 8.0, Unit.C)
    small = _advice(2, Rooms(15.5, 16.0, 17.0))
    assert small.now.welded_inside.value == pytest.approx(float(plant.steady(17.0, 1.0)[AIR] + offsets_k[1]), abs=0.5)


def test_where_the_room_is_warm_enough_no_mat_is_advised() -> None:
    """A warmer place is the first advice, a mat the last; the settings stay as they are."""
    advice = _advice(9, Rooms(22.5, 23.5, 26.0))
    assert advice.room_enough
    assert advice.control == _CONTROL
    assert (
        advice_text("oak", advice, None, Unit.C).lstrip().startswith("Not needed: the coldest room recorded, 22.5 °C")
    )


@pytest.mark.parametrize(("text", "unit"), [(REAL, Unit.C), (FAHRENHEIT, Unit.F)])
def test_the_lines_can_be_pasted_into_the_settings_file(text: str, unit: Unit, tmp_path: Path) -> None:
    """In place of the keys of the same name; the file is then sound, and holds the tub to what was lived through."""
    advice = _advice(2, unit=unit)
    assert advice.control != _CONTROL
    fragment = advice_toml("oak", advice, unit)
    assert max(len(line) for line in fragment.splitlines()) <= 80
    keys = {line.split(" = ")[0] for line in fragment.splitlines() if not line.startswith("#")}
    assert keys == {"setpoint", "hysteresis", "limiter", "cut_out", "minimum_off_s"}
    kept = [line for line in text.splitlines() if line.split(" = ")[0] not in keys]
    at = kept.index("[[mat]]") + 1
    path = tmp_path / "shelf.toml"
    path.write_text("\n".join([*kept[:at], *fragment.splitlines(), *kept[at:]]) + "\n", encoding="utf-8")
    mat = next(each.mat for each in load(path).enclosures if each.mat is not None)
    control = advice.control
    assert (mat.setpoint_c, mat.hysteresis_k, mat.limiter_c, mat.cut_out_c, mat.minimum_off_s) == pytest.approx(
        (control.setpoint_c, control.hysteresis_k, control.limiter_c, control.cut_out_c, control.minimum_off_s)
    )


def test_a_limiter_over_what_harms_is_not_left_there() -> None:
    """Limits that the guard's orders allow may still be too high for good: 85 F, common practice, no source."""
    hot = replace(_CONTROL, limiter_c=30.4, cut_out_c=31.0)
    advice = _advice(9, control=hot)
    assert advice.control.limiter_c <= HARMS_C
    assert "# Lower: the tub does as well with it" in advice_toml("oak", advice, Unit.C)
