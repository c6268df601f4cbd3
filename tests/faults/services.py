"""Services gone wrong, and a record that another process holds. All on this machine."""

from __future__ import annotations

import contextlib
import socket
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path

__all__ = ["Flooding", "Refusing", "free_port", "locked"]


class _Broker:
    """Listens on the loopback and hands every caller to `_serve`."""

    def __init__(self) -> None:
        self._ends: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._listen, daemon=True).start()

    def close(self) -> None:
        """Hang up on everybody."""
        for each in (self._listener, *self._ends):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()

    def _listen(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                end, _ = self._listener.accept()
                self._ends.append(end)
                threading.Thread(target=self._guarded, args=(end,), daemon=True).start()

    def _guarded(self, end: socket.socket) -> None:
        with contextlib.suppress(OSError):
            self._serve(end)

    def _serve(self, end: socket.socket) -> None:
        raise NotImplementedError


class Refusing(_Broker):
    """Answers CONNECT with "not authorized" (MQTT 5, 3.2.2.2: reason code 0x87) and hangs up."""

    def _serve(self, end: socket.socket) -> None:
        end.recv(4096)
        end.sendall(b"\x20\x03\x00\x87\x00")
        end.close()


class Flooding(_Broker):
    """Takes the connection and sends messages nobody asked for, as fast as they are taken, never an acknowledgement."""

    def _serve(self, end: socket.socket) -> None:
        end.recv(4096)
        end.sendall(b"\x20\x03\x00\x00\x00")  # MQTT 5, 3.2: CONNACK, success
        topic, payload = b"homie/5/flood", b"x" * 1000
        body = len(topic).to_bytes(2, "big") + topic + b"\x00" + payload
        # MQTT 5, 3.3: PUBLISH at QoS 0; the length as a variable byte integer (1.5.5).
        message = b"\x30" + bytes([len(body) % 128 | 0x80, len(body) // 128]) + body
        while True:
            end.sendall(message * 20)


def free_port() -> int:
    """A loopback port that nobody listens on just now."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        port: int = found.getsockname()[1]
        return port


@contextlib.contextmanager
def locked(database: Path) -> Iterator[None]:
    """Another process at work in the record, for longer than SQLite is told to wait."""
    connection = sqlite3.connect(database, isolation_level=None, check_same_thread=False)
    try:
        connection.execute("BEGIN IMMEDIATE")
        yield
        connection.execute("ROLLBACK")
    finally:
        connection.close()
