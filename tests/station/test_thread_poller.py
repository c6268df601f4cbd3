"""The poller with real threads: a probe that hangs costs itself, and nobody else anything."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping

import pytest

from helpers_station import POLL_S, START_WALL_S, Bench, HandProbe, probe, tub
from matwarden.clocks import SimulatedClock
from matwarden.events import Readings
from matwarden.pollers import Capture, ThreadPoller
from matwarden.terms import ProbeTerms, Reason, Role
from matwarden_hardware.ports import Probe, ProbeError, Sample

# Longer than any thread needs to be scheduled on a busy machine; only a failing test waits for it.
_PATIENCE_S = 20.0
_DEADLINE_S = POLL_S / 2


class _HangingProbe:
    """Answers when it is let go; closing it does not end a read."""

    def __init__(self) -> None:
        self.asked = threading.Event()
        self.let_go = threading.Event()
        self.says = Sample(24.0)
        self.reads_n = 0

    def read(self) -> Sample:
        self.reads_n += 1
        self.asked.set()
        self.let_go.wait()
        return self.says

    def close(self) -> None:
        """Does not help."""


class _Rack:
    """Probes on a clock that jumps, of which `hung` hangs in its reads until it is let go."""

    def __init__(self, probes_n: int) -> None:
        self.clock = SimulatedClock(START_WALL_S, 500.0)
        self.wake = threading.Event()
        self.hung = _HangingProbe()
        names = [f"oak-{number}" for number in range(1, probes_n)]
        self.hands = {name: HandProbe(20.0 + number / 10) for number, name in enumerate(names)}
        self.terms = {name: probe(name, Role.AIR) for name in ("oak-hung", *names)}
        self.poller = ThreadPoller({"oak-hung": self.hung, **self.hands}, self.terms, self.clock, self.wake)

    def jump(self, by_s: float) -> None:
        self.clock.wait(self.clock.monotonic_s() + by_s, self.wake)

    def poll(self) -> list[Capture]:
        return self.poller.poll(self.clock.monotonic_s())

    def poll_until(self, enough: Callable[[list[Capture]], bool]) -> list[Capture]:
        """Poll at this instant until there is enough, woken as the station is."""
        captures = self.poll()
        while not enough(captures):
            assert self.wake.wait(_PATIENCE_S), f"only {captures}"
            self.wake.clear()
            captures += self.poll()
        return captures


@pytest.fixture
def rack() -> Iterator[_Rack]:
    started = _Rack(20)
    yield started
    started.hung.let_go.set()
    started.poller.close()


def _of_hands(rack: _Rack) -> Callable[[list[Capture]], bool]:
    return lambda captures: {c.probe for c in captures if c.sample is not None} >= rack.hands.keys()


def test_the_others_lose_no_poll(rack: _Rack) -> None:
    """With one probe hanging, nineteen others deliver at every poll, each what it reads."""
    for _ in range(5):
        captures = rack.poll_until(_of_hands(rack))
        good = {c.probe: c.sample for c in captures if c.sample is not None}
        assert good == {name: hand.says for name, hand in rack.hands.items()}
        assert {c.at_s for c in captures if c.sample is not None} == {rack.clock.monotonic_s()}
        rack.jump(POLL_S)


def test_a_hanging_probe_is_missing_at_its_deadline_and_at_every_poll_after(rack: _Rack) -> None:
    """Not before the deadline; at it, once; then once a poll, each time with how long it has been silent."""
    rack.poll_until(_of_hands(rack))
    rack.jump(_DEADLINE_S - 0.1)
    assert rack.poll() == []
    rack.jump(0.1)
    (missing,) = rack.poll()
    assert (missing.probe, missing.sample) == ("oak-hung", None)
    assert missing.failure == "no answer for 5 s"
    assert rack.poll() == []
    rack.jump(_DEADLINE_S)
    captures = rack.poll_until(_of_hands(rack))
    assert [c.failure for c in captures if c.probe == "oak-hung"] == ["no answer for 10 s"]
    assert rack.hung.asked.wait(_PATIENCE_S)
    assert rack.hung.reads_n == 1


def test_the_poller_says_when_the_deadline_is(rack: _Rack) -> None:
    """The station is to look again at the deadline of the read that is under way, not only at the next poll."""
    assert rack.poller.next_due_s() == 500.0
    rack.poll_until(_of_hands(rack))
    assert rack.poller.next_due_s() == 500.0 + _DEADLINE_S


def test_a_late_answer_is_not_used_and_the_probe_reads_again() -> None:
    """What comes after the deadline is as old as its question and is dropped; the next poll asks anew."""
    rack = _Rack(1)
    rack.poll()
    assert rack.hung.asked.wait(_PATIENCE_S)
    rack.jump(_DEADLINE_S)
    rack.poll()
    rack.wake.clear()
    rack.hung.let_go.set()
    assert rack.wake.wait(_PATIENCE_S)
    assert rack.poll() == []
    rack.hung.says = Sample(25.0)
    rack.jump(_DEADLINE_S)
    captures = rack.poll_until(lambda captures: any(c.probe == "oak-hung" for c in captures))
    (again,) = [c for c in captures if c.probe == "oak-hung"]
    assert again.sample == Sample(25.0)
    assert again.at_s == 500.0 + POLL_S
    rack.poller.close()


def test_an_answer_within_the_deadline_is_used(rack: _Rack) -> None:
    """Slow is not late: an answer just before the deadline counts, with the time of its question."""
    rack.poll_until(_of_hands(rack))
    rack.jump(_DEADLINE_S - 0.1)
    rack.hung.let_go.set()
    (slow,) = rack.poll_until(bool)
    assert slow == Capture("oak-hung", 500.0, Sample(24.0), "")


def test_a_probe_that_raises_anything_is_missing_in_words(rack: _Rack) -> None:
    """A driver's error is that reading's reason, and its thread lives on."""
    rack.hands["oak-1"].says = ProbeError("nothing on the bus answers")
    captures = rack.poll_until(lambda captures: len(captures) == len(rack.hands))
    (failed,) = [c for c in captures if c.sample is None]
    assert failed == Capture("oak-1", 500.0, None, "nothing on the bus answers")
    rack.hands["oak-1"].says = Sample(23.0)
    rack.jump(POLL_S)
    rack.poll_until(_of_hands(rack))


def test_a_station_that_was_held_up_does_not_catch_up_in_a_burst(rack: _Rack) -> None:
    """After a long halt each probe is asked once, and then on the same grid as before."""
    rack.poll_until(_of_hands(rack))
    rack.jump(10.5 * POLL_S)
    captures = rack.poll_until(_of_hands(rack))
    assert len([c for c in captures if c.probe == "oak-1"]) == 1
    assert rack.poller.next_due_s() == 500.0 + 11 * POLL_S


def test_close_does_not_wait_for_a_probe_that_hangs() -> None:
    """Closing goes on past a read that never ends; the probes that can be closed are."""
    rack = _Rack(3)
    rack.poll_until(_of_hands(rack))
    closer = threading.Thread(target=rack.poller.close, daemon=True)
    closer.start()
    closer.join(_PATIENCE_S)
    assert not closer.is_alive()
    assert all(hand.closed for hand in rack.hands.values())
    rack.hung.let_go.set()


def _read_at(bench: Bench, at_s: float) -> set[str]:
    taken = [event.taken for event in bench.told if isinstance(event, Readings) and event.at.mono_s == at_s]
    return {reading.probe for readings in taken for reading in readings}


def test_a_tub_whose_probe_hangs_is_cut_and_its_neighbour_stays_warm() -> None:
    """Through the station: the hanging probe's tub goes blind at its time, the other keeps its heat."""
    hung, wake = _HangingProbe(), threading.Event()
    hung.let_go.set()

    def threaded(probes: dict[str, Probe], terms: Mapping[str, ProbeTerms], clock: SimulatedClock) -> ThreadPoller:
        return ThreadPoller({**probes, "oak-air": hung}, terms, clock, wake)

    bench = Bench(tub("oak"), tub("alder"), poller=threaded)

    def a_poll_later(expected: set[str]) -> None:
        """One poll interval, each cycle of it at an instant at which every probe that can has answered."""
        bench.station.cycle()
        asked_s = bench.clock.monotonic_s()
        while _read_at(bench, asked_s) != expected:
            assert wake.wait(_PATIENCE_S)
            wake.clear()
            bench.station.cycle()
        bench.clock.wait(asked_s + POLL_S, wake)

    for _ in range(20):
        a_poll_later(set(bench.probes))
    assert bench.relays["oak"].level
    hung.let_go.clear()
    for _ in range(8):
        a_poll_later(set(bench.probes) - {"oak-air"})
    hung.let_go.set()
    bench.station.close()
    assert bench.reason("oak") is Reason.BLIND
    assert bench.reason("alder") is Reason.BELOW_SETPOINT
