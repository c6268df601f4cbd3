"""One message to a target, sent at once and past the outbox, to see whether it gets there."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from matwarden.sinks.push_send import Sender, send
from matwarden.sinks.push_terms import PushTarget
from matwarden.terms import At, Priority

__all__ = ["Tried", "try_target"]


class Tried(NamedTuple):
    """How it went: seconds until the target took it or failed, and why it failed; None: it took it."""

    target: str
    took_s: float
    why_not: str | None


def try_target(target: PushTarget, house: str, by: str, now: Callable[[], At], sender: Sender = send) -> Tried:
    """Send one test to the target; blocks for half a minute at most. `by`: the command that tries."""
    began = now()
    text = f"{house}: a test of {by}. Nothing is the matter, and nothing is to be done."
    why_not = sender(target, f"{house}: a test", text, Priority.LOW.value, began.wall_s, None)
    return Tried(target.name, now().mono_s - began.mono_s, why_not)
