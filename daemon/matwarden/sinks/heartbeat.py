"""The outgoing heartbeat: an address is asked for now and then, but only while the control loop does its work.

A service elsewhere that is no longer asked calls the keeper: it is the one witness that needs neither this machine nor
this house's network. So the law: no heartbeat without a complete cycle of the control loop within the last moments, in
which every relay did as it was told.

The asking is done by a child process with a deadline; the address goes to it over its standard input, and into no log.
As a program (`python -m matwarden.sinks.heartbeat`) this module is that child.
"""

from __future__ import annotations

import logging
import subprocess
import sys
import threading
from collections.abc import Callable

from matwarden.events import Notice
from matwarden.sinks.heartbeat_terms import HeartbeatTerms
from matwarden.sinks.push_send import address_of
from matwarden.sinks.push_terms import PushTarget
from matwarden.terms import At

__all__ = ["ALIVE_WITHIN_S", "Heartbeat", "ask"]

_log = logging.getLogger(__name__)

# A cycle comes every second at least.
ALIVE_WITHIN_S = 30.0
_LIMIT_S = 30.0
_ANSWER_S = 15.0
_LOOK_S = 1.0
_AGAIN_S = 60.0


def ask(url_file: str) -> str | None:
    """Ask for the address once; blocks for half a minute at most. None, or in one clause why it did not work."""
    try:
        address = address_of(PushTarget("heartbeat", url_file=url_file))
    except ValueError as error:
        return str(error)
    command = [sys.executable, "-P", "-m", "matwarden.sinks.heartbeat"]
    try:
        child = subprocess.run(
            command, input=address, capture_output=True, text=True, errors="replace", timeout=_LIMIT_S, check=False
        )
    except subprocess.TimeoutExpired:
        return f"no answer within {_LIMIT_S:.0f} s"
    except OSError as error:
        return f"the asking program cannot be started: {error.strerror}"
    return None if child.returncode == 0 else child.stdout.strip() or f"it ended with code {child.returncode}"


class Heartbeat:
    """Asks in a thread of its own; `cycle_done` only takes a note.

    Args:
        now: both clocks. on_notice: told when it begins to fail, and when it is back.
        asks: what asks once; the real one unless a test has another.
    """

    def __init__(
        self,
        terms: HeartbeatTerms,
        now: Callable[[], At],
        on_notice: Callable[[Notice], None],
        asks: Callable[[str], str | None] = ask,
    ) -> None:
        self._terms = terms
        self._now = now
        self._on_notice = on_notice
        self._asks = asks
        self._well_s = float("-inf")
        self._due_s = float("-inf")
        self._failing = False
        self._stopping = threading.Event()

    def start(self) -> None:
        """Begin, in a thread that ends with the process."""
        threading.Thread(target=self._run, name="heartbeat", daemon=True).start()

    def stop(self) -> None:
        """No more heartbeats. Waits for nothing."""
        self._stopping.set()

    def cycle_done(self, mono_s: float, in_hand: bool) -> None:
        """A complete control cycle has ended. `in_hand`: every relay did as it was told."""
        if in_hand:
            self._well_s = mono_s

    def step(self) -> float:
        """Do what is due; seconds until there may be more."""
        now = self._now()
        if now.mono_s < self._due_s:
            return self._due_s - now.mono_s
        if now.mono_s - self._well_s > ALIVE_WITHIN_S:
            return _LOOK_S
        error = self._asks(self._terms.url_file)
        if self._stopping.is_set():
            return 0.0
        now = self._now()
        every_s = self._terms.every_s
        self._due_s = now.mono_s + (every_s if error is None else min(every_s, _AGAIN_S))
        if error is not None and not self._failing:
            text = f"The heartbeat did not reach its address: {error}. It is tried again every minute."
            self._on_notice(Notice(now, text, warning=True))
        if error is None and self._failing:
            self._on_notice(Notice(now, "The heartbeat reaches its address again.", warning=False))
        self._failing = error is not None
        return 0.0

    def _run(self) -> None:
        wait_s = 0.0
        while not self._stopping.wait(wait_s):
            try:
                wait_s = self.step()
            except Exception:  # our bug; the thread must outlive it
                _log.exception("heartbeat: internal error")
                wait_s = _AGAIN_S


def _child() -> int:
    """Ask for the address on standard input; what is printed says what went wrong, without the address."""
    from urllib.error import HTTPError, URLError
    from urllib.request import Request, urlopen

    address = sys.stdin.read().strip()
    if not address.startswith(("http://", "https://")):
        print("its address does not begin with http:// or https://")
        return 1
    try:
        with urlopen(Request(address, headers={"User-Agent": "matwarden"}), timeout=_ANSWER_S):
            return 0
    except HTTPError as error:
        error.close()
        print(f"the service answered {error.code}")
    except URLError as error:
        reason = error.reason
        print(getattr(reason, "strerror", None) or type(reason).__name__)
    except Exception as error:  # whatever it is, its text may repeat the address
        print(type(error).__name__)
    return 1


if __name__ == "__main__":
    sys.exit(_child())
