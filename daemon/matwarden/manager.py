"""Telling the service manager: ready, alive, stopping. One datagram a message, no library.

The protocol is that of sd_notify(3) and sd_watchdog_enabled(3): lines `KEY=VALUE` to the Unix datagram socket named in
`$NOTIFY_SOCKET` (a leading `@` is the abstract name space); the manager wants `WATCHDOG=1` at least every half of
`$WATCHDOG_USEC`, if `$WATCHDOG_PID` is this process or not set. Without a socket all of this does nothing.

Law: `WATCHDOG=1` is sent only by `cycle_done`, which the control loop calls at the end of a complete cycle. A loop that
hangs, whatever hangs in it, is silent, and the manager ends the process and cuts the relays.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Mapping

__all__ = ["READY_WITHIN_S", "Manager", "address_of", "manager_of", "watchdog_s"]

# A probe may be given minutes to answer: the guard does its work meanwhile, and the manager need not wait for it.
READY_WITHIN_S = 30.0

# A ping is due after this part of the watchdog's time: half is asked for, and the next cycle may be a little late.
_PING_PART = 0.25


class Manager:
    """What is sent, and when. Pure but for `send`.

    Args:
        send: takes one datagram and tells whether it went; never blocks. None: there is nobody to tell.
        watchdog_s: seconds after which a silent program is ended; None when nobody watches.
        started_s: monotonic seconds at the start.
    """

    def __init__(self, send: Callable[[bytes], bool] | None, watchdog_s: float | None, started_s: float) -> None:
        self._send = send
        self._watched = watchdog_s is not None
        self._every_s = READY_WITHIN_S if watchdog_s is None else watchdog_s * _PING_PART
        self._told_s = float("-inf")
        self._started_s = started_s
        self._ready = False
        self._status = ""

    def cycle_done(self, now_s: float, all_heard: bool, status: Callable[[], str]) -> None:
        """A complete cycle has ended at `now_s`: every relay is as it should be.

        Args:
            all_heard: every probe has answered once, or missed its deadline once.
            status: one line about everything, asked for only when something is sent.
        """
        if self._send is None:
            return
        becomes_ready = not self._ready and (all_heard or now_s - self._started_s >= READY_WITHIN_S)
        if not becomes_ready and now_s - self._told_s < self._every_s:
            return
        lines = ["READY=1"] if becomes_ready else []
        if self._watched:
            lines.append("WATCHDOG=1")
        text = " ".join(status().split())
        if text != self._status:
            lines.append(f"STATUS={text}")
        if lines and not self._send("\n".join(lines).encode()):
            return
        self._ready = self._ready or becomes_ready
        self._told_s, self._status = now_s, text

    def stopping(self, why: str) -> None:
        """The end has begun."""
        if self._send is not None:
            self._send(f"STOPPING=1\nSTATUS={' '.join(why.split())}".encode())


def manager_of(environment: Mapping[str, str], pid: int, started_s: float) -> Manager:
    """The manager this process was started by; one that does nothing when there is none."""
    address = address_of(environment)
    if address is None:
        return Manager(None, None, started_s)

    def send(message: bytes) -> bool:
        # A manager that is gone or busy is not worth a moment of the guard's: the next cycle tries again.
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as wire:
                wire.setblocking(False)
                wire.sendto(message, address)
        except OSError:
            return False
        return True

    return Manager(send, watchdog_s(environment, pid), started_s)


def address_of(environment: Mapping[str, str]) -> str | None:
    """The socket's address as the operating system takes it; None when there is none that can be used."""
    name = environment.get("NOTIFY_SOCKET", "")
    if name.startswith("@") and len(name) > 1:
        return "\0" + name[1:]
    return name if name.startswith("/") else None


def watchdog_s(environment: Mapping[str, str], pid: int) -> float | None:
    """Seconds the manager waits for a ping; None when it does not watch this process."""
    text = environment.get("WATCHDOG_USEC", "")
    if not (text.isascii() and text.isdigit()) or int(text) == 0:
        return None
    if environment.get("WATCHDOG_PID", str(pid)) != str(pid):
        return None
    return int(text) / 1_000_000
