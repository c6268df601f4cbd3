"""Shelves of the real program that are all started at once, and services that never answer."""

from __future__ import annotations

import contextlib
import signal
import socket
import threading
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

from helpers_process import Daemon, Ran, begun, ended, offset, shelf_text


class Silent:
    """A service on this machine that takes every connection and never says a word."""

    def __init__(self) -> None:
        self.heard = b""
        self._taken: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._listen, daemon=True).start()

    def close(self) -> None:
        """Hang up on everybody."""
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        for each in (self._listener, *self._taken):
            each.close()

    def _listen(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                taken, _ = self._listener.accept()
                self._taken.append(taken)
                self.heard += taken.recv(4096)


class Kindled(NamedTuple):
    """Shelves that were all started at once, so that the rest before heat is waited for only once."""

    living: Daemon
    troubled: Daemon
    terminated: Daemon
    interrupted: Daemon
    broker: Silent
    phone: Silent
    frozen: Future[dict[str, Ran]]


@contextlib.contextmanager
def kindled_shelves(directory: Path) -> Iterator[Kindled]:
    """Start them all; whatever still runs at the end is killed.

    Their mats are so weak that no tub ever gets warm enough to be cut: on a slow machine they live for minutes.
    living: in Fahrenheit; oak and hazel. troubled: oak and alder, whose wall runs hot after 14 s; silent broker and
    phone. terminated, interrupted: oak and alder. frozen: see `asked_frozen`.
    """
    broker, phone = Silent(), Silent()
    told = (
        f'\n[mqtt]\nhost = "127.0.0.1"\nport = {broker.port}\n\n[push]\n'
        f'[[push.target]]\nname = "phone"\nurl = "json://127.0.0.1:{phone.port}/"\n'
    )
    alders = _weak("oak", "alder")
    texts = {
        "living": shelf_text("oak", "hazel", fahrenheit=True, more=_weak("oak", "hazel")),
        "troubled": shelf_text("oak", "alder", more=alders + offset("alder-wall", 8.0, at_s=14.0) + told),
        "terminated": shelf_text("oak", "alder", more=alders),
        "interrupted": shelf_text("oak", "alder", more=alders),
    }
    daemons = []
    aside = ThreadPoolExecutor(1)
    try:
        for name, text in texts.items():
            (directory / name).mkdir()
            daemons.append(Daemon(directory / name, text))
        living, troubled, terminated, interrupted = daemons
        (directory / "frozen").mkdir()
        frozen = aside.submit(asked_frozen, directory / "frozen")
        yield Kindled(living, troubled, terminated, interrupted, broker, phone, frozen)
    finally:
        aside.shutdown()
        for daemon in daemons:
            daemon.kill()
        broker.close()
        phone.close()


def _weak(*tubs: str) -> str:
    return "".join(f'\n[[fault]]\nkind = "mat-power"\nsubject = "{tub}"\namount = 0.4\nat_h = 0\n' for tub in tubs)


def asked_frozen(directory: Path) -> dict[str, Ran]:
    """What each command says of a station that is frozen by SIGSTOP; all are asked at once."""
    daemon = Daemon(directory, shelf_text("oak"))
    try:
        daemon.until_answering()
        daemon.process.send_signal(signal.SIGSTOP)
        verbs = {"status": (), "why": ("oak",), "hold": ("oak", "--for", "5min"), "reset": ("oak",)}
        asked = {verb: begun(verb, *more, "-s", daemon.settings) for verb, more in verbs.items()}
        return {verb: ended(process) for verb, process in asked.items()}
    finally:
        daemon.kill()
