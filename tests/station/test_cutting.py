"""Heat is cut in the cycle that sees the cause, before anybody is told of it."""

from __future__ import annotations

import pytest

from helpers_station import STALE_S, Bench, mat_with, probe, tub
from matwarden.events import AlarmChanged, Event, VerdictChanged
from matwarden.terms import Enclosure, Reason, Role
from matwarden_hardware.ports import RelayError, Sample


def _quick_tub() -> Enclosure:
    """A tub whose probes may change fast enough to jump from safe to the cut-out between two polls."""
    probes = (
        probe("oak-wall", Role.WALL, max_rate_k_per_min=60.0),
        probe("oak-air", Role.AIR, max_rate_k_per_min=60.0),
        probe("oak-substrate", Role.SUBSTRATE, max_rate_k_per_min=60.0),
    )
    return tub(probes=probes)


class _LineAtTell:
    """Where the relay's line stood at the moment each verdict was told."""

    def __init__(self, *enclosures: Enclosure) -> None:
        self.seen: list[tuple[Reason, bool]] = []
        self.levels: list[bool] = []
        self._armed = False
        self.bench = Bench(*enclosures, on_tell=self._look)
        self._armed = True
        self.bench.warm_up()

    def _look(self, events: list[Event]) -> None:
        if self._armed:
            level = self.bench.relays["oak"].level
            self.levels.append(level)
            self.seen += [(each.verdict.reason, level) for each in events if isinstance(each, VerdictChanged)]


@pytest.mark.parametrize("hot", ["oak_wall", "oak_air", "oak_substrate"])
def test_a_reading_at_the_cut_out_cuts_in_its_own_cycle(hot: str) -> None:
    """Any probe's reading at the cut-out trips, with the line cut before anything is told."""
    watch = _LineAtTell(_quick_tub())
    watch.bench.set(**{hot: 30.0})
    watch.levels.clear()
    watch.bench.poll()
    assert watch.levels
    assert not any(watch.levels), "something was told, be it the reading, before the line was cut"
    assert watch.seen[-1] == (Reason.CUT_OUT, False)


def test_just_under_the_limits_heat_stays() -> None:
    """A wall just under the limiter takes no heat away: what cuts is the limit, not the jump."""
    watch = _LineAtTell(_quick_tub())
    watch.bench.set(oak_wall=28.4375)
    watch.bench.poll()
    assert watch.bench.relays["oak"].level


def test_the_limiter_lets_go_only_below_its_differential() -> None:
    """A wall that hangs an hour between limiter and limiter less differential gets no heat; a little under, it does."""
    bench = _LineAtTell(_quick_tub()).bench
    bench.set(oak_wall=28.5)
    bench.poll()
    assert bench.reason() is Reason.LIMITER
    bench.set(oak_wall=27.5)
    bench.run(3600.0)
    assert bench.reason() is Reason.LIMITER
    bench.set(oak_wall=27.4375)
    bench.poll()
    assert bench.relays["oak"].level


def test_a_doubtful_reading_at_the_limiter_cuts_in_its_own_cycle() -> None:
    """A jump too fast to be believed cuts at once when it claims the limiter, minimum on time or not."""
    watch = _LineAtTell(tub(mat=mat_with(minimum_on_s=600.0)))
    watch.bench.set(oak_wall=28.5)
    watch.bench.poll()
    assert watch.seen[-1] == (Reason.DOUBTFUL_HEAT, False)


def test_a_doubtful_reading_below_the_limiter_is_not_heat() -> None:
    """A doubtful value under the limiter takes the place of the reading: the tub is blind, and cut for that."""
    watch = _LineAtTell()
    watch.bench.set(oak_wall=27.0)
    watch.bench.poll()
    assert watch.seen[-1] == (Reason.BLIND, False)


@pytest.mark.parametrize("silent", ["oak_wall", "oak_air"])
def test_silence_for_the_stale_time_cuts_without_any_reading(silent: str) -> None:
    """The first cycle that finds the last good reading too old cuts: not one before, none later."""
    watch = _LineAtTell()
    bench = watch.bench
    bench.poll()
    last_good_s = bench.station.last_at.mono_s
    bench.set(**{silent: None})
    while bench.relays["oak"].level:
        bench.cycle()
    assert STALE_S < bench.station.last_at.mono_s - last_good_s <= STALE_S + 1.0
    assert watch.seen[-1] == (Reason.BLIND, False)


def test_two_false_read_backs_running_are_a_latched_relay_fault() -> None:
    """One disagreement is forgiven, the second latches a fault that the right read-back does not end."""
    watch = _LineAtTell()
    bench = watch.bench
    bench.relays["oak"].lies = True
    bench.cycle()
    assert bench.reason() is Reason.BELOW_SETPOINT
    bench.cycle()
    assert watch.seen[-1] == (Reason.RELAY_FAULT, False)
    bench.relays["oak"].lies = False
    bench.run(3600.0)
    assert watch.seen[-1] == (Reason.RELAY_FAULT, False)
    assert not bench.relays["oak"].level


def test_a_single_false_read_back_costs_nothing() -> None:
    """One disagreement with agreement on both sides leaves the heat on."""
    bench = _LineAtTell().bench
    bench.relays["oak"].lies = True
    bench.cycle()
    bench.relays["oak"].lies = False
    bench.run(120.0)
    assert bench.relays["oak"].level


def test_a_relay_that_raises_ends_as_a_relay_fault_in_words() -> None:
    """A line that can be neither driven nor read is a fault that is told, not an error that ends the loop."""
    bench = _LineAtTell().bench

    def refuse(allow: bool) -> None:
        raise RelayError("the line did not take the level")

    bench.relays["oak"].drive = refuse  # type: ignore[method-assign]
    bench.set(oak_wall=26.0, oak_air=26.0)
    bench.run(60.0)
    assert bench.reason() is Reason.RELAY_FAULT
    assert "relay-fault/oak" in {e.alarm for e in bench.told if isinstance(e, AlarmChanged)}


def test_an_error_in_the_loop_cuts_every_relay() -> None:
    """Whatever ends the loop, the relays are cut on the way out."""
    bench = _LineAtTell().bench

    def break_down() -> None:
        raise RuntimeError("a bug")

    with pytest.raises(RuntimeError):
        bench.station.run(break_down)
    assert not bench.relays["oak"].level


@pytest.mark.parametrize(
    "sample",
    [
        Sample(float("nan")),
        Sample(float("inf")),
        Sample(-127.0),
        Sample(0.0, 0.0),
        Sample(85.0, None, at_power_on_value=True),
        Sample(999.9),
    ],
    ids=str,
)
def test_an_impossible_value_is_no_temperature(sample: Sample) -> None:
    """What cannot be a temperature trips nothing, starts no heat and stops none: the last good reading stands."""
    bench = _LineAtTell().bench
    bench.probes["oak-air"].says = sample
    bench.run(STALE_S - 11.0)
    assert bench.relays["oak"].level
    assert bench.reason() is Reason.BELOW_SETPOINT
    bench.run(20.0)
    assert bench.reason() is Reason.BLIND
