"""The only place of the daemon that reads a clock: the machine's, or a simulated one that jumps.

Control runs on the monotonic time; the wall time is a label for people. A simulated wall clock can be stepped, as the
real one is by a time server, without the monotonic time noticing.
"""

from __future__ import annotations

import threading
import time
from typing import Protocol

from matwarden.terms import At

__all__ = ["Clock", "SimulatedClock", "SystemClock"]


class Clock(Protocol):
    """Both times, and a way to wait."""

    def now(self) -> At:
        """This instant."""

    def wait(self, until_s: float, wake: threading.Event) -> None:
        """Return at monotonic time `until_s`, or as soon as `wake` is set (it is cleared on the way out)."""


class SystemClock:
    """The machine's clocks."""

    def now(self) -> At:
        return At(time.monotonic(), time.time())

    def wait(self, until_s: float, wake: threading.Event) -> None:
        wake.wait(max(0.0, until_s - time.monotonic()))
        wake.clear()


class SimulatedClock:
    """A clock that stands still until somebody waits, and then jumps.

    Args:
        wall_s: UTC seconds since 1970 at the start; monotonic time starts at `mono_s`.
    """

    def __init__(self, wall_s: float, mono_s: float = 0.0) -> None:
        self._mono_s = mono_s
        self._ahead_s = wall_s - mono_s

    def now(self) -> At:
        return At(self._mono_s, self._mono_s + self._ahead_s)

    def monotonic_s(self) -> float:
        return self._mono_s

    def wait(self, until_s: float, wake: threading.Event) -> None:
        wake.clear()
        if until_s > self._mono_s:
            self._mono_s = until_s

    def step_wall(self, by_s: float) -> None:
        """Set the wall clock forward (or back), as a time server or a person would."""
        self._ahead_s += by_s
