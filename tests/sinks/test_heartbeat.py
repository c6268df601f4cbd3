"""The outgoing heartbeat against a real HTTP server on the loopback. Status codes: RFC 9110, section 15."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from helpers_mqtt import free_port
from matwarden.events import Notice
from matwarden.sinks.heartbeat import ALIVE_WITHIN_S, Heartbeat, ask
from matwarden.sinks.heartbeat_terms import HeartbeatTerms
from matwarden.terms import At

SECRET = "s3cr3t-0a1b2c"


class Service:
    """Counts what it is asked, and answers as it is told to."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.status = 200
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                service.asked.append(self.path)
                self.send_response(service.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: Any) -> None:
                """Nothing."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,))
        self._thread.start()

    def close(self) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


@pytest.fixture
def service() -> Iterator[Service]:
    """A service elsewhere."""
    found = Service()
    yield found
    found.close()


def address(directory: Path, text: str) -> str:
    """A file that holds an address."""
    path = directory / "url"
    path.write_text(f"{text}\n", encoding="utf-8")
    return str(path)


class Bench:
    """A heartbeat every five minutes, on a clock that jumps, whose asking is counted."""

    def __init__(self, answer: str | None = None) -> None:
        self.now_s = 0.0
        self.answer = answer
        self.asked_n = 0
        self.notices: list[Notice] = []
        terms = HeartbeatTerms("/nowhere", 300.0)
        self.heartbeat = Heartbeat(terms, lambda: At(self.now_s, self.now_s), self.notices.append, self._ask)

    def _ask(self, url_file: str) -> str | None:
        self.asked_n += 1
        return self.answer

    def run(self, for_s: float, loop: bool = True, in_hand: bool = True) -> None:
        """Time passes; with `loop` the control loop completes a cycle each second."""
        for _ in range(round(for_s)):
            self.now_s += 1.0
            if loop:
                self.heartbeat.cycle_done(self.now_s, in_hand)
            self.heartbeat.step()


def test_it_is_asked_for_every_five_minutes() -> None:
    """Once at the start and then after each five minutes, while all goes well."""
    bench = Bench()
    bench.run(1501)
    assert bench.asked_n == 6


@pytest.mark.parametrize(("loop", "in_hand"), [(False, True), (True, False)])
def test_it_stops_when_the_loop_hangs_or_a_relay_does_not_obey(loop: bool, in_hand: bool) -> None:
    """Half a minute after the last cycle in which every relay agreed there is no heartbeat any more."""
    bench = Bench()
    bench.run(260)
    asked_n = bench.asked_n
    bench.run(3600, loop, in_hand)
    assert bench.asked_n == asked_n
    bench.run(ALIVE_WITHIN_S)
    assert bench.asked_n == asked_n + 1


def test_before_the_first_cycle_there_is_none() -> None:
    """A program that hangs in its start is not alive."""
    bench = Bench()
    bench.run(1000, loop=False)
    assert bench.asked_n == 0


def test_failures_are_one_notice_and_one_when_it_is_over() -> None:
    """However often it fails: told when it begins and when it ends; tried each minute meanwhile."""
    bench = Bench("the service answered 500")
    bench.run(600)
    assert 9 <= bench.asked_n <= 11
    bench.answer = None
    bench.run(120)
    assert [(n.warning, n.text) for n in bench.notices] == [
        (True, "The heartbeat did not reach its address: the service answered 500. It is tried again every minute."),
        (False, "The heartbeat reaches its address again."),
    ]


def test_the_real_asking_asks_once_for_the_address(service: Service, tmp_path: Path) -> None:
    """One GET of exactly that address."""
    assert ask(address(tmp_path, f"http://127.0.0.1:{service.port}/{SECRET}?rid=1")) is None
    assert service.asked == [f"/{SECRET}?rid=1"]


@pytest.mark.parametrize("case", ["error", "refused", "garbage", "scheme", "nonsense", "missing", "empty"])
def test_whatever_goes_wrong_is_one_clause_without_the_address(case: str, service: Service, tmp_path: Path) -> None:
    """An error of the service, nobody there, no address at all: said in words, and the secret stays one."""
    service.status = 500
    texts = {
        "error": f"http://127.0.0.1:{service.port}/{SECRET}",
        "refused": f"http://127.0.0.1:{free_port()}/{SECRET}",
        "garbage": f"http://[127.0.0.1/{SECRET}",
        "scheme": f"file:///{SECRET}",
        "nonsense": f"http://127.0.0.1:{SECRET}/",
        "empty": "",
    }
    file = str(tmp_path / "none") if case == "missing" else address(tmp_path, texts[case])
    told = ask(file)
    assert told
    assert SECRET not in told
    assert "\n" not in told
    if case == "error":
        assert told == "the service answered 500"


def test_a_hanging_service_delays_no_cycle_and_no_stop() -> None:
    """Somebody never answers: the control loop's note and the stop return at once all the same."""
    asking, over = threading.Event(), threading.Event()

    def hang(url_file: str) -> str | None:
        asking.set()
        over.wait(30)
        return None

    heartbeat = Heartbeat(HeartbeatTerms("/nowhere", 300.0), lambda: At(0.0, 0.0), lambda notice: None, hang)
    heartbeat.cycle_done(0.0, True)
    heartbeat.start()
    assert asking.wait(30)
    heartbeat.cycle_done(0.0, True)
    heartbeat.stop()
    assert not over.is_set()
    over.set()
