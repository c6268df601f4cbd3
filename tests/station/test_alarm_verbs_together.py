"""An acknowledgement of many tubs at once, and the reset of a latch, over a real socket to a running station."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from helpers_desk import DAY_S, Desk
from helpers_station import ALARMS, START_WALL_S, Bench, HandProbe, probe, tub
from matwarden.clocks import SimulatedClock
from matwarden.core.alarms import AlarmMemory
from matwarden.events import Event, PushAsked
from matwarden.pollers import InlinePoller
from matwarden.station import Station
from matwarden.terms import AlarmState, At, Role, Unit
from matwarden.together_keeper import TogetherAlarms
from matwarden_hardware.ports import Sample

_CALLING = replace(ALARMS, ring_again_s=900.0, second_after_s=1800.0)
_NAMES = ("oak", "alder", "hazel")


class Shelf:
    """Three cold tubs that ring as one."""

    def __init__(self, directory: Path) -> None:
        self.clock = SimulatedClock(START_WALL_S, 1000.0)
        tubs = [replace(tub(name, (probe(f"{name}-air", Role.AIR),), mat=None), alarms=_CALLING) for name in _NAMES]
        terms = {each.id: each for one in tubs for each in one.probes}
        self.probes = {name: HandProbe(20.0) for name in terms}
        self.told: list[Event] = []
        together = TogetherAlarms("Shelf", Unit.C, 3, _CALLING, {}, At(1000.0, START_WALL_S))
        poller = InlinePoller(dict(self.probes), terms, 1000.0)
        self.station = Station(
            tubs, (), Unit.C, poller, {}, self.clock, self.told.extend, {}, judge_every_s=10.0, together=together
        )
        self.desk = Desk(directory, self.station, self.cycle)
        self.run(3700.0)

    def cycle(self) -> None:
        self.clock.wait(self.station.cycle(), self.station.wake)

    def run(self, for_s: float) -> None:
        until_s = self.clock.monotonic_s() + for_s
        while self.clock.monotonic_s() < until_s:
            self.cycle()

    def pushes(self) -> list[str]:
        return [event.title for event in self.told if isinstance(event, PushAsked)]


def test_to_acknowledge_many_tubs_is_to_acknowledge_each(tmp_path: Path) -> None:
    """When but one tub stays cold and rings no longer with the others, it is acknowledged, and calls nobody."""
    shelf = Shelf(tmp_path)
    assert len(shelf.pushes()) == 1
    done = shelf.desk.ask("ack", "cold-together/house")["alarms"]
    assert sorted(done) == ["cold-together/house", "cold/alder", "cold/hazel", "cold/oak"]
    for name in ("alder-air", "hazel-air"):
        shelf.probes[name].says = Sample(24.0)
    shelf.run(DAY_S)
    listed = shelf.desk.listed()
    assert (listed["cold/oak"]["state"], listed["cold/oak"]["acknowledged"]) == ("acknowledged", True)
    assert len([title for title in shelf.pushes() if "Oak" in title]) == 0
    shelf.desk.close()


def test_an_alarm_of_many_that_is_out_of_service_leaves_each_to_ring(tmp_path: Path) -> None:
    """Taken out of service, the one of all hides no tub: each cold tub calls for itself."""
    shelf = Shelf(tmp_path)
    assert shelf.desk.ask("service", "cold-together/house", on=False)["ok"]
    shelf.run(60.0)
    assert {title.split()[0].rstrip(":") for title in shelf.pushes()[1:]} == {"Oak", "Alder", "Hazel"}
    shelf.desk.close()


@pytest.mark.parametrize("state", [AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED])
def test_a_latch_ends_by_a_reset_at_the_shelf(tmp_path: Path, state: AlarmState) -> None:
    """With heat held and the wall as cool as the air, `reset` ends the latch, acknowledged before or not."""
    bench, desk = _latched(tmp_path, AlarmMemory(state=state))
    assert not desk.ask("reset", enclosure="oak")["ok"]  # nobody has cut heat for long enough to know
    desk.ask("hold", enclosure="oak", for_s=7200)
    bench.run(1200.0)
    answer = desk.ask("reset", enclosure="oak")
    assert answer["ok"], answer
    assert desk.listed() == {}
    desk.close()
    bench.station.cut_all()


def test_a_latch_stays_while_the_wall_is_not_known_to_have_cooled(tmp_path: Path) -> None:
    """While the condition stands the reset is refused, and the alarm is what it was."""
    standing = AlarmMemory(state=AlarmState.UNACKNOWLEDGED, condition=True, active=True, active_s=900.0)
    _, desk = _latched(tmp_path, standing)
    answer = desk.ask("reset", enclosure="oak")
    assert (answer["ok"], answer["refused"]) == (False, True)
    assert "not known to cool" in answer["text"]
    assert desk.listed()["heat-while-cut/oak"]["state"] == "unacknowledged"
    desk.close()


def _latched(directory: Path, memory: AlarmMemory) -> tuple[Bench, Desk]:
    bench = Bench()
    bench.run(60.0)
    alarm = next(each for each in bench.station.alarms() if each.id == "heat-while-cut/oak")
    alarm.memory = memory
    return bench, Desk(directory, bench.station, bench.cycle)
