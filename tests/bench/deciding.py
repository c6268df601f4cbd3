"""What a decision costs: verdicts a second, a simulated year, how soon a hot reading cuts, one hung probe."""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from bench.running import environment
from bench.table import Row
from helpers_station import Bench, HandProbe, mat_with, probe, tub
from matwarden.clocks import SystemClock
from matwarden.core.guard import Observation, limits_of, start, step
from matwarden.pollers import ThreadPoller
from matwarden.service import SWITCH_S
from matwarden.terms import Enclosure, Quality, Role, Seen
from matwarden_hardware.ports import Probe, ProbeError, Sample

_WARM_C, _HOT_C = 23.0, 29.0


def verdicts(count: int = 300_000) -> list[Row]:
    """The real guard, a reading that moves each time; and a loop that only copies a tuple."""
    oak = tub()
    assert oak.mat is not None
    limits = limits_of(oak, oak.mat)
    memory = start(0.0)
    seen = [Seen(Quality.GOOD, 22.0 + (k % 40) / 10, 0.0, 5, "") for k in range(40)]
    observations = [
        Observation(float(k), (one._replace(taken_s=float(k)),), (one._replace(taken_s=float(k)),), (), True)
        for k, one in zip(range(40), seen, strict=True)
    ]
    began_s = time.perf_counter()
    for k in range(count):
        memory, _ = step(memory, observations[k % 40], limits)
    took_s = time.perf_counter() - began_s
    began_s = time.perf_counter()
    for k in range(count):
        memory = memory._replace(since_s=float(k))
    bare_s = time.perf_counter() - began_s
    rate = count / took_s
    return [
        Row(
            "verdicts",
            f"{rate:,.0f} steps a second",
            f"copying its memory alone {count / bare_s:,.0f} a second",
            "300,000 a second",
            rate >= 300_000,
        )
    ]


def year(days: float = 20.0) -> list[Row]:
    """Twin and guard at steps of 10 s, so many days, taken up to a year."""
    from matwarden_hardware.twin.physics import TubPhysics

    oak = tub()
    assert oak.mat is not None
    limits, memory, network = limits_of(oak, oak.mat), start(0.0), TubPhysics().network()
    nodes, allowed, steps = (20.0, 20.0, 20.0), False, round(days * 8640)
    began_s = time.perf_counter()
    for k in range(steps):
        nodes = network.advance(nodes, 10.0, 18.0, 7.0 if allowed else 0.0)  # type: ignore[assignment]
        now_s = 10.0 * k
        wall = Seen(Quality.GOOD, nodes[0], now_s, 5, "")
        air = Seen(Quality.GOOD, nodes[1], now_s, 5, "")
        memory, verdict = step(memory, Observation(now_s, (wall,), (air,), (), True), limits)
        allowed = verdict.allowed
    took_s = (time.perf_counter() - began_s) * 365.25 / days
    return [Row("a tub's year of twin and guard", f"{took_s:.1f} s (from {days:g} days)", "–", "20 s", took_s <= 20.0)]


def latency(tubs: int = 10, rounds: int = 40) -> list[Row]:
    """From a hot reading in the station's hands to its relay's cut, alone, with busy threads, with a digest's child."""
    rows = []
    for what, busy, budget_ms in (
        ("cut latency", _nothing, None),
        ("cut latency, two busy threads in the process", _busy_threads, 1.0),
        ("cut latency, another process as busy as a digest's", _busy_child, 50.0),
    ):
        before_s = sys.getswitchinterval()
        sys.setswitchinterval(SWITCH_S)  # as the daemon does
        with busy():
            took_ms = sorted(_cuts(tubs, rounds))
        sys.setswitchinterval(before_s)
        p50, p99 = statistics.median(took_ms), took_ms[int(0.99 * (len(took_ms) - 1))]
        budget = "–" if budget_ms is None else f"p99 {budget_ms:g} ms"
        met = None if budget_ms is None else p99 <= budget_ms
        rows.append(
            Row(
                what,
                f"p50 {p50:.2f} ms, p99 {p99:.2f} ms ({len(took_ms)} cuts, the last of {tubs} tubs included)",
                "–",
                budget,
                met,
            )
        )
    return rows


def _cuts(tubs: int, rounds: int) -> list[float]:
    enclosures: list[Enclosure] = [tub(f"tub-{n}", mat=mat_with(minimum_off_s=10.0, prove_n=1)) for n in range(tubs)]
    bench = Bench(*enclosures, start_c=_WARM_C)
    cut_s: dict[str, float] = {}

    def watched(name: str, drive: Callable[[bool], None]) -> Callable[[bool], None]:
        def timed(allow: bool) -> None:
            drive(allow)
            if not allow:
                cut_s.setdefault(name, time.perf_counter())

        return timed

    for name, relay in bench.relays.items():
        setattr(relay, "drive", watched(name, relay.drive))  # noqa: B010 - an instance's own, on purpose
    took = []
    for _ in range(rounds):
        bench.set(**{name.replace("-", "_"): _WARM_C for name in bench.probes})
        bench.run(60.0)
        bench.warm_up()
        bench.set(**{name.replace("-", "_"): _HOT_C for name in bench.probes})
        due_s = bench.station._poller.next_due_s()
        while bench.clock.monotonic_s() < due_s:
            bench.cycle()
        cut_s.clear()
        began_s = time.perf_counter()
        bench.station.cycle()
        took += [(at_s - began_s) * 1000 for at_s in cut_s.values()]
    return took


@contextmanager
def _nothing() -> Iterator[None]:
    yield


@contextmanager
def _busy_threads() -> Iterator[None]:
    """Two threads that never wait, as a sink would while it writes JSON."""
    done = threading.Event()
    document = {str(n): list(range(20)) for n in range(200)}

    def work() -> None:
        while not done.is_set():
            json.loads(json.dumps(document))

    threads = [threading.Thread(target=work, daemon=True) for _ in range(2)]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        done.set()
        for thread in threads:
            thread.join()


@contextmanager
def _busy_child() -> Iterator[None]:
    program = "import os, json\nos.nice(10)\nwhile True: json.loads(json.dumps(list(range(1000))))"
    with subprocess.Popen([sys.executable, "-c", program], env=environment()) as child:
        try:
            yield
        finally:
            child.kill()


class _Hangs:
    """A probe that never answers."""

    def __init__(self) -> None:
        self.let_go = threading.Event()

    def read(self) -> Sample:
        self.let_go.wait()
        raise ProbeError("let go")

    def close(self) -> None:
        self.let_go.set()


def hung(for_s: float = 10.0) -> list[Row]:
    """Twenty probes read every second, one of which hangs."""
    probes: dict[str, Probe] = {f"p{n}": HandProbe(24.0) for n in range(19)}
    probes["hangs"] = _Hangs()
    terms = {name: replace(probe(name, Role.AIR), poll_s=1.0, deadline_s=0.5, stale_s=3.0) for name in probes}
    clock, wake = SystemClock(), threading.Event()
    poller = ThreadPoller(probes, terms, clock, wake)
    good: Counter[str] = Counter()
    end_s = clock.now().mono_s + for_s
    while clock.now().mono_s < end_s:
        for capture in poller.poll(clock.now().mono_s):
            good[capture.probe] += capture.sample is not None
        wake.wait(0.05)
        wake.clear()
    poller.close()
    due = round(for_s)
    lost = sum(max(0, due - good[name]) for name in probes if name != "hangs")
    return [Row("one hung probe among 20", f"{lost} of {19 * due} polls of the others lost", "–", "none", lost == 0)]
