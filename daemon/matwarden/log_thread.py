"""The log, written by a thread of its own: whoever logs never waits for whoever reads.

A pipe whose reader has stopped takes 64 kB and then holds up every writer for ever. Here it holds up one thread that
does nothing else; lines beyond `BOUND` are dropped and counted. It writes to the descriptor itself: a stream's lock,
held by a thread that hangs in it, would keep the interpreter from ending.
"""

from __future__ import annotations

import logging
import os
import queue
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

__all__ = ["BOUND", "LogThread", "logged_to"]

# Lines that may wait for the reader: hours of an ordinary log.
BOUND = 1000
FINISH_WITHIN_S = 2.0


class LogThread(logging.Handler):
    """A handler that never blocks and never raises.

    Args:
        descriptor: what is written to; errors of it are nobody's business, for there is nowhere to tell them.
    """

    def __init__(self, descriptor: int, encoding: str = "utf-8") -> None:
        super().__init__()
        self.setFormatter(logging.Formatter("%(levelname)s %(message)s"))
        self._descriptor = descriptor
        self._encoding = encoding
        self._lines: queue.Queue[str | None] = queue.Queue(BOUND)
        self._dropped_n = 0
        self._ending = False
        self._thread = threading.Thread(target=self._run, name="log", daemon=True)
        self._thread.start()

    def emit(self, record: logging.LogRecord) -> None:
        try:
            line = self.format(record)
        except Exception as error:  # our bug in the arguments of a line; logging's own answer writes to the stream
            line = f"ERROR a line of the log cannot be made: {record.msg!r}: {error!r}"
        try:
            self._lines.put_nowait(line)
        except queue.Full:
            self._dropped_n += 1

    def finish(self, within_s: float) -> bool:
        """Write what waits and end; False when the reader did not take it in time: the rest is lost."""
        self._ending = True
        with suppress(queue.Full):  # then there are lines enough to wake the thread
            self._lines.put_nowait(None)
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while True:
            line = self._lines.get()
            if line is not None:
                self._write(line)
                self._tell_dropped()
            if line is None or (self._ending and self._lines.empty()):
                return

    def _tell_dropped(self) -> None:
        self.acquire()  # whoever logs holds it while counting
        dropped_n, self._dropped_n = self._dropped_n, 0
        self.release()
        if dropped_n:
            self._write(f"WARNING {dropped_n} lines of this log were dropped: whoever reads it was too slow")

    def _write(self, line: str) -> None:
        left = f"{line}\n".encode(self._encoding, "replace")
        with suppress(OSError):  # a terminal that is closed, a disk that is full
            while left:
                left = left[os.write(self._descriptor, left) :]


@contextmanager
def logged_to(stream: TextIO | None) -> Iterator[None]:
    """Have everything that is logged meanwhile written to a stream's descriptor; None: there is none to write to."""
    root = logging.getLogger()
    root.setLevel(logging.INFO)
    # Without a stream descriptor 2 may be another file's: nothing may be written there.
    handler = logging.NullHandler() if stream is None else LogThread(stream.fileno(), stream.encoding)
    root.addHandler(handler)
    try:
        yield
    finally:
        root.removeHandler(handler)
        if isinstance(handler, LogThread):
            handler.finish(FINISH_WITHIN_S)
