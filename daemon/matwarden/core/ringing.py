"""When an alarm calls the keeper: at once, once more while nobody acknowledges it, then somebody else. Pure.

The law: only an unacknowledged alarm calls. Whatever ends that state (an acknowledgement, a return, a shelf) ends the
calling; what is announced anew begins with the first call. Time in which the program did not run does not count.
Nobody is called a second time about what is back already, though its deadband or off-delay still keeps the alarm.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Any, NamedTuple

from matwarden.terms import AlarmState, AlarmTimes, Priority

__all__ = ["SILENT", "Call", "Ringing", "from_list", "next_call", "to_list"]


class Call(IntEnum):
    """How often the keeper has been called about this announcement."""

    NONE = 0
    FIRST = 1
    AGAIN = 2
    SECOND = 3  # the second targets too


class Ringing(NamedTuple):
    """What is remembered of the calling.

    Attributes:
        in_state_s: for how long the alarm has been in its state. called: the last call made in this announcement.
    """

    in_state_s: float = 0.0
    called: Call = Call.NONE


SILENT = Ringing()


def next_call(
    ringing: Ringing,
    previous: AlarmState,
    state: AlarmState,
    priority: Priority,
    dt_s: float,
    times: AlarmTimes,
    back: bool = False,
) -> tuple[Ringing, Call]:
    """Take one look; returns the next memory and the call that is due now (`Call.NONE`: none).

    Args:
        previous: its state at the last look. state: its state now. dt_s: seconds since the last look.
        back: what it is about is over now, whatever its deadband and off-delay say: further calls wait.
    """
    if state is not AlarmState.UNACKNOWLEDGED:
        if state is not previous:
            return Ringing(0.0, ringing.called if state is AlarmState.ACKNOWLEDGED else Call.NONE), Call.NONE
        return ringing._replace(in_state_s=ringing.in_state_s + dt_s), Call.NONE
    if state is not previous or ringing.called is Call.NONE:
        return Ringing(0.0, Call.FIRST), Call.FIRST
    waited_s = ringing.in_state_s + dt_s
    if priority is Priority.HIGH:
        # One step at a time, so that after a long sleep of the program the first targets still come first.
        due_s = {Call.FIRST: times.ring_again_s, Call.AGAIN: times.second_after_s}.get(ringing.called)
        if due_s is not None and waited_s >= due_s and not back:
            called = Call(ringing.called + 1)
            return Ringing(waited_s, called), called
        if ringing.called is Call.FIRST and times.ring_again_s is None:
            ringing = ringing._replace(called=Call.AGAIN)
    return ringing._replace(in_state_s=waited_s), Call.NONE


def to_list(ringing: Ringing) -> list[float]:
    """The memory as JSON-able values."""
    return [ringing.in_state_s, int(ringing.called)]


def from_list(kept: Any, state: AlarmState) -> Ringing:
    """The memory as `to_list` gave it. Without one (an older record) what stands has been called about once."""
    if isinstance(kept, list) and len(kept) == 2:
        try:
            return Ringing(max(0.0, float(kept[0])), Call(int(kept[1])))
        except (TypeError, ValueError):
            pass
    return Ringing(0.0, Call.FIRST if state is AlarmState.UNACKNOWLEDGED else Call.NONE)
