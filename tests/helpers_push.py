"""Real endpoints on the loopback for the tests of pushing, and a clock that is set by hand."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller

from helpers_store import WALL_S
from matwarden.terms import At


class HandClock:
    """Both clocks, moved by the test."""

    def __init__(self) -> None:
        self.mono_s = 1000.0
        self.wall_s = WALL_S

    def __call__(self) -> At:
        return At(self.mono_s, self.wall_s)

    def run_on(self, seconds: float) -> None:
        self.mono_s += seconds
        self.wall_s += seconds


def real_clock() -> At:
    return At(time.monotonic(), time.time())


def until(true: Callable[[], bool], limit_s: float = 30.0) -> None:
    """Wait until something is true."""
    end_s = time.monotonic() + limit_s
    while not true():
        assert time.monotonic() < end_s, "it did not come about in time"
        time.sleep(0.02)


class WebEndpoint:
    """An HTTP server that takes JSON posts.

    Attributes:
        titles: of the posts it took, in order.
        status: what it answers; posts answered otherwise than 200 are not taken.
        hang: set it to make every post wait until `release` is set.
        pictures: what it does with a post that has one: "take", "refuse" or "hang".
    """

    def __init__(self) -> None:
        self.titles: list[str] = []
        self.posts: list[dict[str, Any]] = []
        self.tries_n = 0
        self.status = 200
        self.hang = False
        self.pictures = "take"
        self.release = threading.Event()
        endpoint = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:  # noqa: N802 - the library's name
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                endpoint.tries_n += 1
                pictures = endpoint.pictures if body.get("attachments") else "take"
                if endpoint.hang or pictures == "hang":
                    endpoint.release.wait(60)
                    return
                # 413 Content Too Large: RFC 9110, 15.5.14.
                status = 413 if pictures == "refuse" else endpoint.status
                if status == 200:
                    endpoint.posts.append(body)
                    endpoint.titles.append(body["title"])
                self.send_response(status)
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:
                """Quiet."""

        self._handler = Handler
        self.port = 0

    @contextmanager
    def up(self) -> Iterator[None]:
        """Listen, on the same port each time."""
        server = ThreadingHTTPServer(("127.0.0.1", self.port), self._handler)
        self.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield
        finally:
            self.release.set()
            server.shutdown()
            server.server_close()
            thread.join()

    @property
    def url(self) -> str:
        return f"json://127.0.0.1:{self.port}/secret-path-7f3a"


class Mailbox:
    """What an SMTP server took: sender, recipients and text of each message."""

    def __init__(self) -> None:
        self.messages: list[tuple[str, list[str], str]] = []

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802 - the library's name
        self.messages.append((envelope.mail_from, envelope.rcpt_tos, envelope.content.decode()))
        return "250 OK"

    @contextmanager
    def up(self) -> Iterator[int]:
        """Listen on the loopback; gives the port."""
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        controller = Controller(self, hostname="127.0.0.1", port=port)
        controller.start()
        try:
            yield port
        finally:
            controller.stop()
