"""What is said to the service manager, and when: on a clock that jumps, and over a real datagram socket.

Checked against sd_notify(3) and sd_watchdog_enabled(3) of systemd 252.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from matwarden.manager import READY_WITHIN_S, Manager, address_of, manager_of, watchdog_s


class Ear:
    """Takes what is sent, unless it is deaf."""

    def __init__(self) -> None:
        self.heard: list[list[str]] = []
        self.deaf = False

    def __call__(self, message: bytes) -> bool:
        if not self.deaf:
            self.heard.append(message.decode().split("\n"))
        return not self.deaf


def run(manager: Manager, times_s: list[float], all_heard: bool = True, status: str = "well") -> None:
    for now_s in times_s:
        manager.cycle_done(now_s, all_heard, lambda: status)


def test_ready_waits_for_the_first_answer_of_every_probe() -> None:
    """Cycles in which a probe was neither heard nor given up say nothing of READY; then it is said once."""
    ear = Ear()
    manager = Manager(ear, None, 100.0)
    run(manager, [100.0, 101.0], all_heard=False)
    assert all("READY=1" not in lines for lines in ear.heard)
    run(manager, [102.0, 103.0])
    assert [lines for lines in ear.heard if "READY=1" in lines] == [["READY=1"]]


def test_ready_does_not_wait_for_a_probe_that_may_take_minutes() -> None:
    """The guard is at work, so half a minute after the start it is ready, whoever has not answered."""
    ear = Ear()
    manager = Manager(ear, None, 0.0)
    run(manager, [1.0, READY_WITHIN_S - 0.1], all_heard=False)
    assert all("READY=1" not in lines for lines in ear.heard)
    run(manager, [READY_WITHIN_S], all_heard=False)
    assert "READY=1" in ear.heard[-1]


def test_pings_come_at_least_every_half_of_the_watchdogs_time() -> None:
    """WATCHDOG_USEC=20000000 asks for a ping every 10 s (sd_watchdog_enabled(3)); cycles come every second."""
    times_s = []

    def send(message: bytes) -> bool:
        if b"WATCHDOG=1" in message.split(b"\n"):
            times_s.append(now_s)
        return True

    manager = Manager(send, watchdog_s({"WATCHDOG_USEC": "20000000"}, 1), 0.0)
    for second in range(200):
        now_s = float(second)
        manager.cycle_done(now_s, True, lambda: "well")
    assert max(later - earlier for earlier, later in zip(times_s, times_s[1:], strict=False)) <= 10.0
    assert len(times_s) < 50


def test_no_cycle_no_ping() -> None:
    """However much time passes, nothing is sent but by a cycle that ended; the first one after a gap pings."""
    ear = Ear()
    manager = Manager(ear, 20.0, 0.0)
    run(manager, [0.0])
    said = len(ear.heard)
    run(manager, [3600.0])
    assert ear.heard[said:] == [["WATCHDOG=1"]]


def test_what_did_not_go_out_is_said_again() -> None:
    """A manager that was busy for READY hears it at the next cycle."""
    ear = Ear()
    ear.deaf = True
    manager = Manager(ear, 20.0, 0.0)
    run(manager, [0.0])
    ear.deaf = False
    run(manager, [1.0, 2.0])
    assert ear.heard == [["READY=1", "WATCHDOG=1", "STATUS=well"]]


def test_the_status_is_one_line_and_only_told_when_it_changed() -> None:
    """A status with a line break would be read as two keys, the second one anything (sd_notify(3))."""
    ear = Ear()
    manager = Manager(ear, 20.0, 0.0)
    run(manager, [0.0], status="oak\nREADY=0")
    run(manager, [10.0], status="oak\nREADY=0")
    assert ear.heard == [["READY=1", "WATCHDOG=1", "STATUS=oak READY=0"], ["WATCHDOG=1"]]


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({"WATCHDOG_USEC": "20000000"}, 20.0),
        ({"WATCHDOG_USEC": "20000000", "WATCHDOG_PID": "7"}, 20.0),
        ({"WATCHDOG_USEC": "20000000", "WATCHDOG_PID": "8"}, None),
        ({"WATCHDOG_PID": "7"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_whether_anybody_watches(environment: dict[str, str], expected: float | None) -> None:
    """WATCHDOG_USEC counts if WATCHDOG_PID is this process or not set (sd_watchdog_enabled(3))."""
    assert watchdog_s(environment, 7) == expected


@pytest.mark.parametrize(
    ("name", "address"),
    [("/run/x", "/run/x"), ("@x/y", "\0x/y"), ("", None), ("@", None), ("relative", None), ("vsock:2:1", None)],
)
def test_which_socket(name: str, address: str | None) -> None:
    """A path, or `@` and a name of the abstract name space; of anything else nothing is sent."""
    assert address_of({"NOTIFY_SOCKET": name}) == address


@pytest.fixture(params=["path", "abstract"])
def wire(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, socket.socket]]:
    name = str(tmp_path / "notify") if request.param == "path" else f"@matwarden-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(name.replace("@", "\0", 1))
        ear.settimeout(5.0)
        yield name, ear


def test_one_message_is_one_datagram(wire: tuple[str, socket.socket]) -> None:
    """The socket gets the first cycle's lines in one datagram, and the goodbye in another."""
    name, ear = wire
    manager = manager_of({"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "4000000"}, os.getpid(), 0.0)
    manager.cycle_done(1.0, True, lambda: "well")
    manager.stopping("as asked")
    assert ear.recv(4096) == b"READY=1\nWATCHDOG=1\nSTATUS=well"
    assert ear.recv(4096) == b"STOPPING=1\nSTATUS=as asked"


def test_a_manager_that_reads_nothing_holds_nobody_up(wire: tuple[str, socket.socket]) -> None:
    """When its queue is full, ten thousand cycles still end, and what it reads later is whole."""
    name, ear = wire
    manager = manager_of({"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "4"}, os.getpid(), 0.0)
    run(manager, [float(second) for second in range(10_000)])
    assert ear.recv(4096).startswith(b"READY=1\n")


def test_without_a_manager_nothing_is_even_asked(tmp_path: Path) -> None:
    """Not started by a service manager, or by one that is gone: cycles go on, and no status is made for nobody."""
    asked: list[str] = []

    def status() -> str:
        asked.append("status")
        return "well"

    manager_of({}, 7, 0.0).cycle_done(1.0, True, status)
    manager_of({"NOTIFY_SOCKET": str(tmp_path / "gone")}, 7, 0.0).cycle_done(1.0, True, lambda: "well")
    assert asked == []
