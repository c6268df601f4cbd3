"""Whether the last run ended in good order: what was killed, hung, crashed or lost its power is told at the next start.

A flag in the record: lowered when a run begins, raised when it has ended as asked. Whatever ends the program otherwise
leaves it lowered, whoever starts it again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from matwarden.core.conditions import is_away_too_long
from matwarden.events import Event, Notice, PushAsked, Remember
from matwarden.terms import At, Priority

__all__ = ["ended_as_asked", "run_begins"]

_KEY = "run"
# One that dies over and over is in the log each time; the phone is not to ring each time.
TOLD_EVERY_S = 6 * 3600.0


def run_begins(
    house: str,
    in_words: Callable[[float], str],
    last_seen_wall_s: float | None,
    remembered: Mapping[str, Mapping[str, Any]],
    at: At,
) -> list[Event]:
    """What the start has to say of the last run's end, and the flag lowered.

    Args:
        house: its name. in_words: a wall time as day and clock.
        last_seen_wall_s: when the last run last wrote its record; None: there was none.
        remembered: what survived it, by `Remember` key.
    """
    kept = remembered.get(_KEY)
    # Whatever a damaged record says here, it is only for telling.
    flag = kept if isinstance(kept, Mapping) else {}
    told_wall_s = flag.get("told_wall_s")
    events: list[Event] = []
    if flag.get("ended") is False:
        since = _since(last_seen_wall_s, in_words)
        text = (
            "matwarden did not end as asked: it was killed, hung or crashed, or the power was cut"
            f"{since}. It has begun again by itself, with every mat cut at first. If this comes again, look at the "
            "power supply and into the log."
        )
        events.append(Notice(at, text, warning=True))
        # A long absence is an alarm of its own, and one push is enough.
        long = is_away_too_long(last_seen_wall_s, at.wall_s)
        lately = isinstance(told_wall_s, int | float) and abs(at.wall_s - told_wall_s) < TOLD_EVERY_S
        if not long and not lately:
            told_wall_s = at.wall_s
            events.append(PushAsked(at, f"run/{at.wall_s:.3f}", f"{house}: had to start again", text, Priority.LOW))
    return [*events, Remember(at, _KEY, {"ended": False, "told_wall_s": told_wall_s}, urgent=True)]


def ended_as_asked(begun: list[Event], at: At) -> list[Event]:
    """The flag raised. `begun`: what `run_begins` gave."""
    (flag,) = [event for event in begun if isinstance(event, Remember)]
    return [Remember(at, _KEY, {**flag.value, "ended": True}, urgent=True)]


def _since(last_seen_wall_s: float | None, in_words: Callable[[float], str]) -> str:
    if last_seen_wall_s is None:
        return ""
    try:
        return f"; it last recorded at about {in_words(last_seen_wall_s)}"
    except (ValueError, OverflowError, OSError):  # a damaged time, beyond any calendar
        return ""
