"""Probes on one bus: each conversion holds it, so they must not all be asked at the same moment."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from pathlib import Path

from helpers_station import probe
from matwarden.clocks import SystemClock
from matwarden.pollers import Capture, ThreadPoller
from matwarden.settings import load
from matwarden.terms import Role
from matwarden.wiring import spread_over_bus
from matwarden_hardware.ports import Sample

EXAMPLE = Path(__file__).resolve().parents[2] / "config" / "matwarden.example.toml"
# DS18B20 datasheet: a 12-bit conversion takes up to 750 ms.
CONVERSION_S = 0.75


class _OnBus:
    """A probe whose conversion, a tenth of a real one, holds a bus that it shares."""

    def __init__(self, bus: threading.Lock) -> None:
        self._bus = bus

    def read(self) -> Sample:
        with self._bus:
            time.sleep(CONVERSION_S / 10)
        return Sample(24.0)

    def close(self) -> None:
        """Nothing to release."""


def _missing_n(spread: bool) -> int:
    """How many captures of eight probes on one bus are missing over three polls, all times a tenth of the default."""
    bus = threading.Lock()
    names = [f"probe-{number}" for number in range(8)]
    terms = {name: replace(probe(name, Role.AIR), poll_s=1.0, deadline_s=0.5) for name in names}
    wake, clock = threading.Event(), SystemClock()
    later_s = {name: number / 8 for number, name in enumerate(names)} if spread else None
    poller = ThreadPoller({name: _OnBus(bus) for name in names}, terms, clock, wake, later_s)
    captures: list[Capture] = []
    until_s = clock.now().mono_s + 3.4
    while (now_s := clock.now().mono_s) < until_s:
        captures += poller.poll(now_s)
        clock.wait(min(poller.next_due_s(), until_s), wake)
    poller.close()
    assert len(captures) >= 20
    return sum(capture.sample is None for capture in captures)


def test_probes_asked_one_after_the_other_all_answer_in_time() -> None:
    """Eight on a bus with 0.6 s of conversions and 0.5 s of patience: together some are late, spread none is."""
    assert _missing_n(spread=True) == 0
    assert _missing_n(spread=False) > 0


def test_the_example_asks_its_bus_one_after_the_other() -> None:
    """Seven 1-wire probes, each a conversion after the one before; the others begin at once."""
    settings = load(EXAMPLE)
    later_s = spread_over_bus(settings)
    times_s = sorted(later_s.values())
    assert len(times_s) == 7
    assert all(after - before >= CONVERSION_S for before, after in zip(times_s, times_s[1:], strict=False))
    assert times_s[-1] < 10.0
    assert set(later_s).isdisjoint({"room", "rowan-air"})
