"""Many tubs at once ring as one, on the running station; what was acknowledged stays so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from helpers_station import ALARMS, START_WALL_S, HandProbe, alarms, probe, tub
from matwarden.clocks import SimulatedClock
from matwarden.core.inverse_time import VERY_INVERSE
from matwarden.events import Event, Notice, PushAsked
from matwarden.pollers import InlinePoller
from matwarden.station import Station
from matwarden.terms import AlarmState, AlarmTimes, At, ProbeTerms, Recipients, Role, Unit
from matwarden.together_keeper import TogetherAlarms
from matwarden_hardware.ports import ProbeError, Sample

_HOUR_S = 3600.0
_NAMES = ("oak", "alder", "hazel", "rowan")
_ROOM = ProbeTerms("room", Role.ROOM, None, None, 10.0, 5.0, 60.0, 3.0, 0.0)
_CALLING = replace(ALARMS, ring_again_s=900.0, second_after_s=1800.0)


class Shelf:
    """Four watched tubs and a room, set by hand."""

    def __init__(self, times: AlarmTimes = ALARMS, least_n: int = 3) -> None:
        self.clock = SimulatedClock(START_WALL_S, 1000.0)
        tubs = [replace(tub(name, (probe(f"{name}-air", Role.AIR),), mat=None), alarms=times) for name in _NAMES]
        terms = {each.id: each for one in tubs for each in one.probes} | {"room": _ROOM}
        self.probes = {name: HandProbe(24.0) for name in terms}
        self.told: list[Event] = []
        at = At(1000.0, START_WALL_S)
        together = TogetherAlarms("Shelf", Unit.C, least_n, times, {}, at)
        poller = InlinePoller(dict(self.probes), terms, 1000.0)
        self.station = Station(
            tubs, (_ROOM,), Unit.C, poller, {}, self.clock, self.told.extend, {}, judge_every_s=10.0, together=together
        )

    def set(self, celsius: float, *names: str) -> None:
        for name in names:
            self.probes[name].says = Sample(celsius)

    def run(self, for_s: float) -> None:
        until_s = self.clock.monotonic_s() + for_s
        while self.clock.monotonic_s() < until_s:
            self.clock.wait(self.station.cycle(), self.station.wake)

    def pushes(self) -> list[PushAsked]:
        return [event for event in self.told if isinstance(event, PushAsked)]


def _air(*names: str) -> list[str]:
    return [f"{name}-air" for name in names]


def test_a_cold_room_is_one_message_that_names_it_and_counts_the_tubs() -> None:
    """Four tubs cool with their room: one push when they turn cold, one when they are warm again."""
    shelf = Shelf()
    shelf.set(16.0, "room")
    for minutes, name in enumerate(_NAMES):
        shelf.set(21.0 + minutes / 10, f"{name}-air")
        shelf.run(300.0)
    shelf.run(6 * _HOUR_S)
    shelf.set(24.0, "room", *_air(*_NAMES))
    shelf.run(_HOUR_S)

    start, end = shelf.pushes()
    assert start.title == "Room: 4 of 4 tubs cold, now 16.0 °C"
    assert "Oak 21.0 °C, Alder 21.1 °C, Hazel 21.2 °C, Rowan 21.3 °C" in start.body
    assert end.title == "Room: tubs no longer cold, 6 h 20 min"
    assert start.at.mono_s - 1000.0 < _HOUR_S + 20.0


def test_tubs_told_together_are_suppressed_by_design_and_normal_afterwards() -> None:
    """Each tub's own alarm follows the one of all, and says so in the record."""
    shelf = Shelf()
    shelf.set(21.0, *_air(*_NAMES))
    shelf.run(2 * _HOUR_S)
    shelf.set(24.0, *_air(*_NAMES))
    shelf.run(_HOUR_S)
    for name in _NAMES:
        assert alarms(shelf.told, f"cold/{name}") == [AlarmState.SUPPRESSED, AlarmState.NORMAL]


def test_the_tub_that_stays_cold_when_the_others_are_warm_rings_by_itself() -> None:
    """One cause for all has ended; what is left has one of its own."""
    shelf = Shelf()
    shelf.set(21.0, *_air(*_NAMES))
    shelf.run(2 * _HOUR_S)
    shelf.set(24.0, *_air("oak", "alder", "hazel"))
    shelf.run(_HOUR_S)
    assert alarms(shelf.told, "cold/rowan") == [AlarmState.SUPPRESSED, AlarmState.UNACKNOWLEDGED]
    assert [push.title[:12] for push in shelf.pushes()] == ["Room: 4 of 4", "Room: tubs n", "Rowan: cold "]


def test_the_tub_that_is_last_to_be_warm_is_not_told_for_that() -> None:
    """The others are back some minutes before it: it is back in band as well, and waits for its own return."""
    shelf = Shelf()
    shelf.set(21.0, *_air(*_NAMES))
    shelf.run(2 * _HOUR_S)
    shelf.set(24.0, *_air("oak", "alder", "hazel"))
    shelf.set(22.5, "rowan-air")
    shelf.run(_HOUR_S)
    shelf.set(24.0, "rowan-air")
    shelf.run(_HOUR_S)
    assert alarms(shelf.told, "cold/rowan") == [AlarmState.SUPPRESSED, AlarmState.NORMAL]
    assert [push.title[:12] for push in shelf.pushes()] == ["Room: 4 of 4", "Room: tubs n"]


def test_two_cold_tubs_of_four_ring_each_for_itself() -> None:
    """Under the number of the settings nothing is gathered."""
    shelf = Shelf()
    shelf.set(21.0, *_air("oak", "alder"))
    shelf.run(2 * _HOUR_S)
    assert [push.title.partition(":")[0] for push in shelf.pushes()] == ["Oak", "Alder"]


def test_tubs_that_are_only_just_cold_are_no_witnesses() -> None:
    """One tub cold for an hour and two for a minute are one alarm, of the one tub."""
    shelf = Shelf()
    shelf.set(21.0, "oak-air")
    shelf.run(_HOUR_S - 120.0)
    shelf.set(21.0, *_air("alder", "hazel"))
    shelf.run(300.0)
    assert [push.title.partition(":")[0] for push in shelf.pushes()] == ["Oak"]


def test_a_tub_that_rang_before_is_not_silenced_by_the_others() -> None:
    """What was announced by itself stays announced, and what was acknowledged does not ring again."""
    shelf = Shelf()
    shelf.set(21.0, "oak-air")
    shelf.run(2 * _HOUR_S)
    oak = next(alarm for alarm in shelf.station.alarms() if alarm.id == "cold/oak")
    shelf.told += oak.acknowledge(shelf.station.last_at, "ada")
    shelf.set(21.0, *_air("alder", "hazel"))
    shelf.run(6 * _HOUR_S)
    shelf.set(24.0, *_air("alder", "hazel"))
    shelf.run(2 * _HOUR_S)
    assert alarms(shelf.told, "cold/oak") == [AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED]
    assert [push.title.partition(":")[0] for push in shelf.pushes()] == ["Oak", "Room", "Room"]


def test_a_bus_that_dies_is_one_message() -> None:
    """All probes silent at once: one push, and no tub's own."""
    shelf = Shelf()
    for name in _NAMES:
        shelf.probes[f"{name}-air"].says = ProbeError("nothing on the bus answers")
    shelf.run(_HOUR_S)
    assert [push.title for push in shelf.pushes()] == ["Room: 4 of 4 tubs not read, now 24.0 °C"]


def test_a_bug_in_the_alarm_of_many_silences_no_tub(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever goes wrong with the one message while it stands: each tub then rings by itself, and the bug is told."""
    shelf = Shelf()
    shelf.set(21.0, *_air(*_NAMES))
    shelf.run(2 * _HOUR_S)
    monkeypatch.setattr(TogetherAlarms, "look", lambda *_: 1 / 0)
    shelf.run(60.0)
    for name in _NAMES:
        assert alarms(shelf.told, f"cold/{name}")[-1] is AlarmState.UNACKNOWLEDGED
    assert sum(isinstance(event, Notice) and "many tubs" in event.text for event in shelf.told) == 1


def test_many_tubs_unacknowledged_ring_again_and_then_elsewhere() -> None:
    """The one message goes up like any high alarm."""
    shelf = Shelf(_CALLING)
    shelf.set(21.0, *_air(*_NAMES))
    shelf.run(3 * _HOUR_S)
    first, again, second = shelf.pushes()
    assert [push.recipients for push in (first, again, second)] == [
        Recipients.FIRST,
        Recipients.FIRST,
        Recipients.SECOND,
    ]
    assert again.title.startswith("Room: still 4 of 4 tubs cold")
    assert again.at.mono_s - first.at.mono_s == 900.0
    assert second.at.mono_s - first.at.mono_s == 1800.0
    assert "Not acknowledged for 30 min." in second.body


def test_far_out_rings_in_minutes_and_slightly_out_after_its_delay() -> None:
    """5 K under the band rings after 3.4 min by the curve, 0.4 K under it after the hour, 5 K for 3 min not at all."""
    for out_k, for_s, after_s in ((5.0, 2 * _HOUR_S, 202.5), (0.4, 2 * _HOUR_S, _HOUR_S), (5.0, 180.0, None)):
        shelf = Shelf(replace(ALARMS, inverse=VERY_INVERSE))
        shelf.run(60.0)
        shelf.set(22.2 - out_k, "oak-air")
        # A fall of 5 K in one poll is doubted until three readings agree.
        shelf.run(60.0)
        began_s = shelf.clock.monotonic_s()
        shelf.run(for_s - 60.0)
        shelf.set(24.0, "oak-air")
        shelf.run(1200.0)
        told = shelf.pushes()
        if after_s is None:
            assert not told
        else:
            assert abs(told[0].at.mono_s - began_s + 60.0 - after_s) <= 60.0


def test_a_little_once_in_a_while_rings_nothing_all_day() -> None:
    """2 K under the band for 10 minutes, once in two hours, is what a tub that is opened does: not one push."""
    shelf = Shelf(replace(ALARMS, inverse=VERY_INVERSE))
    for _ in range(12):
        shelf.set(20.2, "oak-air")
        shelf.run(600.0)
        shelf.set(24.0, "oak-air")
        shelf.run(6600.0)
    assert not shelf.pushes()
