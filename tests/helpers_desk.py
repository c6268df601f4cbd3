"""A real control socket on a station whose time is simulated: each question is answered by one cycle."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from matwarden.control import ControlServer
from matwarden.control_client import ask
from matwarden.control_verbs import AlarmVerbs
from matwarden.station import Station

__all__ = ["DAY_S", "Desk"]

DAY_S = 86400.0


class Desk:
    """Where a person asks.

    Args:
        directory: of the socket. cycle: one cycle of the station, whoever runs it.
    """

    def __init__(self, directory: Path, station: Station, cycle: Callable[[], object], most_s: float = DAY_S) -> None:
        self._path = directory / "desk.sock"
        self._station = station
        self._cycle = cycle
        verbs = AlarmVerbs(station, "Our shelf", most_s)
        self._server = ControlServer(self._path, station, dict, verbs)
        self._asking = ThreadPoolExecutor(1)

    def ask(self, do: str, target: str = "", **more: Any) -> dict[str, Any]:
        """The answer to a verb."""
        asked = self._asking.submit(ask, self._path, {"do": do, "target": target, **more})
        while not asked.done():
            if self._station.wake.wait(0.01):
                self._cycle()
        return asked.result()

    def listed(self) -> dict[str, dict[str, Any]]:
        """What `alarms` lists, by id."""
        return {alarm["id"]: alarm for alarm in self.ask("alarms")["alarms"]}

    def close(self) -> None:
        """Take the socket away."""
        self._asking.shutdown()
        self._server.close()
