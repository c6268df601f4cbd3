"""The states of an alarm and every way from one to another, as data: ISA-18.2 / IEC 62682.

The law: every transition there is stands in `TABLE`; an event without a row there leaves the alarm as it is. The
openly readable statement of the model is OPC 10000-9, which says it follows both.
"""

from __future__ import annotations

from enum import Enum, StrEnum
from typing import NamedTuple

from matwarden.terms import AlarmState

__all__ = ["TABLE", "AlarmEvent", "Row", "When", "next_state"]


class AlarmEvent(StrEnum):
    """What can happen to an alarm."""

    ACTIVE = "active"  # the condition outlasted its on-delay
    CLEAR = "clear"  # it was gone for its off-delay
    ACKNOWLEDGE = "acknowledge"
    RE_ALARM = "re-alarm"  # it was acknowledged long ago and still stands
    SHELVE = "shelve"
    UNSHELVE = "unshelve"  # by a person, by its timer, or by the end of a one-shot
    SUPPRESS = "suppress"
    UNSUPPRESS = "unsuppress"
    TAKE_OUT = "take-out-of-service"
    PUT_BACK = "return-to-service"
    RESET = "reset"


class When(Enum):
    """A further condition of a row of the table."""

    ALWAYS = "always"
    ACTIVE = "the alarm is active behind what is shown"
    SEEN = "it is active, and this activation was acknowledged already"
    LATCHING = "the alarm is a latching one"
    AUTO_ACKNOWLEDGED = "the alarm acknowledges itself when it returns"
    KNOWN_GONE = "the condition is known to be false now"


class Row(NamedTuple):
    """One transition: in `state`, on `event`, if `when`, to `to`. The first row that fits is taken."""

    state: AlarmState
    event: AlarmEvent
    when: When
    to: AlarmState


_S, _E = AlarmState, AlarmEvent
_PLAIN = (_S.NORMAL, _S.UNACKNOWLEDGED, _S.ACKNOWLEDGED, _S.RETURNED_UNACKNOWLEDGED)

TABLE: tuple[Row, ...] = (
    Row(_S.NORMAL, _E.ACTIVE, When.ALWAYS, _S.UNACKNOWLEDGED),
    Row(_S.UNACKNOWLEDGED, _E.ACKNOWLEDGE, When.ALWAYS, _S.ACKNOWLEDGED),
    Row(_S.UNACKNOWLEDGED, _E.CLEAR, When.LATCHING, _S.LATCHED_UNACKNOWLEDGED),
    Row(_S.UNACKNOWLEDGED, _E.CLEAR, When.AUTO_ACKNOWLEDGED, _S.NORMAL),
    Row(_S.UNACKNOWLEDGED, _E.CLEAR, When.ALWAYS, _S.RETURNED_UNACKNOWLEDGED),
    Row(_S.ACKNOWLEDGED, _E.CLEAR, When.LATCHING, _S.LATCHED_ACKNOWLEDGED),
    Row(_S.ACKNOWLEDGED, _E.CLEAR, When.ALWAYS, _S.NORMAL),
    Row(_S.ACKNOWLEDGED, _E.RE_ALARM, When.ACTIVE, _S.UNACKNOWLEDGED),
    Row(_S.RETURNED_UNACKNOWLEDGED, _E.ACKNOWLEDGE, When.ALWAYS, _S.NORMAL),
    Row(_S.RETURNED_UNACKNOWLEDGED, _E.ACTIVE, When.ALWAYS, _S.UNACKNOWLEDGED),
    *(Row(state, _E.SHELVE, When.ALWAYS, _S.SHELVED) for state in _PLAIN),
    *(Row(state, _E.SUPPRESS, When.ALWAYS, _S.SUPPRESSED) for state in _PLAIN),
    *(Row(state, _E.TAKE_OUT, When.ALWAYS, _S.OUT_OF_SERVICE) for state in _PLAIN),
    # What was acknowledged does not ring again for having been out of sight: OPC 10000-9 keeps the acknowledgement
    # apart from shelving and suppression.
    *(
        Row(state, event, when, to)
        for state, event in (
            (_S.SHELVED, _E.UNSHELVE),
            (_S.SUPPRESSED, _E.UNSUPPRESS),
            (_S.OUT_OF_SERVICE, _E.PUT_BACK),
        )
        for when, to in (
            (When.SEEN, _S.ACKNOWLEDGED),
            (When.ACTIVE, _S.UNACKNOWLEDGED),
            (When.ALWAYS, _S.NORMAL),
        )
    ),
    # A latch holds what is over; when it begins anew that is news.
    Row(_S.LATCHED_UNACKNOWLEDGED, _E.ACTIVE, When.ALWAYS, _S.UNACKNOWLEDGED),
    Row(_S.LATCHED_ACKNOWLEDGED, _E.ACTIVE, When.ALWAYS, _S.UNACKNOWLEDGED),
    Row(_S.LATCHED_UNACKNOWLEDGED, _E.ACKNOWLEDGE, When.ALWAYS, _S.LATCHED_ACKNOWLEDGED),
    Row(_S.LATCHED_ACKNOWLEDGED, _E.RESET, When.KNOWN_GONE, _S.NORMAL),
)

_ROWS: dict[tuple[AlarmState, AlarmEvent], tuple[Row, ...]] = {
    (state, event): tuple(row for row in TABLE if row.state is state and row.event is event)
    for state in AlarmState
    for event in AlarmEvent
}


def next_state(
    state: AlarmState,
    event: AlarmEvent,
    *,
    active: bool = False,
    seen: bool = False,
    known_gone: bool = False,
    latching: bool = False,
    auto_acknowledge: bool = False,
) -> AlarmState:
    """The state after `event` by the table; the same state when no row of the table fits.

    Args:
        active: the condition is true behind its delays, whatever is shown. seen: this activation was acknowledged.
        known_gone: the condition is known to be false now.
        latching, auto_acknowledge: how this alarm is made (`AlarmSpec`).
    """
    for row in _ROWS[state, event]:
        if (
            row.when is When.ALWAYS
            or (row.when is When.ACTIVE and active)
            or (row.when is When.SEEN and active and seen)
            or (row.when is When.LATCHING and latching)
            or (row.when is When.AUTO_ACKNOWLEDGED and auto_acknowledge)
            or (row.when is When.KNOWN_GONE and known_gone)
        ):
            return row.to
    return state
