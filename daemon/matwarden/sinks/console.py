"""What a rehearsal shows while it runs: a progress bar on a terminal, and each alarm and push as it happens."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TextIO
from zoneinfo import ZoneInfo

from matwarden.events import AlarmChanged, Event, Notice, PushAsked
from matwarden.report.units import local_day_and_clock
from matwarden.terms import AlarmState

__all__ = ["ConsoleSink"]

_BAR = 30


class ConsoleSink:
    """Writes lines to `out`; on a terminal a bar stands below the last one."""

    name = "console"

    def __init__(self, out: TextIO, zone: ZoneInfo, terminal: bool) -> None:
        self._out = out
        self._zone = zone
        self._terminal = terminal
        self._bar = ""
        self._percent = -1

    def accept(self, events: Sequence[Event]) -> None:
        for event in events:
            if isinstance(event, AlarmChanged):
                if AlarmState.SUPPRESSED in (event.previous, event.state):
                    continue  # another alarm tells it all
                self.say(event.at.wall_s, "alarm", f"{event.alarm} is now {event.state}: {event.text}")
            elif isinstance(event, PushAsked):
                # The digest is printed whole at the end; here its first line will do.
                body = "" if event.key.startswith("digest/") else f" | {event.body}"
                self.say(event.at.wall_s, "push", f"{event.title}{body}")
            elif isinstance(event, Notice) and event.warning:
                self.say(event.at.wall_s, "notice", event.text)

    def progress(self, share: float, label: str) -> None:
        """Show how far it is; without a terminal a plain line each tenth."""
        percent = int(share * 100)
        if percent == self._percent:
            return
        self._percent = percent
        if self._terminal:
            done = int(share * _BAR)
            self._bar = f"[{'#' * done}{'.' * (_BAR - done)}] {percent:3d} %  {label}"
            self._out.write(f"\r\x1b[K{self._bar}")
            self._out.flush()
        elif percent % 10 == 0:
            print(f"... {percent} %  {label}", file=self._out, flush=True)

    def close(self) -> None:
        """Take the bar away."""
        if self._bar:
            self._out.write("\r\x1b[K")
            self._out.flush()
            self._bar = ""

    def say(self, wall_s: float, kind: str, text: str) -> None:
        """One more line, above the bar."""
        head = f"{local_day_and_clock(wall_s, self._zone)}  {kind:6} "
        wrapped = textwrap.fill(text, 100, initial_indent=head, subsequent_indent=" " * len(head))
        if self._bar:
            self._out.write("\r\x1b[K")
        print(wrapped, file=self._out)
        if self._bar:
            self._out.write(self._bar)
        self._out.flush()
