"""A fitted tub in a place: closed forms, and plants that the program knows nothing of in a recorded building."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.plant import AIR, Array, live, some_plant
from analysis.test_fit import recorded
from matwarden.analysis.control import Control
from matwarden.analysis.fit import Found, Start, fitted, found_of
from matwarden.analysis.grid import Series, laid_out
from matwarden.analysis.network import Shape, steady
from matwarden.analysis.siting import Place, Standing, in_places
from matwarden.core.in_tub import InTub, NeedsHeat, needs_heat
from matwarden.core.shared_time import TimeSpan
from matwarden.terms import Band
from recorded_series import building_c

_DAY_S = 86_400.0
_BAND = Band(22.0, 28.0)
_CONTROL = Control(25.0, 0.2, 60.0, 62.0, 1.0, 60.0, 60.0)
_SPANS = [TimeSpan(0.0, 4 * _DAY_S)]


def one_node(rise_k: float = 8.0, tau_h: float = 6.0) -> Found:
    """A tub that is known exactly: one node, a mat of 8 W that warms it by `rise_k`."""
    loss = 8.0 / rise_k
    shape = Shape(1, False)
    n = len(found_values := np.zeros(6))
    return found_of(shape, found_values, np.zeros((n, n)), Start(loss * tau_h * 3600.0, loss, 8.0))


def standing(found: Found, control: Control = _CONTROL, band: Band = _BAND) -> Standing:
    return Standing(found, 0.0, control, band, watts_known=True)


def constant(room_c: float, other_probe: bool = False, lasts_s: float = 4 * _DAY_S) -> Place:
    t_s = np.arange(0.0, lasts_s + 1.0, 300.0)
    return Place(Series(t_s, np.full(len(t_s), room_c)), other_probe)


def only(tub: Standing, place: Place, spans: list[TimeSpan] = _SPANS) -> InTub:
    return in_places(tub, {"top": place}, spans)["top"]


def test_in_a_steady_place_the_share_of_heat_is_rise_by_rise() -> None:
    """25 C in a room of 21 C with a mat that makes 8 K: half the time, 96 Wh a day of 8 W (closed form)."""
    found = one_node()
    assert float(steady(found.network, 1.0)[0]) == pytest.approx(8.0)
    tub = only(standing(found), constant(21.0))
    assert tub.heat_share.value == pytest.approx(0.5, abs=0.01)
    assert tub.energy_wh_per_day is not None
    assert tub.energy_wh_per_day.value == pytest.approx(96.0, abs=2.0)
    assert tub.lowest_c.value == pytest.approx(21.0)
    assert (tub.below_share.value, tub.not_held_h.value) == (1.0, 0.0)
    assert tub.below_kh_per_day.value == pytest.approx(24.0)
    assert needs_heat(tub, _BAND) is NeedsHeat.YES


def test_a_mat_that_is_too_small_is_told_in_hours() -> None:
    """In a room of 12 C the 8 K end at 20 C: heated all the time, and never in the band."""
    tub = only(standing(one_node()), constant(12.0))
    assert tub.heat_share.value == 1.0
    assert tub.heat_share.high == 1.0
    assert tub.not_held_h.value == pytest.approx(96.0, abs=0.1)


def test_the_limiter_holds_the_wall_in_a_place_too() -> None:
    """With a limiter at 23 C a tub of one node swings between 22 and 23 C instead of at 25: its mean needs 1.5 / 8."""
    tub = only(standing(one_node(), replace(_CONTROL, limiter_c=23.0)), constant(21.0))
    assert tub.heat_share.value == pytest.approx(1.5 / 8.0, abs=0.01)


def test_without_heat_a_tub_of_one_node_is_its_place_behind_a_lag() -> None:
    """A wave of 24 h behind a lag of 6 h is smaller by 1 / sqrt(1 + (w tau)^2) (first-order textbook)."""
    t_s = np.arange(0.0, 8 * _DAY_S + 1.0, 300.0)
    place = Place(Series(t_s, 24.0 + 2.0 * np.sin(2.0 * np.pi * t_s / _DAY_S)), False)
    tub = only(standing(one_node()), place, [TimeSpan(4 * _DAY_S, 8 * _DAY_S)])
    swing_k = 2.0 / np.sqrt(1.0 + (2.0 * np.pi * 6.0 / 24.0) ** 2)
    assert tub.lowest_c.value == pytest.approx(24.0 - swing_k, abs=0.01)
    assert tub.highest_c.value == pytest.approx(24.0 + swing_k, abs=0.01)
    assert needs_heat(tub, _BAND) is NeedsHeat.NO


def test_another_probe_widens_the_interval_by_what_two_probes_may_differ() -> None:
    """Each within 0.5 K, anywhere alike (DS18B20 datasheet): nine in ten lie within 1.645 x 0.408 K."""
    same, other = (only(standing(one_node()), constant(22.3, other_probe)) for other_probe in (False, True))
    assert same.lowest_c.high - same.lowest_c.low == pytest.approx(0.0, abs=1e-6)
    assert list(other.lowest_c) == pytest.approx([22.3, 22.3 - 0.672, 22.3 + 0.672], abs=0.05)
    assert needs_heat(same, _BAND) is NeedsHeat.NO
    assert needs_heat(other, _BAND) is NeedsHeat.PERHAPS


def test_only_the_time_in_which_all_were_read_counts() -> None:
    """The third day was cold, and is in no span: it is lived through, but not counted."""
    t_s = np.arange(0.0, 6 * _DAY_S + 1.0, 300.0)
    place = Place(Series(t_s, np.where((t_s >= 2 * _DAY_S) & (t_s < 3 * _DAY_S), 15.0, 24.0)), False)
    spans = [TimeSpan(0.0, 2 * _DAY_S), TimeSpan(5 * _DAY_S, 6 * _DAY_S)]
    tub = only(standing(one_node()), place, spans)
    assert tub.counted_s == pytest.approx(3 * _DAY_S, abs=400.0)
    assert tub.lowest_c.value == pytest.approx(24.0, abs=0.01)
    assert only(standing(one_node()), place, [TimeSpan(0.0, 6 * _DAY_S)]).lowest_c.value < 16.0


def test_two_places_at_once_are_each_as_alone() -> None:
    """Nothing of one is mixed into the other."""
    tub = standing(one_node())
    both = in_places(tub, {"a": constant(20.0), "b": constant(23.0)}, _SPANS)
    assert both["a"] == only(tub, constant(20.0))
    assert both["b"] == only(tub, constant(23.0))


def test_without_watts_no_energy_is_told() -> None:
    """Temperatures and shares are."""
    tub = only(replace(standing(one_node()), watts_known=False), constant(21.0))
    assert tub.energy_wh_per_day is None
    assert tub.heat_share.value == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("seed", [1, 4])
def test_the_intervals_hold_what_an_independent_plant_did(seed: int) -> None:
    """Fitted on a day and a half elsewhere; then two days in a recorded building (tests/data/winter), cold and heated.

    The plant: four nodes with a loss that grows, solved by scipy's solve_ivp with events; probes off by some tenths.
    """
    random = np.random.default_rng(seed)
    plant, offsets_k = some_plant(random), random.normal(0.0, 0.25, 2)
    fit = fitted(laid_out(recorded(plant, seed, offsets_k), 30.0), plant.watts)
    hours_c: Array = np.array(building_c())[24:73]

    def room_c(t_s: float) -> float:
        return float(np.interp(t_s / 3600.0, np.arange(49), hours_c))

    begins_c = float(hours_c[:24].mean())
    cold = live(plant, room_c, lambda _: False, 2 * _DAY_S, begins_c, step_s=60.0)
    warm = live(plant, room_c, lambda _: (24.9 - offsets_k[1], 25.1 - offsets_k[1]), 2 * _DAY_S, 23.0, step_s=60.0)
    t_s = np.arange(0.0, 2 * _DAY_S + 1.0, 300.0)
    place = Place(Series(t_s, np.array([room_c(t) for t in t_s])), False)
    band = Band(19.0, 28.0)
    tub = only(
        Standing(fit, fit.rms_k[1], _CONTROL, band, watts_known=True), place, [TimeSpan(0.75 * _DAY_S, 2 * _DAY_S)]
    )
    counted = slice(round(0.75 * 1440), None)
    inside_c = cold.nodes[counted, AIR] + offsets_k[1]
    share = float(warm.heat[counted].mean())
    assert tub.energy_wh_per_day is not None
    for likely, truth in (
        (tub.lowest_c, inside_c.min()),
        (tub.below_kh_per_day, np.clip(19.0 - inside_c, 0.0, None).mean() * 24.0),
        (tub.heat_share, share),
        (tub.energy_wh_per_day, share * plant.watts * 24.0),
    ):
        assert likely.low <= truth <= likely.high
    assert tub.lowest_c.value == pytest.approx(inside_c.min(), abs=0.1)
    assert tub.heat_share.value == pytest.approx(share, rel=0.03)
