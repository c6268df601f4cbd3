"""What may come in over MQTT, if the settings allow it: an acknowledgement, and nothing else.

The law: nobody who can publish can allow heat, reset, shelve or hold; and however much is published, the station has no
more than a few of it to look at in a cycle.
"""

from __future__ import annotations

import threading

from matwarden.control_verbs import ALL, AlarmVerbs
from matwarden.events import Event, Notice
from matwarden.station import Station
from matwarden.terms import At

__all__ = ["BY_MQTT", "WAITING_MOST", "RemoteAcknowledge"]

BY_MQTT = "mqtt"
WAITING_MOST = 32
_NOTICE_EVERY_S = 60.0  # so often at the most the log tells of what was ignored


class RemoteAcknowledge:
    """Hands what was asked to the station's own thread. What comes before `serve` is ignored."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting_n = 0
        self._ignored_n = 0
        self._noticed_s = float("-inf")
        self._served: tuple[Station, AlarmVerbs] | None = None

    def serve(self, station: Station, verbs: AlarmVerbs) -> None:
        """From now on this station is asked."""
        self._served = (station, verbs)

    def ask(self, target: str) -> None:
        """An alarm's id, or `all`. Never blocks; safe from any thread."""
        served = self._served
        if served is None:
            return
        with self._lock:
            if self._waiting_n >= WAITING_MOST:
                self._ignored_n += 1
                return
            self._waiting_n += 1
        station, verbs = served
        station.call(lambda at: self._acknowledge(station, verbs, target, at))

    def _acknowledge(self, station: Station, verbs: AlarmVerbs, target: str, at: At) -> list[Event]:
        with self._lock:
            self._waiting_n -= 1
        if target != ALL and target not in station.alarm_ids():
            return self._ignored(at, f"{target[:60]!r} is neither an alarm nor {ALL!r}")
        events, answer = verbs.do("ack", {"target": target}, BY_MQTT, at)
        # Only what did something is kept as done: a flood must not fill the record.
        return events if answer.get("alarms") else self._ignored(at, str(answer["text"]))

    def _ignored(self, at: At, why: str) -> list[Event]:
        with self._lock:
            self._ignored_n += 1
            if at.mono_s - self._noticed_s < _NOTICE_EVERY_S:
                return []
            self._noticed_s, ignored_n, self._ignored_n = at.mono_s, self._ignored_n, 0
        times = "" if ignored_n == 1 else f" ({ignored_n} times since the last such line)"
        return [Notice(at, f"MQTT: an acknowledgement was ignored{times}: {why}", warning=False)]
