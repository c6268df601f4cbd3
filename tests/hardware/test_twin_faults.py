"""What each simulated fault does, and that it ends."""

from __future__ import annotations

import math
import statistics
import threading
import time

import pytest

from helpers_twin import JumpClock, shelf_at
from matwarden_hardware.ports import DriverError, ProbeError
from matwarden_hardware.twin import (
    ROOM,
    DailyRoom,
    Fault,
    FaultKind,
    Node,
    ProbeTimeoutError,
    Shelf,
    TubPhysics,
    TwinProbe,
    TwinRelay,
)


class Bench:
    """One shelf in a steady 20 C room, with the air probe and the relay of oak."""

    def __init__(self, *faults: Fault, noise_k: float = 0.0) -> None:
        self.clock = JumpClock()
        self.shelf = shelf_at(self.clock, DailyRoom(20.0), faults=faults)
        self.probe = TwinProbe(self.shelf, "oak-air", "oak", Node.AIR, noise_k=noise_k)
        self.relay = TwinRelay(self.shelf, "oak")

    def read_at(self, t_s: float) -> float:
        self.clock.jump(t_s - self.shelf.t_s)
        return self.probe.read().temperature_c

    def risen_k(self) -> float:
        """How much the wall warms in ten minutes."""
        before_c = self.shelf.temperatures_c("oak").wall_c
        self.clock.jump(600.0)
        return self.shelf.temperatures_c("oak").wall_c - before_c


def on_probe(kind: FaultKind, amount: float = 0.0) -> Fault:
    return Fault(100.0, 200.0, kind, "oak-air", amount)


def test_a_dead_probe_raises_until_its_fault_ends() -> None:
    """From the fault's start to just before its end there is an error; before and after a value."""
    bench = Bench(on_probe(FaultKind.PROBE_DEAD))
    assert bench.read_at(99.999) == 20.0
    for t_s in (100.0, 199.999):
        with pytest.raises(ProbeError, match="oak-air: nothing on the bus answers"):
            bench.read_at(t_s)
    assert bench.read_at(200.0) == 20.0


def test_a_stuck_probe_repeats_its_last_value_while_the_tub_warms() -> None:
    """The frozen value is the last one read before; afterwards the truth is back."""
    bench = Bench(on_probe(FaultKind.PROBE_STUCK))
    bench.relay.drive(True)
    last_c = bench.read_at(90.0)
    assert bench.read_at(110.0) == bench.read_at(190.0) == last_c
    assert bench.read_at(200.0) > last_c


def test_a_probe_stuck_from_the_start_repeats_its_first_value() -> None:
    """With nothing to repeat it reads once, and then stays there."""
    bench = Bench(Fault(0.0, None, FaultKind.PROBE_STUCK, "oak-air"))
    first_c = bench.read_at(0.0)
    bench.relay.drive(True)
    assert bench.read_at(600.0) == first_c < bench.shelf.temperatures_c("oak").air_c - 0.5


def test_an_offset_probe_is_wrong_by_the_amount() -> None:
    """Added while the fault lasts."""
    bench = Bench(on_probe(FaultKind.PROBE_OFFSET, -3.0))
    assert [bench.read_at(t_s) for t_s in (99.0, 150.0, 200.0)] == [20.0, 17.0, 20.0]


def test_a_drifting_probe_is_wrong_by_more_each_hour() -> None:
    """Kelvin an hour, counted from the fault's start."""
    bench = Bench(Fault(3600.0, None, FaultKind.PROBE_DRIFT, "oak-air", 0.5))
    assert [bench.read_at(3600.0 * hour) for hour in (1, 2, 5)] == [20.0, 20.5, 22.0]


def test_a_noisy_probe_scatters_by_its_amount_and_its_own_noise() -> None:
    """Two independent noises add as squares: 0.3 and 0.4 make 0.5 K."""
    bench = Bench(Fault(0.0, None, FaultKind.PROBE_NOISE, "oak-air", 0.4), noise_k=0.3)
    readings = [bench.probe.read().temperature_c for _ in range(4000)]
    assert statistics.stdev(readings) == pytest.approx(0.5, rel=0.05)
    assert statistics.fmean(readings) == pytest.approx(20.0, abs=0.05)


def test_a_spike_is_in_one_reading_only() -> None:
    """The first reading at or after its time has it, the next has not; injected anew it comes anew."""
    bench = Bench(Fault(100.0, None, FaultKind.PROBE_SPIKE, "oak-air", 40.0))
    assert [bench.read_at(t_s) for t_s in (99.0, 130.0, 140.0)] == [20.0, 60.0, 20.0]
    bench.shelf.inject(Fault(0.0, None, FaultKind.PROBE_SPIKE, "oak-air", -20.0))
    assert [bench.read_at(t_s) for t_s in (141.0, 142.0)] == [0.0, 20.0]


def test_on_a_simulated_clock_a_hanging_probe_says_so_at_once() -> None:
    """Waiting would last for ever there: it raises the error of a reading that took too long."""
    bench = Bench(on_probe(FaultKind.PROBE_HANG))
    with pytest.raises(ProbeTimeoutError, match="oak-air: no answer"):
        bench.read_at(150.0)
    assert bench.read_at(200.0) == 20.0


def hanging(until_s: float | None) -> TwinProbe:
    fault = Fault(0.0, until_s, FaultKind.PROBE_HANG, "oak-air")
    shelf = Shelf({"oak": TubPhysics()}, DailyRoom(20.0), time.monotonic, faults=[fault], real_time=True)
    return TwinProbe(shelf, "oak-air", "oak", Node.AIR)


def test_in_real_time_a_hanging_probe_blocks_until_its_fault_ends() -> None:
    """The reading comes, late."""
    probe, begin_s = hanging(0.3), time.monotonic()
    assert probe.read().temperature_c == 20.0
    assert time.monotonic() - begin_s >= 0.25


def test_in_real_time_closing_a_hanging_probe_lets_its_reader_go() -> None:
    """Whoever waits in `read` gets a ProbeError when the probe is closed."""
    probe = hanging(None)
    caught: list[Exception] = []

    def read() -> None:
        try:
            probe.read()
        except ProbeError as error:
            caught.append(error)

    reader = threading.Thread(target=read)
    reader.start()
    reader.join(0.2)
    assert reader.is_alive()
    probe.close()
    reader.join(5.0)
    assert str(caught[0]) == "oak-air: the probe was closed while it was read"


def test_a_fault_of_one_probe_leaves_the_others_alone() -> None:
    """Faults go by the probe's id, not by its tub."""
    bench = Bench(Fault(0.0, None, FaultKind.PROBE_DEAD, "oak-air"))
    assert TwinProbe(bench.shelf, "oak-wall", "oak", Node.WALL).read().temperature_c == 20.0


def test_a_welded_contact_heats_whatever_the_line_says_and_the_line_does_not_show_it() -> None:
    """The line reads cut, the mat is warm."""
    bench = Bench(Fault(0.0, None, FaultKind.RELAY_WELDED, "oak"))
    bench.relay.drive(True)
    bench.relay.drive(False)
    assert (bench.relay.read_back(), bench.relay.contact_closed) == (False, True)
    assert bench.risen_k() > 5.0


def test_an_open_contact_never_heats_and_the_line_does_not_show_it() -> None:
    """The line reads allow, the mat stays cold; mended, the contact follows the line again."""
    bench = Bench(Fault(0.0, None, FaultKind.RELAY_OPEN, "oak"))
    bench.relay.drive(True)
    assert (bench.relay.read_back(), bench.relay.contact_closed) == (True, False)
    assert bench.risen_k() == pytest.approx(0.0, abs=1e-9)
    bench.shelf.mend("oak", FaultKind.RELAY_OPEN)
    assert bench.relay.contact_closed


def test_a_wrong_read_back_tells_the_other_level_and_switches_nothing() -> None:
    """Only the telling is wrong."""
    bench = Bench(Fault(0.0, 60.0, FaultKind.RELAY_READBACK_WRONG, "oak"))
    bench.relay.drive(True)
    assert (bench.relay.read_back(), bench.relay.contact_closed) == (False, True)
    bench.clock.jump(60.0)
    assert bench.relay.read_back()


def test_an_unplugged_mat_gives_no_heat_with_its_contact_closed() -> None:
    """The relay does all it should, the wall stays cold."""
    bench = Bench(Fault(0.0, None, FaultKind.MAT_UNPLUGGED, "oak"))
    bench.relay.drive(True)
    assert bench.relay.contact_closed
    assert bench.risen_k() == pytest.approx(0.0, abs=1e-9)


def test_a_mat_of_other_power_warms_in_proportion() -> None:
    """The network is linear: half the watts, half the rise."""
    whole, half = Bench(), Bench(Fault(0.0, None, FaultKind.MAT_POWER, "oak", 0.5))
    whole.relay.drive(True)
    half.relay.drive(True)
    assert half.risen_k() == pytest.approx(whole.risen_k() / 2.0, rel=1e-9)


def test_a_lifted_lid_cools_the_air_faster_and_the_lid_back_on_stops_that() -> None:
    """More of the room comes in while the lid is off: the air settles nearer to the room."""
    bench = Bench(Fault(50000.0, 100000.0, FaultKind.LID_OFF, "oak", 5.0))
    bench.relay.drive(True)
    closed_c, open_c, again_c = (bench.read_at(t_s) for t_s in (49999.0, 99999.0, 150000.0))
    assert open_c < closed_c - 3.0
    assert again_c == pytest.approx(closed_c, abs=0.2)


def test_mending_takes_away_all_of_a_kind_from_one_subject_now_and_to_come() -> None:
    """Other kinds and other subjects keep theirs."""
    dead, late = (Fault(t_s, None, FaultKind.PROBE_DEAD, "oak-air") for t_s in (0.0, 500.0))
    bench = Bench(dead, late, Fault(0.0, None, FaultKind.ROOM_OFFSET, ROOM, 1.0))
    assert bench.shelf.mend("oak-air", FaultKind.PROBE_DEAD) == 2
    bench.read_at(600.0)
    assert [fault.kind for fault in bench.shelf.active_faults()] == [FaultKind.ROOM_OFFSET]
    assert bench.shelf.mend("oak-air", FaultKind.PROBE_DEAD) == 0


def test_a_fault_can_be_injected_for_later() -> None:
    """Its time is shelf time, and it may lie ahead."""
    bench = Bench()
    bench.read_at(1000.0)
    bench.shelf.inject(Fault(1010.0, 1020.0, FaultKind.PROBE_OFFSET, "oak-air", 1.0))
    assert [bench.read_at(t_s) for t_s in (1009.0, 1010.0, 1020.0)] == [20.0, 21.0, 20.0]


def test_a_fault_on_a_probe_nobody_has_is_told() -> None:
    """A misspelt probe would be a test of nothing: the shelf can name it once all probes are there."""
    bench = Bench(on_probe(FaultKind.PROBE_DEAD), Fault(0.0, None, FaultKind.PROBE_DEAD, "oak-iar"))
    assert bench.shelf.strangers() == ("oak-iar",)


@pytest.mark.parametrize(
    ("at_s", "until_s", "kind", "subject", "amount", "says"),
    [
        (10.0, 10.0, FaultKind.PROBE_DEAD, "x", 0.0, "ends at 10.0 s"),
        (math.nan, None, FaultKind.PROBE_DEAD, "x", 0.0, "starts at nan s"),
        (0.0, None, FaultKind.PROBE_OFFSET, "x", math.inf, "amount is inf"),
        (0.0, None, FaultKind.PROBE_DEAD, "x", 1.0, "this kind takes none"),
        (0.0, None, FaultKind.MAT_POWER, "oak", -1.0, "expected 0 or more"),
        (0.0, None, FaultKind.ROOM_OFFSET, "oak", 1.0, "of no other kind, is 'room'"),
        (0.0, None, FaultKind.LID_OFF, ROOM, 1.0, "of no other kind, is 'room'"),
    ],
)
def test_a_fault_that_makes_no_sense_is_refused(
    at_s: float, until_s: float | None, kind: FaultKind, subject: str, amount: float, says: str
) -> None:
    """The error names the fault, what it was given and what was expected."""
    with pytest.raises(DriverError, match=says) as caught:
        Fault(at_s, until_s, kind, subject, amount)
    assert str(caught.value).startswith(f"fault {kind} on {subject}: ")


@pytest.mark.parametrize(("place", "reads_c"), [(ROOM, 20.0), ("alder/air", 20.0), ("oak/substrate", None)])
def test_a_probe_elsewhere_reads_what_it_lies_at(place: str, reads_c: float | None) -> None:
    """Fallen off the wall it tells the room, in another tub that tub; back in its place it tells its own again."""
    bench = Bench(Fault(600.0, 1200.0, FaultKind.PROBE_ELSEWHERE, "oak-air", place=place))
    bench.relay.drive(True)
    own_c = bench.read_at(599.0)
    there_c = bench.read_at(700.0)
    truth = bench.shelf.temperatures_c("oak")
    assert there_c == pytest.approx(truth.substrate_c if reads_c is None else reads_c, abs=0.04)
    assert there_c < own_c < bench.read_at(1200.0)


def test_a_covered_mat_makes_a_hotter_wall_and_a_cooler_air() -> None:
    """A cushion before it keeps the same watts at the wall."""
    bare, covered = Bench(), Bench(Fault(0.0, None, FaultKind.MAT_COVERED, "oak", 0.3))
    for bench in (bare, covered):
        bench.relay.drive(True)
        bench.clock.jump(3600.0)
    bare_c, covered_c = bare.shelf.temperatures_c("oak"), covered.shelf.temperatures_c("oak")
    assert covered_c.wall_c > bare_c.wall_c + 3.0
    assert covered_c.air_c < bare_c.air_c


@pytest.mark.parametrize(
    ("kind", "place", "says"),
    [
        (FaultKind.PROBE_ELSEWHERE, "", "expected 'room' or a tub's"),
        (FaultKind.PROBE_ELSEWHERE, "alder", "expected 'room' or a tub's"),
        (FaultKind.PROBE_DEAD, "alder/air", "this kind takes none"),
    ],
)
def test_a_place_belongs_to_a_probe_elsewhere_and_to_no_other_fault(kind: FaultKind, place: str, says: str) -> None:
    """A probe that lies nowhere, or a dead one with a place, is a slip of the pen."""
    with pytest.raises(DriverError, match=says):
        Fault(0.0, None, kind, "oak-air", place=place)
    with pytest.raises(DriverError, match="no simulated tub 'elm'"):
        Bench().shelf.inject(Fault(0.0, None, FaultKind.PROBE_ELSEWHERE, "oak-air", place="elm/air"))
