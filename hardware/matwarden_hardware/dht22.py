"""A DHT22 (AM2302) on a GPIO pin, read through adafruit-circuitpython-dht in a child process of its own.

Law: one reading is lost to whatever happens to the child, and no more than that. Each answer has a deadline, at which
the child is killed together with all that it started; a new one is started at once, and from then on with growing
pauses as long as none gives an answer. An answer belongs to its own question: no earlier value is ever returned.

The library itself is never imported here: see `dht22_child` for what it does to a process.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from math import isfinite
from typing import Any, TypeGuard

from matwarden_hardware.ports import DriverError, ProbeError, Sample

__all__ = ["Dht22Probe"]

# Between two captures the part must rest for 2 s (AM2302 datasheet, from memory); with room for a late child.
INTERVAL_S = 2.5
# A capture takes 0.35 s. Together with the interval less than the shortest poll (5 s): a hung child costs one reading.
DEADLINE_S = 2.0
# Importing the library on a slow, busy board. Readings are refused meanwhile, each at its own deadline.
START_S = 30.0
# Pauses before a new child after the first, second ... one lost in a row.
PAUSES_S = (0.0, 5.0, 10.0, 20.0, 40.0, 60.0)
# More than any line of the protocol.
_LINE_BYTES = 4096


class Dht22Probe:
    """The DHT22 on a pin of the Pi's header.

    Args:
        pin: BCM number, 0 to 27.
        use_pulseio: the library's way to time pulses: True, a compiled helper process; False, from Python. Reports
            conflict about which works on which board, so it is for the keeper to try.
        command: how to start the child; for tests.
        interval_s: a capture asked for earlier than this after the last is refused, not delayed.
        deadline_s: a capture that takes longer is given up, and its child killed.
        monotonic_s: the clock of interval and pauses. (Deadlines of real processes are always in real time.)

    The child is started here and opens the pin: a pin or probe that cannot be used refuses readings. It holds about
    20 MB. Close may be called from another thread, and ends a read that is under way.

    Raises:
        DriverError: the library is not installed.
    """

    def __init__(
        self,
        pin: int,
        use_pulseio: bool = True,
        *,
        command: Sequence[str] | None = None,
        interval_s: float = INTERVAL_S,
        deadline_s: float = DEADLINE_S,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._label = f"probe DHT22 on GPIO {pin}"
        if command is None:
            if importlib.util.find_spec("adafruit_dht") is None:
                raise DriverError(
                    f"{self._label}: its library is missing; install it with: pip install 'matwarden[dht]'"
                )
            backend = "pulseio" if use_pulseio else "bitbang"
            command = (sys.executable, "-P", "-m", "matwarden_hardware.dht22_child", str(pin), backend)
        self._command = command
        self._interval_s = interval_s
        self._deadline_s = deadline_s
        self._monotonic_s = monotonic_s
        self._reading = threading.Lock()
        self._swapping = threading.Lock()
        self._closed = False
        self._child: _Child | None = None
        self._failed_n = 0  # children lost since the last answer
        self._why = ""
        self._start_at_s = float("-inf")
        self._ask_at_s = float("-inf")
        self._n = 0
        self._start_when_due()

    def read(self) -> Sample:
        """One capture, as the probe sent it: also what cannot be, such as exactly 0 degrees and 0 %.

        Raises:
            ProbeError: no answer, a broken one, asked too soon, or the child died, hung or is not there yet.
        """
        with self._reading:
            until_s = time.monotonic() + self._deadline_s
            now_s = self._monotonic_s()
            if now_s < self._ask_at_s:
                raise self._refusal(f"asked too soon; it must rest for {self._ask_at_s - now_s:.1f} s more")
            if self._child is not None and self._child.is_gone():
                self._drop(self._child, "its reader died")
            self._start_when_due()
            child = self._child
            if child is None:
                wait_s = max(0.0, self._start_at_s - now_s)
                raise self._refusal(f"{self._why} ({self._failed_n} times in a row; tried again in {wait_s:.0f} s)")
            try:
                return self._ask(child, until_s)
            except _LostError as lost:
                # A capture may just have been under way.
                self._ask_at_s = self._monotonic_s() + self._interval_s
                self._drop(child, str(lost))
                self._start_when_due()
                raise self._refusal(str(lost)) from None

    def close(self) -> None:
        """Kill the child and what it started. Safe to call twice, and from another thread."""
        with self._swapping:
            self._closed = True
            child, self._child = self._child, None
        if child is None:
            return
        child.kill()
        # A read under way sees its child end, and lets go of the pipes.
        if self._reading.acquire(timeout=1.0):
            child.close_pipes()
            self._reading.release()

    def _ask(self, child: _Child, until_s: float) -> Sample:
        if not child.greet(until_s):
            raise self._refusal("its reader is still starting")
        self._n += 1
        self._ask_at_s = self._monotonic_s() + self._interval_s
        child.send(self._n)
        answer = child.line(until_s)
        if answer is None:
            raise _LostError(f"no answer within {self._deadline_s:g} s; its reader was killed")
        if answer.get("n") != self._n:
            raise _LostError("its reader answered what was not asked")
        failed = answer.get("failed")
        if isinstance(failed, str):
            if answer.get("over"):
                raise _LostError(failed)
            self._failed_n = 0
            raise self._refusal(failed)
        temperature_c, humidity_pct = answer.get("temperature_c"), answer.get("humidity_pct")
        if not (_is_number(temperature_c) and _is_number(humidity_pct)):
            raise _LostError("its reader answered without a number")
        self._failed_n = 0
        return Sample(float(temperature_c), float(humidity_pct))

    def _drop(self, child: _Child, why: str) -> None:
        """Done with this child; decide when the next may start: the first at once, more in a row after pauses."""
        child.kill()
        child.close_pipes()
        with self._swapping:
            self._child = None
        self._failed_n += 1
        self._why = why
        self._start_at_s = self._monotonic_s() + PAUSES_S[min(self._failed_n, len(PAUSES_S)) - 1]

    def _start_when_due(self) -> None:
        with self._swapping:
            if self._closed:
                raise self._refusal("it was closed")
            if self._child is None and self._monotonic_s() >= self._start_at_s:
                try:
                    self._child = _Child(self._command)
                except OSError as error:
                    self._start_at_s = self._monotonic_s() + PAUSES_S[1]
                    raise self._refusal(f"its reader cannot be started ({error.strerror})") from None

    def _refusal(self, clause: str) -> ProbeError:
        return ProbeError(f"{self._label}: {clause}")


class _LostError(Exception):
    """This child is of no more use. The text says why, in a clause."""


class _Child:
    """One child process, its pipes, and the message queues it told of."""

    def __init__(self, command: Sequence[str]) -> None:
        # A session of its own: it and the library's helper are one process group, and Ctrl-C is not for them.
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0, start_new_session=True
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._requests, self._answers = self._process.stdin, self._process.stdout
        self._poll = select.poll()
        self._poll.register(self._answers, select.POLLIN)
        self._held = b""
        self._queues: list[int] = []
        self._greeted = False
        self._killing = threading.Lock()
        self._start_until_s = time.monotonic() + START_S

    def is_gone(self) -> bool:
        """Whether it ended, or speaks unasked, since the last answer."""
        return self._greeted and bool(self._held or self._poll.poll(0))

    def greet(self, until_s: float) -> bool:
        """Wait for it to be ready; False when it is not yet, which it may be for a while after its start."""
        if not self._greeted:
            greeting = self.line(until_s)
            if greeting is None:
                if time.monotonic() >= self._start_until_s:
                    raise _LostError(f"its reader did not start within {START_S:.0f} s; it was killed")
                return False
            if isinstance(greeting.get("failed"), str):
                raise _LostError(greeting["failed"])
            queues = greeting.get("ready")
            if not isinstance(queues, list) or not all(type(each) is int for each in queues):
                raise _LostError("its reader began with nonsense")
            self._queues = queues
            self._greeted = True
        return True

    def send(self, n: int) -> None:
        try:
            self._requests.write(b"%d\n" % n)
        except OSError:
            raise _LostError("its reader died") from None

    def line(self, until_s: float) -> dict[str, Any] | None:
        """The next line; None when there is none in time."""
        while b"\n" not in self._held:
            if len(self._held) > _LINE_BYTES:
                raise _LostError("its reader talks without end")
            if not self._poll.poll(max(0.0, until_s - time.monotonic()) * 1000.0):
                return None
            chunk = os.read(self._answers.fileno(), _LINE_BYTES)
            if not chunk:
                raise _LostError("its reader died")
            self._held += chunk
        line, _, self._held = self._held.partition(b"\n")
        try:
            answer = json.loads(line)
        except (ValueError, RecursionError):
            answer = None
        if not isinstance(answer, dict):
            raise _LostError("its reader answered nonsense")
        return answer

    def kill(self) -> None:
        """End it, the library's helper and their queues. Safe to call twice."""
        with self._killing:
            # Before it is waited for: until then its number, which is that of the group, can belong to nobody else.
            if self._process.returncode is None:
                with contextlib.suppress(ProcessLookupError, PermissionError):
                    os.killpg(self._process.pid, signal.SIGKILL)
                with contextlib.suppress(subprocess.TimeoutExpired):
                    self._process.wait(1.0)
        queues, self._queues = self._queues, []
        if queues:
            with contextlib.suppress(ImportError):
                import sysv_ipc

                for each in queues:
                    with contextlib.suppress(sysv_ipc.Error, OSError):
                        sysv_ipc.remove_message_queue(each)

    def close_pipes(self) -> None:
        self._requests.close()
        self._answers.close()


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
