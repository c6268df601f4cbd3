"""The words of pushing: where a push goes and how long it is tried. Values only."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PushTarget:
    """One place a push is delivered to. Exactly one of `url` and `url_file` is set.

    Attributes:
        name: how messages, logs and the outbox call it; never the address, which may hold a secret.
        url: the address of a notification service, or `file:/absolute/path` to append to a file.
        url_file: a file whose first line is that address, read again at each attempt.
    """

    name: str
    url: str | None = None
    url_file: str | None = None

    def __repr__(self) -> str:
        """Leaves the address out: it may hold a password or a token."""
        return f"PushTarget(name={self.name!r})"


@dataclass(frozen=True, slots=True)
class PushTerms:
    """Where pushes go and how long each is tried.

    Attributes:
        targets: every push goes to each of them.
        give_up_after_s: seconds from the asking until an undelivered push is given up, with a notice.
        keep: the most pushes kept in the outbox, delivered ones included.
    """

    targets: tuple[PushTarget, ...]
    give_up_after_s: float
    keep: int
