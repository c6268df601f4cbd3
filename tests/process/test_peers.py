"""Two daemons at one real broker guard each other: each a process of its own, one of them killed."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import pytest

from helpers_mqtt import Mosquitto, mosquitto
from helpers_process import PATIENCE_S, Daemon, begun, ended, eventually, settings_file, shelf_text

__all__ = ["mosquitto"]

# Six seconds, the shortest the settings allow, and no will delay: as soon as the broker knows.
_MORE = """
[mqtt]
host = "127.0.0.1"
port = {port}
will_delay_s = 0

[push]
[[push.target]]
name = "paper"
url = "file:pushes.txt"

[[watch]]
id = "{other}"
name = "{name}"
lost_after_min = 0.1
"""
_LOST_AFTER_S = 6.0

_LOOKOUT = """
[house]
id = "lookout"
name = "Lookout"
temperature_unit = "C"
zone = "Europe/Amsterdam"

[store]
directory = "data"
commit_every_s = 1
"""


class Lookout:
    """`matwarden watch` as a process: no shelf, only eyes."""

    def __init__(self, directory: Path, port: int, other: str) -> None:
        directory.mkdir()
        self._pushes = directory / "pushes.txt"
        path = settings_file(directory, _LOOKOUT + _MORE.format(port=port, other=other, name=other.capitalize()))
        self.process = begun("watch", path)

    def pushes(self, about: str) -> list[str]:
        return titles(self._pushes, about)


def told_wall_s(path: Path, about: str) -> float:
    """When the first push about a house was written."""
    line = next(line for line in path.read_text(encoding="utf-8").splitlines() if f"  {about}: " in line)
    return datetime.fromisoformat(line.split("  ")[0]).timestamp()


def titles(path: Path, about: str) -> list[str]:
    """Titles of the pushes about a house, in order."""
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    return [line.split("  ")[1] for line in lines if line.split("  ")[1].startswith(f"{about}: ")]


class Shelf(NamedTuple):
    """One of the two."""

    directory: Path
    text: str

    def start(self) -> Daemon:
        return Daemon(self.directory, self.text)

    def pushes(self, about: str) -> list[str]:
        """Titles of its pushes about another house, in order."""
        return titles(self.directory / "pushes.txt", about)


def shelf(directory: Path, port: int, own: str, other: str) -> Shelf:
    """A shelf that watches the other one."""
    place = directory / own
    place.mkdir()
    more = _MORE.format(port=port, other=other, name=other.capitalize())
    return Shelf(place, shelf_text(more=more).replace('id = "shelf"', f'id = "{own}"'))


def met(daemon: Daemon, other: Daemon) -> Callable[[], bool]:
    """Both have told the broker that they are there."""
    return lambda: all("MQTT: connected" in each.log for each in (daemon, other))


def in_short(pushes: list[str]) -> list[str]:
    """Titles without their times, which depend on the machine."""
    return [title.split(" for ")[0].split(" after ")[0] for title in pushes]


@pytest.mark.timeout(120)
def test_a_killed_station_is_told_once_and_so_is_its_return(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """`kill -9` of one: the other, and a watcher, push once after their delay, and once more when it is back."""
    upper, lower = (shelf(tmp_path, mosquitto.port, *ids) for ids in (("upper", "lower"), ("lower", "upper")))
    watching, dying = upper.start(), lower.start()
    lookout = Lookout(tmp_path / "lookout", mosquitto.port, "lower")
    try:
        eventually(met(watching, dying), "both at the broker")
        dying.kill()
        killed_wall_s = time.time()
        eventually(lambda: bool(upper.pushes("Lower")), f"a push about the dead one: {watching.log}")
        eventually(lambda: bool(lookout.pushes("Lower")), "the watcher's push about the dead one")
        dying = lower.start()
        eventually(lambda: len(upper.pushes("Lower")) == 2, f"a push about its return: {watching.log}")
        eventually(lambda: len(lookout.pushes("Lower")) == 2, "the watcher's push about its return")
        lookout.process.terminate()
        assert ended(lookout.process).code == 0
        assert (watching.stop(), dying.stop()) == (0, 0)
        for pushes in (upper.pushes("Lower"), lookout.pushes("Lower")):
            assert in_short(pushes) == ["Lower: lost", "Lower: back"]
        assert lower.pushes("Upper") == []
        # The pushes say whole seconds; the broker learns at once, and each station looks every second. On a busy
        # machine all of that takes longer: what must not be is that a keeper is told sooner, or minutes later.
        for file in (upper.directory / "pushes.txt", tmp_path / "lookout" / "pushes.txt"):
            assert _LOST_AFTER_S - 1.0 <= told_wall_s(file, "Lower") - killed_wall_s <= _LOST_AFTER_S + PATIENCE_S
    finally:
        watching.kill()
        dying.kill()
        lookout.process.kill()
