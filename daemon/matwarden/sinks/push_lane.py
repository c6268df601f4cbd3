"""One push target's lane: what it still lacks, in order, and when it is tried next. No clock, no disk, no network."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from pathlib import Path

from matwarden.sinks.outbox import Statement
from matwarden.sinks.push_terms import PushTarget
from matwarden.terms import Priority, Recipients

__all__ = ["FIRST_WAIT_S", "LONGEST_WAIT_S", "Lane", "Push"]

FIRST_WAIT_S = 5.0
LONGEST_WAIT_S = 900.0


@dataclass(slots=True, eq=False)
class Push:
    """A push some target still lacks.

    Attributes:
        since_s: monotonic time it was asked, as if the program had always run.
        new: asked in this run.
        row: what puts it into the outbox; None once it is known to be there.
        ready: it may be sent: it is in the outbox, or the record fails.
        held_s: how long quiet hours have kept it in this run; it is tried that much longer.
    """

    key: str
    title: str
    body: str
    priority: Priority
    recipients: Recipients
    attachment: Path | None
    since_s: float
    new: bool
    row: Statement | None
    ready: bool
    held_s: float = 0.0
    lacking: set[str] = field(default_factory=set)

    def waited_s(self, mono_s: float) -> float:
        """How long it has waited, quiet hours not counted."""
        return mono_s - self.since_s - self.held_s


@dataclass(slots=True, eq=False)
class Lane:
    """One target, what it still lacks in order, and when it is tried next."""

    target: PushTarget
    queue: deque[Push] = field(default_factory=deque)
    failures_n: int = 0
    next_s: float = float("-inf")

    def first(self, quiet: bool) -> Push | None:
        """The push that is next: in quiet hours the low ones step aside."""
        if not quiet:
            return self.queue[0] if self.queue else None
        return next((push for push in self.queue if push.priority is not Priority.LOW), None)

    def failed(self, mono_s: float) -> None:
        """A try failed: the next one is later, each time twice as much."""
        self.next_s = mono_s + min(FIRST_WAIT_S * 2.0 ** min(self.failures_n, 20), LONGEST_WAIT_S)
        self.failures_n += 1

    def took(self, mono_s: float) -> bool:
        """A try succeeded; True when one before it had failed."""
        again = self.failures_n > 0
        self.failures_n = 0
        self.next_s = mono_s
        return again
