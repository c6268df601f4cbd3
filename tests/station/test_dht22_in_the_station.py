"""The running station over a DHT22 in its child process: what a child that hangs for ever costs."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from pathlib import Path

from helpers_dht22 import PATIENCE_S, gone, rigged
from helpers_station import POLL_S, Bench, tub
from matwarden.clocks import SimulatedClock
from matwarden.events import Readings, Refused
from matwarden.pollers import ThreadPoller
from matwarden.terms import ProbeTerms, Reason
from matwarden_hardware.ports import Probe

# 24.0 degrees and 65.2 % in the AM2302's frame.
MILD = "frame 028c00f07e"


def test_a_child_that_hangs_for_ever_costs_one_reading_and_no_heat(tmp_path: Path) -> None:
    """One reading is missing, the next poll has a value again, and the mat keeps its power through it."""
    with rigged(tmp_path, *[MILD] * 25, "hang", *[MILD] * 5) as rig:
        wake = threading.Event()

        def threaded(probes: dict[str, Probe], terms: Mapping[str, ProbeTerms], clock: SimulatedClock) -> ThreadPoller:
            return ThreadPoller({**probes, "oak-air": rig.probe}, terms, clock, wake)

        bench = Bench(tub("oak"), poller=threaded)

        def a_poll_later() -> str:
            """One poll; why it gave no reading of the DHT22, or nothing."""
            asked_s = rig.clock_s = bench.clock.monotonic_s()
            bench.station.cycle()
            while True:
                said = [event for event in bench.told if getattr(event, "at", None) and event.at.mono_s == asked_s]
                refused = [e for e in said if isinstance(e, Refused) and e.probe == "oak-air"]
                taken = [r.probe for e in said if isinstance(e, Readings) for r in e.taken]
                if (refused or "oak-air" in taken) and "oak-wall" in taken:
                    bench.clock.wait(asked_s + POLL_S, wake)
                    return refused[0].why if refused else ""
                assert wake.wait(PATIENCE_S)
                wake.clear()
                bench.station.cycle()

        before = [a_poll_later() for _ in range(25)]
        allowed_before = bench.relays["oak"].level
        rig.probe._deadline_s = 0.3
        at_the_hang = a_poll_later()
        allowed_then = bench.relays["oak"].level
        rig.probe._deadline_s = PATIENCE_S
        after = [a_poll_later() for _ in range(5)]
        bench.station.close()
    assert set(before) | set(after) == {""}
    assert "no answer within 0.3 s" in at_the_hang
    assert (allowed_before, allowed_then) == (True, True)
    assert bench.reason("oak") is Reason.BELOW_SETPOINT
    assert gone(rig.pids()[0])
