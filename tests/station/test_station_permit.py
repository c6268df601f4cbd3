"""The permit changes its level with each complete cycle in which every relay agrees, and with nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_station import Bench, House, house, pushes, tub
from matwarden.events import Event, Notice, PushAsked
from matwarden.permit_keeper import PermitKeeper
from matwarden_hardware.ports import RelayError
from matwarden_hardware.twin import TwinPermit


class _Bench(Bench):
    """Two tubs and a permit."""

    def __init__(self) -> None:
        self.permit = TwinPermit(lambda: 0.0)
        super().__init__(tub("oak"), tub("alder"), permit=PermitKeeper(self.permit, "Our shelf"))

    def pulses_in(self, cycles: int) -> int:
        before = self.permit.pulses
        for _ in range(cycles):
            self.cycle()
        return self.permit.pulses - before

    def pushed(self) -> list[PushAsked]:
        return pushes(self.told, "permit")


def test_one_pulse_a_cycle_heat_or_no_heat() -> None:
    """It says that the guard is alive, not that heat is allowed: proving, heating and resting alike."""
    bench = _Bench()
    assert bench.pulses_in(5) == 5
    bench.warm_up()
    assert bench.pulses_in(10) == 10
    bench.set(oak_wall=None, oak_air=None)
    assert bench.pulses_in(200) == 200
    assert bench.pushed() == []


def test_a_cycle_that_raises_gives_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bug in the guard ends the loop: no pulse, every relay cut, and the permit low."""
    bench = _Bench()
    bench.warm_up()
    bench.pulses_in(1 if not bench.permit.high else 2)
    assert bench.permit.high
    before = bench.permit.pulses

    def break_down(*_: object) -> list[Event]:
        raise RuntimeError("a bug")

    monkeypatch.setattr(bench.station.tubs["alder"], "decide", break_down)
    with pytest.raises(RuntimeError, match="a bug"):
        bench.station.run()
    assert (bench.permit.pulses, bench.permit.high) == (before, False)
    assert not bench.relays["oak"].level


def test_no_pulse_before_everybody_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A cycle that cannot hand on its events is not complete."""
    bench = _Bench()

    def fail(_: list[Event]) -> None:
        raise RuntimeError("no queue")

    monkeypatch.setattr(bench.station, "_tell", fail)
    with pytest.raises(RuntimeError):
        bench.pulses_in(100)
    assert bench.permit.pulses == 0


def test_a_single_false_read_back_costs_one_pulse_and_no_push() -> None:
    """What the guard forgives is not told either."""
    bench = _Bench()
    bench.warm_up()
    bench.relays["oak"].lies = True
    assert bench.pulses_in(1) == 0
    bench.relays["oak"].lies = False
    assert bench.pulses_in(100) == 100
    assert bench.pushed() == []


def test_a_latched_relay_fault_keeps_it_still_until_a_person_resets() -> None:
    """One relay of two does not obey: no pulse, even when it reads right again; told once, with whose relay it is."""
    bench = _Bench()
    bench.warm_up()
    bench.relays["alder"].lies = True
    bench.pulses_in(3)
    bench.relays["alder"].lies = False
    assert bench.pulses_in(300) == 0
    (push,) = bench.pushed()
    assert push.title == "Our shelf: permit stopped"
    assert "the relay of alder does not do as it is told" in push.body
    guard = bench.station.tubs["alder"].guard
    assert guard is not None
    assert guard.reset(bench.station.last_at)[1] == ""
    assert bench.pulses_in(5) == 5
    texts = [event.text for event in bench.told if isinstance(event, Notice)]
    assert texts[-1] == "permit: its line changes again, every relay agrees"


def test_a_relay_that_cannot_be_read_keeps_it_still() -> None:
    """A line nobody can read is a line nobody knows to be cut."""
    bench = _Bench()

    def refuse() -> bool:
        raise RelayError("the line cannot be read")

    bench.relays["oak"].read_back = refuse  # type: ignore[method-assign]
    assert bench.pulses_in(50) == 0


def test_a_permit_that_cannot_be_driven_is_told_and_stops_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The guard goes on, a person is told once, and when it goes again that is noted."""
    bench = _Bench()
    bench.warm_up()

    def refuse() -> None:
        raise RelayError("permit on /dev/gpiochip0 line 24: already closed")

    with monkeypatch.context() as patch:
        patch.setattr(bench.permit, "pulse", refuse)
        bench.pulses_in(100)
    (push,) = bench.pushed()
    assert "line 24: already closed. The part that it feeds has taken every relay's supply away" in push.body
    assert bench.relays["oak"].level
    assert bench.pulses_in(3) == 3


def test_it_is_low_at_the_end() -> None:
    """An ordered stop leaves it low, whatever its level was."""
    for cycles in (3, 4):
        bench = _Bench()
        bench.pulses_in(cycles)
        bench.station.stop()
        bench.station.run()
        assert not bench.permit.high
        bench.station.close()
        assert bench.permit.pulses == cycles


def test_the_whole_program_on_a_simulated_shelf(tmp_path: Path) -> None:
    """A permit in the settings is pulsed by a rehearsal too, once a cycle, and left low."""
    run = House(house(tmp_path, more='[permit]\ndriver = "twin"\n'))
    run.pass_time(3600.0)
    permit = run.run.devices.permit
    assert isinstance(permit, TwinPermit)
    assert permit.pulses == run.run.station.cycles > 300
    run.close()
    assert not permit.high
