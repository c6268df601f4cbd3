"""A night made in a child process: what it costs in memory goes with the child, and the daemon waits for nothing of it.

As a program (`python -m matwarden.night_child`) this module is that child: it takes the settings in use from its
parent, not from the file, which somebody may be in the midst of changing. It makes itself the first to be ended when
memory is short, and the last to be given the processor.
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import subprocess
import sys
import threading
from dataclasses import asdict, replace
from pathlib import Path
from zoneinfo import ZoneInfo

from matwarden.clocks import SystemClock
from matwarden.drifts import drifts_of
from matwarden.night import PICTURES, Made, make_night
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import StoreError
from matwarden.sinks.store_sums import sum_up

__all__ = ["NightChild", "NightError", "summed_night"]

# Minutes on the smallest board; beyond this it hangs.
LIMIT_S = 900.0
# A day is summed in seconds; but a record from before there were sums may have hundreds of them. Those are summed bit
# by bit, and no digest waits long for them.
_SUMS_FIRST_S = 120.0
_SUMS_ALONE_S = 600.0
# Worth more to the machine dead than the guard: oom_score_adj in proc(5).
_FIRST_TO_GO = "500"
_FAILED = 1


class NightError(Exception):
    """The child came to nothing. The text says why."""


class NightChild:
    """Makes nights and sums in a child process; one thread may ask it, any may stop it."""

    def __init__(self, limit_s: float = LIMIT_S) -> None:
        self._limit_s = limit_s
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self._stopped = False

    def make(self, settings: Settings, day: str) -> Made:
        """As `make_night`; blocks until the child has done it.

        Raises:
            NightError: it did not, or it was stopped.
            StoreError: there is no record, or it cannot be read.
        """
        made = json.loads(self._done(settings, day))
        return Made(**{**made, "notes": tuple(made["notes"])})

    def sum_up(self, settings: Settings) -> None:
        """Have the days that are over summed up (`sinks.store_sums`), or the oldest ones of very many.

        Blocks until the child has done it.

        Raises:
            NightError: it did not, or it was stopped. What was summed stays so.
            StoreError: the record cannot be read or written.
        """
        self._done(settings, None)

    def _done(self, settings: Settings, day: str | None) -> bytes:
        order = pickle.dumps((settings, day))
        # One thread for the linear algebra nobody asks for: each would reserve memory of its own.
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
        if settings.digest.picture:
            # What the drawing library has found out about the fonts: seconds, on a small board, each night.
            environment["MPLCONFIGDIR"] = str(settings.store.directory / PICTURES / "fonts")
        try:
            with self._lock:
                if self._stopped:
                    raise NightError("the program is ending")
                child = self._child = subprocess.Popen(
                    [sys.executable, "-P", "-m", "matwarden.night_child"],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.PIPE,
                    env=environment,
                )
        except OSError as error:
            raise NightError(f"a program to make it cannot be started: {error.strerror}") from error
        with child:
            try:
                answer, complaint = child.communicate(order, timeout=self._limit_s)
            except subprocess.TimeoutExpired:
                child.kill()
                child.communicate()
                raise NightError(f"it was not made within {self._limit_s / 60:.0f} min") from None
            finally:
                self._child = None
        if child.returncode not in (0, _FAILED) or not answer:
            told = complaint.decode(errors="replace").strip().splitlines()
            raise NightError(f"its program ended with code {child.returncode}: {told[-1] if told else 'no word'}")
        if child.returncode == _FAILED:
            raise StoreError(answer.decode(errors="replace"))
        return answer

    def stop(self) -> None:
        """End what is being made, and make nothing more."""
        with self._lock:
            self._stopped = True
            if (child := self._child) is not None:
                child.kill()


def _main() -> int:
    # A manager may forbid either: then it is made all the same.
    with contextlib.suppress(OSError):
        os.nice(10)
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(_FIRST_TO_GO, encoding="ascii")
    # Only our own parent speaks to us, over a pipe.
    settings, day = pickle.load(sys.stdin.buffer)
    try:
        answer = _summed(settings, _SUMS_ALONE_S) if day is None else asdict(summed_night(settings, day))
    except StoreError as error:
        sys.stdout.buffer.write(str(error).encode())
        return _FAILED
    sys.stdout.buffer.write(json.dumps(answer).encode())
    return 0


def summed_night(settings: Settings, day: str) -> Made:
    """As `make_night`, after the days that are over have been summed up, and commissioned tubs been looked at.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    notes: tuple[str, ...] = ()
    try:
        # First, so that the night is compared with all days before it.
        _summed(settings, _SUMS_FIRST_S)
    except StoreError as error:
        notes = (f"days are not summed up: {error}",)
    seen_s = Recorded(settings.store.directory).last_seen()
    drifts, note = ([], "") if seen_s is None else drifts_of(settings, seen_s)
    made = make_night(settings, day, drifts=drifts)
    return replace(made, notes=(*notes, *([note] if note else []), *made.notes))


def _summed(settings: Settings, for_s: float) -> int:
    clock = SystemClock()
    until_s = clock.now().mono_s + for_s
    about = (ZoneInfo(settings.zone), settings.enclosures, settings.room_probes)
    return sum_up(settings.store.directory, *about, lambda: clock.now().mono_s < until_s)


if __name__ == "__main__":
    sys.exit(_main())
