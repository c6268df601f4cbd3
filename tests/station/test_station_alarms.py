"""What the phone gets from the running station: sustained cold and heat, and the station's own faults, once each."""

from __future__ import annotations

import pytest

from helpers_station import ALARMS, POLL_S, STALE_S, Bench, alarms, probe, pushes, tub
from matwarden.events import PushAsked
from matwarden.terms import AlarmState, Reason, Role

# The band of the bench's tub is 22.2..27.8 C; the jumps below are small enough to be believed at once.
_WELL_C, _COLD_C, _WELL_AGAIN_C = 22.5, 22.0, 22.8
_HOUR_S = 3600.0


def _watched_only() -> Bench:
    """A tub without a mat, seen by one air probe, in its band."""
    bench = Bench(tub("rowan", (probe("rowan-air", Role.AIR),), mat=None), start_c=_WELL_C)
    bench.run(60.0)
    return bench


def _cold_pushes(bench: Bench) -> list[PushAsked]:
    return pushes(bench.told, "cold/rowan")


def test_steady_cold_is_pushed_once_after_its_delay() -> None:
    """Cold that stays is told when it has lasted for the on-delay, to a poll, and then never again."""
    bench = _watched_only()
    bench.set(rowan_air=_COLD_C)
    bench.poll()
    began_s = bench.station.last_at.mono_s
    bench.run(8 * _HOUR_S)
    (push,) = _cold_pushes(bench)
    assert push.at.mono_s - began_s == pytest.approx(ALARMS.cold_after_s, abs=POLL_S)
    assert "Rowan" in push.title


@pytest.mark.parametrize("value_c", [_COLD_C, 15.0])
def test_a_brief_cold_is_not_told(value_c: float) -> None:
    """Fifty cold minutes in every hour, however cold, are excursions: nothing is pushed."""
    bench = _watched_only()
    for _ in range(6):
        bench.set(rowan_air=value_c)
        bench.run(3000.0)
        bench.set(rowan_air=_WELL_AGAIN_C)
        bench.run(600.0)
    assert not _cold_pushes(bench)


def test_the_return_is_told_once_after_its_delay() -> None:
    """When the tub has been well for the off-delay the phone hears so, once."""
    bench = _watched_only()
    bench.set(rowan_air=_COLD_C)
    bench.run(2 * _HOUR_S)
    bench.set(rowan_air=_WELL_AGAIN_C)
    bench.poll()
    well_s = bench.station.last_at.mono_s
    bench.run(8 * _HOUR_S)
    _, push = _cold_pushes(bench)
    assert push.at.mono_s - well_s == pytest.approx(ALARMS.clear_after_s, abs=POLL_S)
    assert alarms(bench.told, "cold/rowan") == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED]


def test_a_value_that_dithers_about_the_edge_is_one_alarm() -> None:
    """Within the deadband nothing clears: hours of dithering about the band's edge are one alarm."""
    bench = _watched_only()
    for _ in range(60):
        bench.set(rowan_air=_COLD_C)
        bench.run(200.0)
        bench.set(rowan_air=_WELL_C)
        bench.run(200.0)
    assert alarms(bench.told, "cold/rowan") == [AlarmState.UNACKNOWLEDGED]


def test_missing_data_neither_hastens_nor_ends_a_cold_that_builds_up() -> None:
    """Half an hour of cold, two hours of silence, cold again: told after the other half hour."""
    bench = _watched_only()
    bench.set(rowan_air=_COLD_C)
    bench.run(1800.0)
    bench.set(rowan_air=None)
    bench.run(2 * _HOUR_S)
    assert not _cold_pushes(bench)
    bench.set(rowan_air=_COLD_C)
    back_s = bench.clock.monotonic_s()
    bench.run(_HOUR_S)
    (push,) = _cold_pushes(bench)
    # The last reading before the silence counts until it is stale.
    assert push.at.mono_s - back_s == pytest.approx(1800.0 - STALE_S, abs=3 * POLL_S)


def test_missing_data_does_not_end_an_alarm() -> None:
    """A cold tub that falls silent is not thereby warm: its return is told when it is seen to be warm."""
    bench = _watched_only()
    bench.set(rowan_air=_COLD_C)
    bench.run(2 * _HOUR_S)
    bench.set(rowan_air=None)
    bench.run(3 * _HOUR_S)
    assert alarms(bench.told, "cold/rowan") == [AlarmState.UNACKNOWLEDGED]
    bench.set(rowan_air=_WELL_AGAIN_C)
    bench.run(_HOUR_S)
    assert alarms(bench.told, "cold/rowan") == [AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED]


def test_steady_heat_is_pushed_once() -> None:
    """Heat that stays over the band is told once, and its end once."""
    bench = Bench(tub("rowan", (probe("rowan-air", Role.AIR),), mat=None), start_c=27.5)
    bench.run(60.0)
    bench.set(rowan_air=28.0)
    bench.run(5 * _HOUR_S)
    assert len(pushes(bench.told, "hot/rowan")) == 1
    bench.set(rowan_air=27.1)
    bench.run(_HOUR_S)
    assert len(pushes(bench.told, "hot/rowan")) == 2


@pytest.mark.parametrize("silent", [("oak_air",), ("oak_wall",), ("oak_air", "oak_wall")], ids=" and ".join)
def test_a_blind_tub_is_one_push(silent: tuple[str, ...]) -> None:
    """A tub that cannot be seen is told as blind; its silent probes do not each push as well."""
    bench = Bench(tub())
    bench.warm_up()
    bench.set(**dict.fromkeys(silent))
    bench.run(2 * _HOUR_S)
    asked = [event.key for event in bench.told if isinstance(event, PushAsked)]
    assert [key.rpartition("/")[0] for key in asked] == ["blind/oak/unacknowledged"]


def test_a_probe_that_jumps_again_and_again_is_told_once() -> None:
    """Neither blind nor ever cold for an hour: told as unsteady, and its end too; the jumps of a lid are not told."""
    bench = _watched_only()
    for _ in range(2):
        bench.set(rowan_air=_WELL_C - 3.0)
        bench.run(10 * 60.0)
        bench.set(rowan_air=_WELL_C)
        bench.run(10 * 60.0)
    assert not pushes(bench.told, "unsteady-probe/rowan-air")
    for n in range(120):
        bench.set(rowan_air=_WELL_C - 3.0 * (n % 2))
        bench.run(POLL_S)
    bench.set(rowan_air=_WELL_C)
    assert [event.key.partition("/")[0] for event in bench.told if isinstance(event, PushAsked)] == ["unsteady-probe"]
    bench.run(4 * _HOUR_S)
    assert len(pushes(bench.told, "unsteady-probe/rowan-air")) == 2


def test_one_of_two_wall_probes_dying_is_told_and_cuts_nothing() -> None:
    """With a second wall probe the tub is still seen: the dead one is told, and heat goes on; the last one cuts."""
    walls = (probe("oak-wall-1", Role.WALL), probe("oak-wall-2", Role.WALL))
    bench = Bench(tub(probes=(*walls, probe("oak-air", Role.AIR))))
    bench.warm_up()
    bench.set(oak_wall_1=None)
    bench.run(_HOUR_S)
    assert bench.relays["oak"].level
    assert len(pushes(bench.told, "blind-probe/oak-wall-1")) == 1
    assert not pushes(bench.told, "blind/oak")
    bench.set(oak_wall_2=None)
    bench.run(STALE_S + POLL_S)
    assert bench.reason() is Reason.BLIND
    assert not bench.relays["oak"].level


def test_a_trip_is_pushed_at_once_and_once() -> None:
    """A trip reaches the phone in the cycle in which it happens, and its hours of standing add nothing."""
    bench = Bench(tub())
    bench.warm_up()
    for value_c in (24.9, 25.8, 26.7, 27.6, 28.4, 29.3, 30.1):
        bench.set(oak_wall=value_c)
        bench.poll()
    tripped_s = bench.station.last_at.mono_s
    bench.run(5 * _HOUR_S)
    (push,) = pushes(bench.told, "cut-out/oak")
    assert push.at.mono_s == tripped_s


def test_one_tub_says_nothing_about_another() -> None:
    """Cold in one tub alarms that tub alone, and heats no other."""
    bench = Bench(tub("oak"), tub("alder"), start_c=25.0)
    bench.run(60.0)
    for value_c in (24.2, 23.4, 22.6, 21.9):
        bench.set(oak_air=value_c)
        bench.poll()
    # Its wall does what a heated wall does: it rises, and moves.
    for n in range(24):
        bench.set(oak_wall=25.3 + 0.1 * (n % 3))
        bench.run(300.0)
    told = [event.key for event in bench.told if isinstance(event, PushAsked)]
    assert [key.split("/")[:2] for key in told] == [["cold", "oak"]]
    assert bench.relays["oak"].level
    assert not bench.relays["alder"].level
