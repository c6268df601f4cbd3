"""The words of pushing: where a push goes, when, and how long it is tried. Values only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from zoneinfo import ZoneInfo

from matwarden.core.dates import instant, newest_date, next_digest
from matwarden.terms import Priority, Recipients

__all__ = ["PushTarget", "PushTerms", "QuietHours"]


@dataclass(frozen=True, slots=True)
class PushTarget:
    """One place a push is delivered to. Exactly one of `url` and `url_file` is set.

    Attributes:
        name: how messages, logs and the outbox call it; never the address, which may hold a secret.
        url: the address of a notification service, or `file:/absolute/path` to append to a file.
        url_file: a file whose first line is that address, read again at each attempt.
        priorities: only pushes of these go there.
        second: told only of what nobody acknowledged.
    """

    name: str
    url: str | None = None
    url_file: str | None = None
    priorities: frozenset[Priority] = frozenset(Priority)
    second: bool = False

    def takes(self, priority: Priority, recipients: Recipients) -> bool:
        """Whether such a push is for this target."""
        its_kind = recipients is Recipients.ALL or (recipients is Recipients.SECOND) == self.second
        return its_kind and priority in self.priorities

    def __repr__(self) -> str:
        """Leaves the address out: it may hold a password or a token."""
        return f"PushTarget(name={self.name!r})"


@dataclass(frozen=True, slots=True)
class QuietHours:
    """The hours of every night in which low pushes are held back: from `begins` until `ends`, which are not equal.

    Each night begins and ends once: a time that the clocks skip means the first instant after the gap, one that they
    show twice means its first occurrence.
    """

    begins: time
    ends: time
    zone: ZoneInfo

    def left_s(self, wall_s: float) -> float:
        """Seconds until the quiet hours end; 0.0 outside of them. `wall_s`: UTC seconds since 1970."""
        began_s = instant(newest_date(wall_s, self.begins, self.zone), self.begins, self.zone)
        ended_s = instant(newest_date(wall_s, self.ends, self.zone), self.ends, self.zone)
        if ended_s >= began_s:
            return 0.0
        return next_digest(wall_s, self.ends, self.zone)[1] - wall_s


@dataclass(frozen=True, slots=True)
class PushTerms:
    """Where pushes go and how long each is tried.

    Attributes:
        targets: a push goes to each of them that takes its priority and recipients.
        give_up_after_s: seconds from the asking until an undelivered push is given up, with a notice.
        keep: the most pushes kept in the outbox, delivered ones included.
        quiet: when low pushes wait; None: never.
    """

    targets: tuple[PushTarget, ...]
    give_up_after_s: float
    keep: int
    quiet: QuietHours | None = None
