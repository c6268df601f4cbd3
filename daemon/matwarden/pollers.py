"""Taking captures: each probe at its own interval, with a deadline, without one probe ever waiting for another.

`ThreadPoller` gives every probe a thread of its own, because a read that hangs inside a driver cannot be interrupted:
its probe is then reported missing at each deadline, and everybody else goes on. `InlinePoller` reads in place, for a
simulated clock.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Mapping
from typing import NamedTuple, Protocol

from matwarden.clocks import Clock
from matwarden.terms import ProbeTerms
from matwarden_hardware.ports import Probe, Sample

__all__ = ["Capture", "InlinePoller", "Poller", "ThreadPoller"]


class Capture(NamedTuple):
    """The outcome of one read: a sample, or why there is none."""

    probe: str
    at_s: float
    sample: Sample | None
    failure: str


class Poller(Protocol):
    """Where the station gets its captures."""

    def poll(self, now_s: float) -> list[Capture]:
        """Start what is due, and return what has come in (or has failed to) since the last call."""

    def next_due_s(self) -> float:
        """Monotonic time at which `poll` has something to do at the latest."""

    def close(self) -> None:
        """Stop reading and close every probe."""


class _Grid:
    """When a probe is due: on a fixed grid, so that a late poll does not push the later ones along."""

    def __init__(self, every_s: float, start_s: float) -> None:
        self.every_s = every_s
        self.due_s = start_s

    def advance(self, now_s: float) -> None:
        self.due_s += self.every_s
        if self.due_s <= now_s:  # more than one interval late: skip, never catch up in a burst
            self.due_s = now_s + self.every_s - (now_s - self.due_s) % self.every_s


class InlinePoller:
    """Reads each due probe in the caller's thread."""

    def __init__(self, probes: Mapping[str, Probe], terms: Mapping[str, ProbeTerms], start_s: float) -> None:
        self._probes = [(name, probe, _Grid(terms[name].poll_s, start_s)) for name, probe in probes.items()]
        self._next_s = start_s

    def poll(self, now_s: float) -> list[Capture]:
        if now_s < self._next_s:
            return []
        captures = []
        next_s = float("inf")
        for name, probe, grid in self._probes:
            if grid.due_s <= now_s:
                grid.advance(now_s)
                captures.append(_read(name, probe, now_s))
            next_s = min(next_s, grid.due_s)
        self._next_s = next_s
        return captures

    def next_due_s(self) -> float:
        return self._next_s

    def close(self) -> None:
        for _, probe, _ in self._probes:
            probe.close()


class ThreadPoller:
    """Reads each probe in a thread of its own.

    Args:
        wake: set whenever a capture has come in, so that the station judges it at once.
        begin_after_s: by probe id, how much later its polls begin than the others'; left out: not later. Probes that
            queue on one bus would all be asked at once otherwise, and the last ones answer after their deadline.
    """

    def __init__(
        self,
        probes: Mapping[str, Probe],
        terms: Mapping[str, ProbeTerms],
        clock: Clock,
        wake: threading.Event,
        begin_after_s: Mapping[str, float] | None = None,
    ) -> None:
        start_s = clock.now().mono_s
        later_s = begin_after_s or {}
        self._done: deque[Capture] = deque()
        self._readers = [
            _Reader(name, probe, terms[name], start_s + later_s.get(name, 0.0), clock, self._done, wake)
            for name, probe in probes.items()
        ]

    def poll(self, now_s: float) -> list[Capture]:
        captures = []
        while self._done:
            captures.append(self._done.popleft())
        for reader in self._readers:
            late = reader.attend(now_s)
            if late is not None:
                captures.append(late)
        return captures

    def next_due_s(self) -> float:
        return min((reader.next_s for reader in self._readers), default=float("inf"))

    def close(self) -> None:
        for reader in self._readers:
            reader.stop()
        for reader in self._readers:
            reader.join()


class _Reader:
    """One probe and its thread. Only `_run` touches the probe while the thread lives."""

    def __init__(
        self,
        name: str,
        probe: Probe,
        terms: ProbeTerms,
        start_s: float,
        clock: Clock,
        done: deque[Capture],
        wake: threading.Event,
    ) -> None:
        self._name = name
        self._probe = probe
        self._deadline_s = terms.deadline_s
        self._grid = _Grid(terms.poll_s, start_s)
        self._clock = clock
        self._done = done
        self._wake = wake
        self._go = threading.Event()
        self._idle = threading.Event()
        self._idle.set()
        self._stopping = False
        self._asked_s = start_s
        self._overdue = False
        self._thread = threading.Thread(target=self._run, name=f"probe {name}", daemon=True)
        self._thread.start()

    @property
    def next_s(self) -> float:
        if self._idle.is_set() or self._overdue:
            return self._grid.due_s
        return min(self._grid.due_s, self._asked_s + self._deadline_s)

    def attend(self, now_s: float) -> Capture | None:
        """Ask for a capture when one is due; say so when the last one is overdue."""
        if not self._idle.is_set():
            waited_s = now_s - self._asked_s
            due = now_s >= self._grid.due_s
            if due:
                self._grid.advance(now_s)
            if waited_s >= self._deadline_s and (due or not self._overdue):
                self._overdue = True
                return Capture(self._name, now_s, None, f"no answer for {waited_s:.0f} s")
            return None
        self._overdue = False
        if now_s >= self._grid.due_s:
            self._grid.advance(now_s)
            self._asked_s = now_s
            self._idle.clear()
            self._go.set()
        return None

    def _run(self) -> None:
        while True:
            self._go.wait()
            self._go.clear()
            if self._stopping:
                return
            capture = _read(self._name, self._probe, self._asked_s)
            took_s = self._clock.now().mono_s - self._asked_s
            # Ready first: whoever has the answer may ask again at once.
            self._idle.set()
            # An answer after the deadline was already counted as missing; its value is as old as the question.
            if took_s < self._deadline_s:
                self._done.append(capture)
            self._wake.set()

    def stop(self) -> None:
        self._stopping = True
        self._go.set()
        # A driver may let go of a hanging read when it is closed; if it does not, the thread ends with the process.
        self._probe.close()

    def join(self) -> None:
        # Short, because there may be many that hang: such a thread ends with the process.
        self._thread.join(timeout=0.05)


def _read(name: str, probe: Probe, at_s: float) -> Capture:
    try:
        sample = probe.read()
    except Exception as error:  # a driver's library may raise anything; whatever it is, this reading is missing
        return Capture(name, at_s, None, str(error) or type(error).__name__)
    return Capture(name, at_s, sample, "")
