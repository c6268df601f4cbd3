"""The permit's line and the relay's line of the running daemon, through every kind of stop.

The daemon is the real one with its real drivers; the GPIO library is a stand-in that outlives processes
(tests/process/bench), and no probe is there, so heat is never allowed. No kernel's GPIO and no Pi was used.
"""

from __future__ import annotations

import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_bench import CHIP, Bench
from helpers_process import PATIENCE_S, eventually, settings_file

RELAY, PERMIT = 17, 24
# Longer than three cycles of a living daemon.
STILL_S = 3.0
_TEXT = f"""\
[house]
id = "shelf"
temperature_unit = "C"
zone = "Europe/Amsterdam"
[store]
directory = "data"
[control]
socket = "control.sock"
[[enclosure]]
id = "oak"
[[probe]]
id = "oak-wall"
role = "wall"
enclosure = "oak"
driver = "one-wire"
address = "28-0123456789ab"
[[probe]]
id = "oak-air"
role = "air"
enclosure = "oak"
driver = "one-wire"
address = "28-0123456789ac"
[[mat]]
enclosure = "oak"
placement = "side"
driver = "gpio"
chip = "{CHIP}"
line = {RELAY}
active = "high"
[permit]
driver = "gpio"
chip = "{CHIP}"
line = {PERMIT}
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    bench = Bench(tmp_path)
    bench.leave(RELAY, True)
    bench.leave(PERMIT, True)
    return bench


@pytest.fixture
def daemon(bench: Bench, tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    process = bench.run(settings_file(tmp_path, _TEXT))
    try:
        _until_pulsed(bench, 6)
        yield process
    finally:
        process.kill()
        process.wait(PATIENCE_S)


def test_it_alternates_and_an_asked_stop_leaves_it_low(bench: Bench, daemon: subprocess.Popen[bytes]) -> None:
    """What an earlier run left high is low first, then every level differs from the one before, and the last is low."""
    daemon.send_signal(signal.SIGTERM)
    assert daemon.wait(PATIENCE_S) == 0
    left, *levels = bench.levels(PERMIT)
    assert left
    ends = levels[-1:] if levels[-2:] == [False, False] else []  # it was low already when it was put low
    alternating = levels[: len(levels) - len(ends)]
    assert alternating == [number % 2 == 1 for number in range(len(alternating))]
    assert not levels[-1]
    assert not any(bench.levels(RELAY)[1:])


def test_a_stopped_process_keeps_it_still(bench: Bench, daemon: subprocess.Popen[bytes]) -> None:
    """SIGSTOP: not a change in the time of three cycles; SIGCONT: it goes on where it was."""
    daemon.send_signal(signal.SIGSTOP)
    eventually(lambda: _state(daemon.pid) == "T", "the process to be stopped")
    before = len(bench.levels(PERMIT))
    still_until_s = time.monotonic() + STILL_S
    eventually(lambda: time.monotonic() >= still_until_s, "the time of three cycles")
    assert len(bench.levels(PERMIT)) == before
    daemon.send_signal(signal.SIGCONT)
    _until_pulsed(bench, before + 2)


def test_cut_leaves_a_killed_daemons_permit_low(bench: Bench, daemon: subprocess.Popen[bytes], tmp_path: Path) -> None:
    """The list that the daemon keeps has the permit's line too: after SIGKILL on a high level it is put low."""
    eventually(lambda: _killed_while_high(bench, daemon), "a kill on a high level")
    ran = bench.matwarden("cut", "--lines", tmp_path / "data" / "relay-lines")
    assert (ran.code, ran.err) == (0, "")
    assert f"{CHIP} line {PERMIT}: cut" in ran.out
    assert not bench.levels(PERMIT)[-1]
    assert not bench.levels(RELAY)[-1]


def _killed_while_high(bench: Bench, daemon: subprocess.Popen[bytes]) -> bool:
    """Stop it; kill it if the line is high just then, else let it go on."""
    daemon.send_signal(signal.SIGSTOP)
    eventually(lambda: _state(daemon.pid) == "T", "the process to be stopped")
    if not bench.levels(PERMIT)[-1]:
        daemon.send_signal(signal.SIGCONT)
        return False
    daemon.kill()
    daemon.wait(PATIENCE_S)
    return True


def _until_pulsed(bench: Bench, levels: int) -> None:
    eventually(lambda: len(bench.levels(PERMIT)) >= levels, f"{levels} levels of the permit")


def _state(process: int) -> str:
    """The letter of proc(5): T is stopped."""
    return Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0]
