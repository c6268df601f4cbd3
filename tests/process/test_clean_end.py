"""Ends in good order with a bug in the way: each leaves every relay driven to cut, and the permit low.

The bug is put into the daemon's own process before the program begins; it strikes while oak is heated.
"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_process import PATIENCE_S, Daemon, shelf_text

PERMIT = '\n[permit]\ndriver = "twin"\n'

# The guard decides, and then fails with its relay allowing.
_LOOP_FAILS = """
from matwarden.guard_keeper import GuardKeeper
decide = GuardKeeper.decide
def failing(self, *seen):
    events = decide(self, *seen)
    if self.verdict.allowed:
        raise RuntimeError("a bug in the loop")
    return events
GuardKeeper.decide = failing
"""
# The signal comes while the cycle that allows heat is under way, and the cycle goes on until it has been noted.
_SIGNAL_IN_A_CYCLE = """
import os, signal
from matwarden import service
from matwarden.guard_keeper import GuardKeeper
decide, noted = GuardKeeper.decide, service._Service._asked_to_stop
seen_it = service.threading.Event()
def note(self, *signal):
    noted(self, *signal)
    seen_it.set()
def interrupted(self, *seen):
    events = decide(self, *seen)
    if self.verdict.allowed and not seen_it.is_set():
        os.kill(os.getpid(), signal.SIGTERM)
        seen_it.wait(30.0)
    return events
service._Service._asked_to_stop, GuardKeeper.decide = note, interrupted
"""
# The thread of a sink ends, and another one raises with every batch: both while heat is allowed.
_SINKS_CRASH = """
from matwarden.events import VerdictChanged
from matwarden.sinks.journal import JournalSink
from matwarden.sinks.store import StoreSink
def end(self, events):
    if any(isinstance(event, VerdictChanged) and event.verdict.allowed for event in events):
        raise SystemExit
def fail(self, events):
    raise MemoryError
JournalSink.accept, StoreSink.accept = end, fail
"""


@pytest.fixture(scope="module")
def ends(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Daemon]]:
    """Three daemons, side by side; each is over."""
    bugs = {"loop": _LOOP_FAILS, "signal": _SIGNAL_IN_A_CYCLE, "sinks": _SINKS_CRASH}
    text = shelf_text("oak", more=PERMIT)
    daemons = {name: Daemon(tmp_path_factory.mktemp(name), text, script=bug) for name, bug in bugs.items()}
    try:
        daemons["sinks"].until_allowed("oak")
        daemons["sinks"].stop(signal.SIGTERM)
        for daemon in daemons.values():
            daemon.process.wait(PATIENCE_S)
        yield daemons
    finally:
        for daemon in daemons.values():
            daemon.kill()


@pytest.mark.parametrize(("end", "code"), [("loop", 1), ("signal", 0), ("sinks", 0)])
def test_the_relay_is_left_driven_to_cut(end: str, code: int, ends: dict[str, Daemon]) -> None:
    """It was allowed once, and the last thing driven on its line is cut; the code tells a bug from an asked stop."""
    daemon = ends[end]
    assert [level.allow for level in daemon.levels("oak")] == [False, True, False], daemon.log
    assert daemon.process.returncode == code, daemon.log


@pytest.mark.parametrize("end", ["loop", "signal", "sinks"])
def test_the_permit_alternated_and_is_left_low(end: str, ends: dict[str, Daemon]) -> None:
    """Each level differs from the one before, the first and the last are low."""
    levels = permit_levels(ends[end].directory)
    assert len(levels) > 3
    assert levels == [number % 2 == 1 for number in range(len(levels))]
    assert not levels[-1]


def test_a_bug_in_the_loop_is_told_in_the_log(ends: dict[str, Daemon]) -> None:
    """Whoever reads the log finds what happened and that every relay is cut."""
    assert "internal error: every relay is cut, and matwarden ends" in ends["loop"].log
    assert "a bug in the loop" in ends["loop"].log


def test_an_asked_stop_in_a_cycle_is_no_error(ends: dict[str, Daemon]) -> None:
    """The cycle ends, the loop with it, and the last line says so."""
    assert ends["signal"].log.splitlines()[-1] == "INFO stopped as asked; every mat is cut"


def permit_levels(directory: Path) -> list[bool]:
    """Every level the simulated permit had."""
    rows = [row.split() for row in (directory / "relays.txt").read_text(encoding="utf-8").splitlines()]
    return [word == "high" for _, word, name in rows if name == "permit"]
