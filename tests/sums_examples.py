"""Shared by the tests of the sums: a small shelf recorded over days, written by the real sink."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from digest_examples import OAK
from matwarden.events import ClockStepped, Readings, Started, VerdictChanged
from matwarden.sinks.store import StoreSink, open_store
from matwarden.terms import At, Enclosure, ProbeTerms, Reading, Reason, Role, Side, Verdict


def probe(number: int, stale_s: float = 180.0) -> ProbeTerms:
    """An air probe of the oak tub."""
    side = (Side.MOIST, Side.DRY)[number % 2]
    return ProbeTerms(f"oak-{number}", Role.AIR, "oak", side, 60.0, 2.0, stale_s, 5.0, 0.0)


def oak(*probes: ProbeTerms) -> Enclosure:
    """The oak tub with these probes."""
    return replace(OAK, probes=probes)


class Recorder:
    """Writes a record as the daemon does; `wall_s` at its start, and monotonic time from zero."""

    def __init__(self, directory: Path, wall_s: float) -> None:
        self._sink = StoreSink(open_store(directory, wall_s, power_safe=False), 300.0)
        self._ahead_s = wall_s
        self._sink.accept([Started(At(0.0, wall_s), "0.1.0")])

    @classmethod
    def over(cls, sink: StoreSink, wall_s: float) -> Recorder:
        """With a sink of the test's own."""
        recorder = cls.__new__(cls)
        recorder._sink, recorder._ahead_s = sink, wall_s
        return recorder

    def at(self, mono_s: float) -> At:
        return At(mono_s, self._ahead_s + mono_s)

    def step(self, mono_s: float, by_s: float) -> None:
        """The wall clock is set."""
        self._ahead_s += by_s
        self._sink.accept([ClockStepped(self.at(mono_s), by_s)])

    def readings(self, times_s: Iterable[float], *celsius: Callable[[float], float]) -> None:
        """At each time a reading of oak-1, oak-2 ... as the functions of time say; NaN: none."""
        for mono_s in times_s:
            now = self.at(mono_s)
            values = [(number, value(mono_s)) for number, value in enumerate(celsius, 1)]
            taken = tuple(Reading(f"oak-{number}", now, value, None) for number, value in values if value == value)
            self._sink.accept([Readings(now, taken)])

    def verdict(self, mono_s: float, allowed: bool, operations: int) -> None:
        reason = Reason.BELOW_SETPOINT if allowed else Reason.WARM_ENOUGH
        self._sink.accept([VerdictChanged(self.at(mono_s), "oak", Verdict(allowed, reason), "oak", operations)])

    def close(self) -> None:
        self._sink.close()
