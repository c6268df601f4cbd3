"""State changes as log lines: one dense sentence each, never a poll. The service manager keeps them."""

from __future__ import annotations

import logging
from collections.abc import Sequence

from matwarden.events import (
    AlarmChanged,
    ClockStepped,
    DigestMade,
    Event,
    Notice,
    PersonDid,
    PushAsked,
    Started,
    VerdictChanged,
)
from matwarden.terms import Reason

__all__ = ["JournalSink"]

_SERIOUS = {Reason.RELAY_FAULT, Reason.TRIPPED, Reason.CUT_OUT, Reason.DOUBTFUL_HEAT, Reason.BLIND, Reason.HOT_ROOM}


class JournalSink:
    """Writes to the standard logger `matwarden`."""

    name = "journal"

    def __init__(self) -> None:
        self._log = logging.getLogger("matwarden")
        self._allowed: dict[str, bool] = {}

    def accept(self, events: Sequence[Event]) -> None:
        for event in events:
            self._write(event)

    def close(self) -> None:
        """Nothing to release."""

    def _write(self, event: Event) -> None:
        if isinstance(event, VerdictChanged):
            # Below setpoint or coasting is the same relay: only what moves it, or what is wrong, is worth a line.
            # The first verdict of every run is blind: nothing has been read yet, and nothing is wrong with that.
            first = event.enclosure not in self._allowed and event.verdict.reason is Reason.BLIND
            serious = event.verdict.reason in _SERIOUS and not first
            if serious or self._allowed.get(event.enclosure) != event.verdict.allowed:
                self._log.log(logging.WARNING if serious else logging.INFO, "%s: %s", event.enclosure, event.sentence)
            self._allowed[event.enclosure] = event.verdict.allowed
        elif isinstance(event, AlarmChanged):
            self._log.warning("alarm %s: %s -> %s. %s", event.alarm, event.previous, event.state, event.text)
        elif isinstance(event, PersonDid):
            done = "" if event.ok else " (refused)"
            self._log.info("%s: %s %s%s. %s", event.by, event.verb, event.target, done, event.text)
        elif isinstance(event, PushAsked):
            self._log.info("push: %s", event.title)
        elif isinstance(event, ClockStepped):
            self._log.warning("the wall clock was set by %+.1f s; timers and verdicts do not follow it", event.by_s)
        elif isinstance(event, DigestMade):
            self._log.info("digest of %s: %s", event.date, event.text.partition("\n")[0])
        elif isinstance(event, Started):
            self._log.info(
                "matwarden %s watches; no mat is allowed heat before its probes have proved themselves", event.version
            )
        elif isinstance(event, Notice):
            self._log.log(logging.WARNING if event.warning else logging.INFO, "%s", event.text)
