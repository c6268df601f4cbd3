"""What a record cannot tell is named and not fitted; what it can tell is not refused. From plants of plant.py."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from analysis.plant import AIR, WALL, live, measured, some_plant
from analysis.test_fit import recorded
from matwarden.analysis.control import Control
from matwarden.analysis.grid import Heat, Lived, Series, laid_out, step_for
from matwarden.analysis.network import Array
from matwarden.analysis.refusal import Cannot, Refusal
from matwarden.analysis.telling import refusals, tell
from matwarden.terms import Unit

_CONTROL = Control(25.0, 1.0, 60.0, 62.0, 1.0, 60.0, 180.0)
_LOW_C, _MIDWAY_S = 22.2, 20 * 3600.0


@cache
def _healthy(seed: int) -> Lived:
    random = np.random.default_rng(seed)
    return recorded(some_plant(random), seed, random.normal(0.0, 0.25, 2))


@cache
def _held(seed: int, swing_k: float, rule: tuple[float, float] | bool, mean_c: float = 18.0) -> Lived:
    """Three days in a room that goes up and down by `swing_k` each day: under a thermostat, or heat all on or off."""
    random = np.random.default_rng(seed)
    plant = some_plant(random)
    lived = live(
        plant,
        lambda t: mean_c + swing_k * np.sin(2 * np.pi * t / 86_400.0 + seed),
        lambda _: rule,
        3 * 86_400.0,
        24.5 if rule is not False else mean_c,
        stretch_s=6 * 3600.0,
    )
    on = lived.heat > 0.5
    changes = np.concatenate([[0], np.flatnonzero(np.diff(on.astype(int))) + 1])
    wall, inside, room = (
        Series(lived.t_s, measured(values, random))
        for values in (lived.nodes[:, WALL], lived.nodes[:, AIR], lived.room_c)
    )
    return Lived([wall], [inside], [room], Heat(lived.t_s[changes], on[changes]))


def _found(lived: Lived, unit: Unit = Unit.C) -> list[Refusal]:
    return refusals(lived, laid_out(lived, step_for(lived)), _CONTROL, _LOW_C, unit)


def _names(lived: Lived) -> list[Cannot]:
    return [refusal.name for refusal in _found(lived)]


@pytest.mark.parametrize("seed", range(12))
def test_a_healthy_record_is_not_refused(seed: int) -> None:
    """Steps, decays, a thermostat, in a day and a half. None of forty plants was refused, nor a winter week of any."""
    assert _names(_healthy(seed)) == []


@pytest.mark.parametrize("seed", range(3))
def test_a_thermostat_in_a_room_with_nights_tells_enough(seed: int) -> None:
    """No step was made by anybody: the nights make the share of heat vary."""
    assert _names(_held(seed, 1.5, (24.5, 25.5))) == []


@pytest.mark.parametrize("seed", range(3))
def test_a_constant_room_is_named(seed: int) -> None:
    """Under the thermostat alone the share of heat then stays the same: loss and probe offsets look alike."""
    found = _found(_held(seed, 0.0, (24.5, 25.5)))
    assert [one.name for one in found] == [Cannot.CONSTANT_ROOM]
    assert "18.0 °C" in found[0].missing
    assert "commission" in found[0].advice


def test_no_heat_is_named() -> None:
    """In a cold room: something cut it all the time."""
    assert _names(_held(0, 1.0, False)) == [Cannot.NO_HEAT]


def test_a_room_that_never_fell_below_the_setpoint_is_named_in_the_keepers_unit() -> None:
    """No heat was wanted: a cooler evening will do. 24.5 C is 76.1 F."""
    found = _found(_held(0, 0.4, False, mean_c=25.2), Unit.F)
    assert [one.name for one in found] == [Cannot.WARM_ROOM]
    assert "the room never fell below 76.1 °F" in found[0].missing
    assert found[0].advice == "Run commission on a cooler evening."


def test_heat_that_is_always_on_is_named() -> None:
    """What the mat does and what the probes are apart is then one number."""
    assert _names(_held(0, 1.5, True)) == [Cannot.ALWAYS_HEAT]


def test_one_day_of_gaps_is_named() -> None:
    """Three hours read, two not, and so on: no piece is long enough."""
    whole = _healthy(0)

    def holed(series: Series) -> Series:
        there = (series.t_s < 86_400.0) & (series.t_s % 18_000.0 < 10_800.0)
        return Series(series.t_s[there], series.value_c[there])

    wall, inside, room = ([holed(one) for one in several] for several in (whole.wall, whole.inside, whole.room))
    assert _names(Lived(wall, inside, room, whole.heat)) == [Cannot.TOO_LITTLE]


def _with(part: str, values: Callable[[Array, Array, Array, Array], Array]) -> Callable[[Lived], Lived]:
    """A record of which one probe reads something else: made of time, wall, inside and room."""

    def change(lived: Lived) -> Lived:
        wall, inside, room = lived.wall[0], lived.inside[0], lived.room[0]
        new = [Series(wall.t_s, values(wall.t_s, wall.value_c, inside.value_c, room.value_c))]
        return Lived(
            new if part == "wall" else lived.wall,
            new if part == "inside" else lived.inside,
            new if part == "room" else lived.room,
            lived.heat,
        )

    return change


# Readings taken from another probe are shifted by half a minute, so that no two series are one and the same.
_WRONG: dict[str, tuple[Cannot, Callable[[Lived], Lived]]] = {
    "wall and inside swapped": (Cannot.SWAPPED, lambda x: Lived(x.inside, x.wall, x.room, x.heat)),
    "wall probe fell midway": (
        Cannot.FALLEN,
        _with("wall", lambda t, w, i, r: np.where(t < _MIDWAY_S, w, np.roll(i, 3))),
    ),
    "inside probe fell out midway": (
        Cannot.FALLEN,
        _with("inside", lambda t, w, i, r: np.where(t < _MIDWAY_S, i, np.roll(r, 3))),
    ),
    "inside probe lies outside": (Cannot.FALLEN, _with("inside", lambda t, w, i, r: np.roll(r, 3))),
    "wall probe lies outside": (Cannot.FALLEN, _with("wall", lambda t, w, i, r: np.roll(r, 3))),
    "wall probe lies inside": (Cannot.FALLEN, _with("wall", lambda t, w, i, r: np.roll(i, 3))),
    "room probe on the mat": (Cannot.ROOM_AT_MAT, _with("room", lambda t, w, i, r: np.roll(w, 3))),
    "wall probe stuck": (
        Cannot.STUCK,
        _with("wall", lambda t, w, i, r: np.where(t < _MIDWAY_S, w, w[np.searchsorted(t, _MIDWAY_S)])),
    ),
    "inside probe stuck": (
        Cannot.STUCK,
        _with("inside", lambda t, w, i, r: np.where(t < _MIDWAY_S, i, i[np.searchsorted(t, _MIDWAY_S)])),
    ),
}


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("what", _WRONG)
def test_a_probe_that_is_not_where_it_should_be_is_named(what: str, seed: int) -> None:
    """By how wall, inside and room answer the heat within the hour; in a commission run and under a thermostat."""
    name, change = _WRONG[what]
    assert _names(change(_healthy(seed))) == [name]
    assert _names(change(_held(seed, 1.5, (24.5, 25.5)))) == [name]


def test_a_mat_that_was_changed_midway_is_named() -> None:
    """Both probes then answer less: it is no probe that fell. Half the heat: what is quick is halved at both."""
    lived = _held(1, 1.5, (24.5, 25.5))
    weaker = _with("wall", lambda t, w, i, r: np.where(t < 36 * 3600.0, w, r + (w - r) / 2))(lived)
    weaker = Lived(
        weaker.wall,
        _with("inside", lambda t, w, i, r: np.where(t < 36 * 3600.0, i, r + (i - r) / 2))(lived).inside,
        lived.room,
        lived.heat,
    )
    assert _names(weaker) == [Cannot.MAT_CHANGED]


@pytest.mark.parametrize(("part", "place"), [("wall", "the wall"), ("inside", "the inside"), ("room", "the room")])
def test_a_probe_that_is_not_there_is_named(part: str, place: str) -> None:
    """Which one, in words."""
    whole = _healthy(0)
    lived = Lived(
        [] if part == "wall" else whole.wall,
        [] if part == "inside" else whole.inside,
        [] if part == "room" else whole.room,
        whole.heat,
    )
    found = _found(lived)
    assert [one.name for one in found] == [Cannot.NOT_READ]
    assert place in found[0].missing


def test_what_is_refused_is_not_fitted() -> None:
    """A refusal or a fit, never both."""
    told = tell(_WRONG["wall and inside swapped"][1](_healthy(0)), 8.0, _CONTROL, _LOW_C)
    assert told.fit is None
    assert [one.name for one in told.refusals] == [Cannot.SWAPPED]
    assert told.grids


def test_a_healthy_record_is_fitted() -> None:
    """With nothing to say against it, before or after the fit. Of forty plants none was refused after it either."""
    told = tell(_healthy(2), 8.0, _CONTROL, _LOW_C)
    assert told.fit is not None
    assert told.refusals == ()


def test_a_wall_probe_that_came_half_loose_is_seen_by_what_the_fit_leaves() -> None:
    """Its quick answer changes too little to be named before; no network lives through such a record."""
    half = _with("wall", lambda t, w, i, r: np.where(t < _MIDWAY_S, w, (w + np.roll(i, 3)) / 2))(_healthy(2))
    assert _names(half) == []
    told = tell(half, 8.0, _CONTROL, _LOW_C)
    assert told.fit is None
    assert {one.name for one in told.refusals} <= {Cannot.CHANGED, Cannot.NO_NETWORK}


def test_a_loss_that_changed_midway_is_seen_by_what_the_fit_leaves() -> None:
    """From one hour on everything over the room is a fifth less, as with a lid ajar; said with its time."""
    lived = _healthy(2)
    for part, at in (("wall", 1), ("inside", 2)):
        lived = _with(part, lambda *x, at=at: np.where(x[0] < _MIDWAY_S, x[at], x[3] + 0.8 * (x[at] - x[3])))(lived)
    told = tell(lived, 8.0, _CONTROL, _LOW_C)
    assert told.fit is None
    assert Cannot.CHANGED in {one.name for one in told.refusals}
    assert all("--from, --to" in one.advice for one in told.refusals if one.name is Cannot.CHANGED)
