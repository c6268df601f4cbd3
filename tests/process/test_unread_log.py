"""Nobody reads the log, and its pipe is full: whoever logs would wait for ever. No verdict does, nor the end.

Linux: a pipe takes 65,536 bytes, then write(2) blocks: pipe(7).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import NamedTuple

import pytest

from helpers_process import PATIENCE_S, Daemon, eventually, full_pipe, shelf_text

# An error of ours in the control thread, at the moment the file appears.
_SABOTAGE = """
from pathlib import Path
from matwarden.station import Station
sound = Station.cycle
def cycle(station):
    if Path({file!r}).exists():
        raise RuntimeError("sabotaged")
    return sound(station)
Station.cycle = cycle
"""


class Unread(NamedTuple):
    """Two shelves that heat oak and whose log nobody reads; the second one's control thread can be made to fail."""

    sound: Daemon
    sabotaged: Daemon


@pytest.fixture(scope="module")
def unread(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Unread]:
    reading, writing = full_pipe()
    sound, sabotaged = tmp_path_factory.mktemp("sound"), tmp_path_factory.mktemp("sabotaged")
    script = _SABOTAGE.format(file=str(sabotaged / "sabotage"))
    both = Unread(
        Daemon(sound, shelf_text("oak"), stderr=writing),
        Daemon(sabotaged, shelf_text("oak"), stderr=writing, script=script),
    )
    try:
        for daemon in both:
            daemon.until_allowed("oak")
        yield both
    finally:
        for daemon in both:
            daemon.kill()
        os.close(reading)
        os.close(writing)


def test_a_hold_cuts_and_the_record_goes_on(unread: Unread) -> None:
    """With the pipe full from the first line, oak is heated, a hold cuts it, and both are recorded."""
    shelf = unread.sound
    assert shelf.ask("hold", enclosure="oak", for_s=600)["ok"]
    assert not shelf.allows("oak")
    eventually(lambda: shelf.remembered("guard/oak").get("hold_left_s") is not None, "the hold in the record")
    assert shelf.status()["sinks"]["store"] == {"failing": False, "dropped": 0}


def test_it_stops_in_order(unread: Unread) -> None:
    """SIGTERM ends it with code 0, though its last lines can be told to nobody."""
    assert unread.sound.stop() == 0
    assert not unread.sound.allows("oak")


def test_an_error_of_ours_in_the_control_thread_cuts_and_ends_it(unread: Unread) -> None:
    """The traceback has nowhere to go; the relay is cut and the program ends with code 1 all the same."""
    shelf = unread.sabotaged
    (shelf.directory / "sabotage").touch()
    assert shelf.process.wait(PATIENCE_S) == 1
    assert not shelf.allows("oak")
