"""A relay near the end of its life, and two probes of which one is wrong: through the running station."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from helpers_station import POLL_S, Bench, House, alarms, house, mat_with, probe, pushes, tub
from matwarden.events import VerdictChanged
from matwarden.settings import Settings
from matwarden.terms import AlarmState, ProbeTerms, Role, Side

_HOUR_S = 3600.0
_APART = "probes-disagree/oak"
_WEAR = "relay-wear/oak"


def _two(one_side: Side | None = None, other_side: Side | None = None) -> Bench:
    """Oak with two air probes, an hour in, both telling the same."""
    airs: tuple[ProbeTerms, ...] = (
        replace(probe("oak-air-1", Role.AIR), side=one_side),
        replace(probe("oak-air-2", Role.AIR), side=other_side),
    )
    bench = Bench(tub(probes=(probe("oak-wall", Role.WALL), *airs)))
    bench.run(_HOUR_S)
    return bench


def _drift_apart(bench: Bench, by_k: float) -> float:
    """The second probe comes to read so much more, in steps that are believed; when it is there."""
    step_n = round(by_k / 0.5)
    for n in range(1, step_n + 1):
        bench.set(oak_air_2=24.0 + by_k * n / step_n)
        bench.poll()
    return bench.station.last_at.mono_s


def test_two_probes_far_apart_are_told_after_an_hour() -> None:
    """2 K and more for an hour, as the README says: one push, which names both and what they say."""
    bench = _two()
    began_s = _drift_apart(bench, 2.5)
    bench.run(5 * _HOUR_S)
    (push,) = pushes(bench.told, _APART)
    assert push.at.mono_s - began_s == pytest.approx(_HOUR_S, abs=3 * POLL_S)
    assert "oak-air-1 24.0 °C, oak-air-2 26.5 °C" in push.body


@pytest.mark.parametrize(("by_k", "for_s"), [(1.5, 5 * _HOUR_S), (2.5, 3000.0)], ids=["a little", "for a while"])
def test_two_probes_a_little_apart_or_for_a_while_are_not_told(by_k: float, for_s: float) -> None:
    """Two honest probes may be 1 K apart (DS18B20 and AM2302 datasheets: 0.5 K each), and a draught passes."""
    bench = _two()
    _drift_apart(bench, by_k)
    bench.run(for_s)
    bench.set(oak_air_2=24.0)
    bench.run(_HOUR_S)
    assert pushes(bench.told, _APART) == []


def test_probes_on_two_sides_are_not_compared() -> None:
    """A tub heated at one wall is meant to have a warm and a cool end."""
    bench = _two(Side.MOIST, Side.DRY)
    _drift_apart(bench, 3.0)
    bench.run(5 * _HOUR_S)
    assert pushes(bench.told, _APART) == []


def test_probes_that_agree_again_are_told() -> None:
    """Mended or moved back: the alarm ends, and the phone hears it."""
    bench = _two()
    _drift_apart(bench, 2.5)
    bench.run(2 * _HOUR_S)
    bench.set(oak_air_2=24.4)
    bench.run(_HOUR_S)
    assert alarms(bench.told, _APART) == [AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL]
    assert len(pushes(bench.told, _APART)) == 2


def _operate(bench: Bench) -> None:
    """One operation of oak's relay: it cools until heat is allowed, and is warm again."""
    for celsius in (25.0, 24.3):
        bench.set(oak_air=celsius)
        bench.poll()
    bench.run(600.0)
    assert bench.relays["oak"].level
    for celsius in (25.0, 25.7):
        bench.set(oak_air=celsius)
        bench.poll()
    bench.run(600.0)
    assert not bench.relays["oak"].level


def test_a_relay_is_told_at_eighty_percent_of_its_rated_operations() -> None:
    """Rated for ten: nothing after seven, one push with the eighth, none with the two after it."""
    bench = Bench(tub(mat=mat_with(rated_operations=10)), start_c=25.0)
    told_n = []
    for _ in range(10):
        _operate(bench)
        told_n.append(len(pushes(bench.told, _WEAR)))
    assert told_n == [0] * 7 + [1] * 3
    assert "8 of 10 operations" in pushes(bench.told, _WEAR)[0].body


def test_a_worn_relay_is_told_once_over_restarts(tmp_path: Path) -> None:
    """Its operations outlast a restart, and so does that the keeper knows: no second push."""
    settings = house(tmp_path, mat="minimum_off_s = 10\nminimum_on_s = 0", room="mean = 14.0")
    shelf = House(_rated(settings, 30))
    while not pushes(shelf.collector.events, _WEAR):
        shelf.pass_time(_HOUR_S)
        assert shelf.clock.monotonic_s() < 100 * _HOUR_S
    shelf.restart()
    shelf.pass_time(3 * _HOUR_S)
    shelf.close()
    assert len(pushes(shelf.collector.events, _WEAR)) == 1
    assert shelf.told(VerdictChanged)[-1].operations > 24


def _rated(settings: Settings, operations: int) -> Settings:
    """Fewer than the settings take: nobody waits for a thousand."""
    enclosures = [
        replace(each, mat=replace(each.mat, rated_operations=operations)) if each.mat is not None else each
        for each in settings.enclosures
    ]
    return replace(settings, enclosures=tuple(enclosures))
