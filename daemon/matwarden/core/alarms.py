"""One alarm from one look to the next: deadbanded condition in, delays, state of ISA-18.2 / IEC 62682 out. Pure.

The law: which state follows which is said by the table in `alarm_states` and nowhere else. Delays count known time
only: an unknown condition (None) neither advances nor clears a delay, and the interval after it does
not count either. Time is an argument, in seconds of a clock that is never set. The openly readable statement of the
model is OPC 10000-9 (deadband, on-delay, off-delay: B.1.5; shelving: 5.8.17).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from matwarden.core.alarm_states import AlarmEvent, next_state
from matwarden.core.inverse_time import FULL_DOSE, dose_after
from matwarden.terms import AlarmState, InverseTime, Priority

__all__ = [
    "QUIET",
    "AlarmMemory",
    "AlarmSpec",
    "Change",
    "Worst",
    "acknowledge",
    "is_quiet",
    "re_alarm",
    "reset",
    "return_to_service",
    "shelve",
    "step",
    "take_out_of_service",
    "unshelve",
]


class Worst(Enum):
    """Which extreme of the watched value tells how bad an alarm was."""

    LOWEST = "lowest"
    HIGHEST = "highest"


@dataclass(frozen=True, slots=True)
class AlarmSpec:
    """One kind of alarm.

    Attributes:
        condition: first part of the alarm's id, such as `cold`.
        title: what it is, after the tub's name: "cold".
        limit: when it sets. deadband: how far back it must be before it clears. Both in words, for its documentation.
        auto_acknowledge_on_return: the alarm needs no acknowledgement once the condition is over.
        consequence: what happens to the animals when nobody acts. response: what to do now.
        pushes_start, pushes_return: whether the phone is told.
        worst: which extreme of the watched value is kept while the condition is true; None when it has no value.

    Raises:
        ValueError: no response or no consequence. What needs no response is an event, not an alarm.
    """

    condition: str
    title: str
    limit: str
    deadband: str
    priority: Priority
    latching: bool
    auto_acknowledge_on_return: bool
    consequence: str
    response: str
    pushes_start: bool
    pushes_return: bool
    worst: Worst | None

    def __post_init__(self) -> None:
        if not self.consequence.strip() or not self.response.strip():
            raise ValueError(f"{self.condition}: an alarm says what it leads to and what to do now")


class AlarmMemory(NamedTuple):
    """All that an alarm remembers from one step to the next.

    Attributes:
        condition: the last known condition; a condition with a deadband is judged against it.
        known: the last step knew the condition.
        active: the condition after both delays, whatever is shown (shelved, suppressed).
        pending_s: how much of the on-delay has passed. clearing_s: how much of the off-delay has passed.
        active_s: for how long the condition is known to have been true, on-delay and brief returns included.
        worst: extreme of the watched value since the condition became true.
        shelved_left_s: seconds until it is unshelved; None unless shelved.
        one_shot: shelved until this activation (or the next one) is over.
        dose: of the inverse-time rule, from 0 to 1: at 1 the alarm sets before its on-delay is over.
        acknowledged: a person has seen this activation, whatever is shown since.
    """

    state: AlarmState = AlarmState.NORMAL
    condition: bool = False
    known: bool = True
    active: bool = False
    pending_s: float = 0.0
    clearing_s: float = 0.0
    active_s: float = 0.0
    worst: float | None = None
    shelved_left_s: float | None = None
    one_shot: bool = False
    dose: float = 0.0
    acknowledged: bool = False


class Change(NamedTuple):
    """A transition that took place.

    Attributes:
        active_s: for how long the condition was known to be true. worst: the extreme in that time.
    """

    previous: AlarmState
    state: AlarmState
    active_s: float
    worst: float | None

    @property
    def starts(self) -> bool:
        """True when the alarm must be announced: it became unacknowledged."""
        return self.state is AlarmState.UNACKNOWLEDGED

    @property
    def returns(self) -> bool:
        """True when an alarm that was shown as active is over."""
        return self.previous in _SHOWN_ACTIVE and self.state in _RETURNED


QUIET = AlarmMemory()
"""An alarm with nothing to tell. `step` returns this very object whenever nothing is the matter."""

_S = AlarmState
_SHOWN_ACTIVE = (_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED)
_RETURNED = (_S.NORMAL, _S.RETURNED_UNACKNOWLEDGED, _S.LATCHED_UNACKNOWLEDGED, _S.LATCHED_ACKNOWLEDGED)
_NOTHING: tuple[AlarmMemory, None] = (QUIET, None)
# Sums of poll intervals must reach a round delay in the poll that completes it, not in the one after.
_ROUNDING_S = 1e-6


def step(
    memory: AlarmMemory,
    condition: bool | None,
    suppress: bool,
    dt_s: float,
    on_delay_s: float,
    off_delay_s: float,
    spec: AlarmSpec,
    value: float | None = None,
    inverse: InverseTime | None = None,
    deviation_k: float = 0.0,
) -> tuple[AlarmMemory, Change | None]:
    """Take one look at the condition.

    Args:
        condition: True, False (deadband already applied), or None when it is not known.
        suppress: another alarm makes this one pointless at the moment.
        dt_s: seconds since the last step. The time up to the first True (or first False) does not count.
        value: what `spec.worst` keeps the extreme of; None when unknown.
        inverse: the curve by which it may set before the on-delay is over; None: only after the on-delay.
        deviation_k: how far out the value is now, for that curve. Below 0 it is back inside, if only by less than its
            deadband: a delay goes on there, but nothing sets.

    Returns:
        The next memory, and the change of state if there was one. Several transitions in one step (a shelf that
        ends under a suppression) are told as one, from the first state to the last.
    """
    if memory is QUIET and not condition and not suppress:
        return _NOTHING
    dose = memory.dose
    if inverse is not None and condition is not None and memory.known and (memory.condition or not condition):
        dose = dose_after(dose, inverse, deviation_k, dt_s)
    timed, edge = _time(memory, condition, dt_s, on_delay_s, off_delay_s, spec.worst, value, dose, deviation_k >= 0.0)
    state = timed.state
    if edge is not None:
        state = _next(state, edge, timed, spec)
    if state is _S.SHELVED:
        left_s = (timed.shelved_left_s or 0.0) - dt_s
        timed = timed._replace(shelved_left_s=left_s)
        if left_s <= _ROUNDING_S or (timed.one_shot and edge is AlarmEvent.CLEAR):
            state = _next(state, AlarmEvent.UNSHELVE, timed, spec)
    if suppress:
        state = _next(state, AlarmEvent.SUPPRESS, timed, spec)
    elif state is _S.SUPPRESSED:
        state = _next(state, AlarmEvent.UNSUPPRESS, timed, spec)
    return _settle(memory, timed, state)


def acknowledge(memory: AlarmMemory, spec: AlarmSpec) -> tuple[AlarmMemory, Change | None]:
    """A person has seen it. Without effect (memory unchanged, None) where there is nothing to acknowledge.

    Of an active alarm that is not shown now (shelved, suppressed) it is remembered, and told as no change.
    """
    if memory.active and not memory.acknowledged:
        memory = memory._replace(acknowledged=True)
    return _send(memory, AlarmEvent.ACKNOWLEDGE, spec)


def re_alarm(memory: AlarmMemory, spec: AlarmSpec) -> tuple[AlarmMemory, Change | None]:
    """It was acknowledged long ago and still stands: announce it again, as if it had just occurred."""
    memory, change = _send(memory, AlarmEvent.RE_ALARM, spec)
    return (memory if change is None else memory._replace(acknowledged=False)), change


def reset(memory: AlarmMemory, spec: AlarmSpec) -> tuple[AlarmMemory, Change | None]:
    """End a latch. Refused (memory unchanged, None) unless the condition is known to be false now."""
    return _send(memory, AlarmEvent.RESET, spec)


def shelve(
    memory: AlarmMemory, spec: AlarmSpec, for_s: float | None, maximum_s: float
) -> tuple[AlarmMemory, Change | None]:
    """Put the alarm aside for `for_s` seconds, or, with None, for the current (or next) activation.

    Both kinds end after `maximum_s` at the latest.

    Raises:
        ValueError: `for_s` is not above zero, or is above `maximum_s`.
    """
    if for_s is not None and not 0.0 < for_s <= maximum_s:
        raise ValueError(f"an alarm can be shelved for up to {maximum_s:g} s, not for {for_s:g} s")
    if _next(memory.state, AlarmEvent.SHELVE, memory, spec) is memory.state:
        return memory, None
    left_s = maximum_s if for_s is None else for_s
    shelved = memory._replace(shelved_left_s=left_s, one_shot=for_s is None)
    return _settle(memory, shelved, _S.SHELVED)


def unshelve(memory: AlarmMemory, spec: AlarmSpec) -> tuple[AlarmMemory, Change | None]:
    """Take it off the shelf before its time."""
    return _send(memory, AlarmEvent.UNSHELVE, spec)


def take_out_of_service(memory: AlarmMemory, spec: AlarmSpec) -> tuple[AlarmMemory, Change | None]:
    """Maintenance: not shown until a person puts it back."""
    return _send(memory, AlarmEvent.TAKE_OUT, spec)


def return_to_service(memory: AlarmMemory, spec: AlarmSpec) -> tuple[AlarmMemory, Change | None]:
    """Maintenance is over: shown again, and announced if the condition stands."""
    return _send(memory, AlarmEvent.PUT_BACK, spec)


def _time(
    memory: AlarmMemory,
    condition: bool | None,
    dt_s: float,
    on_delay_s: float,
    off_delay_s: float,
    keep: Worst | None,
    value: float | None,
    dose: float,
    out: bool,
) -> tuple[AlarmMemory, AlarmEvent | None]:
    """Advance the delays; the event is the one that a completed delay gives."""
    (state, before, known, active, pending_s, clearing_s, active_s, worst, left_s, one_shot, _, acknowledged) = memory
    edge: AlarmEvent | None = None
    if condition is None:
        if not known:
            return memory, None
        return memory._replace(known=False), None
    counted_s = dt_s if known else 0.0
    if condition:
        if value is not None and keep is not None and (worst is None or (value < worst) is (keep is Worst.LOWEST)):
            worst = value
        if active:
            active_s += clearing_s + counted_s
            clearing_s = 0.0
        else:
            pending_s = pending_s + counted_s if before else 0.0
            if out and (pending_s >= on_delay_s - _ROUNDING_S or dose >= FULL_DOSE - _ROUNDING_S):
                active, active_s, pending_s, edge = True, pending_s, 0.0, AlarmEvent.ACTIVE
                acknowledged = False
    elif active:
        if before:
            active_s, clearing_s = active_s + counted_s, 0.0
        else:
            clearing_s += counted_s
        if clearing_s >= off_delay_s - _ROUNDING_S:
            active, clearing_s, edge = False, 0.0, AlarmEvent.CLEAR
            acknowledged, dose = False, 0.0
    else:
        pending_s, active_s, worst = 0.0, 0.0, None
    times = (pending_s, clearing_s, active_s)
    return AlarmMemory(state, condition, True, active, *times, worst, left_s, one_shot, dose, acknowledged), edge


def _next(state: AlarmState, event: AlarmEvent, memory: AlarmMemory, spec: AlarmSpec) -> AlarmState:
    return next_state(
        state,
        event,
        active=memory.active,
        seen=memory.acknowledged,
        known_gone=memory.known and not memory.condition and not memory.active,
        latching=spec.latching,
        auto_acknowledge=spec.auto_acknowledge_on_return,
    )


def _send(memory: AlarmMemory, event: AlarmEvent, spec: AlarmSpec) -> tuple[AlarmMemory, Change | None]:
    state = _next(memory.state, event, memory, spec)
    if state is memory.state:
        return memory, None
    return _settle(memory, memory, state)


def _settle(before: AlarmMemory, after: AlarmMemory, state: AlarmState) -> tuple[AlarmMemory, Change | None]:
    """Put `state` into the memory, drop what belongs to a state that was left, and tell the change."""
    change = None
    if state is not before.state:
        change = Change(before.state, state, after.active_s, after.worst)
    if after.state is not state:
        after = after._replace(state=state)
    if after.shelved_left_s is not None and state is not _S.SHELVED:
        after = after._replace(shelved_left_s=None, one_shot=False)
    if not after.condition and not after.active and after.active_s:
        after = after._replace(active_s=0.0, worst=None)
    return (QUIET if is_quiet(after) else after), change


def is_quiet(memory: AlarmMemory) -> bool:
    """True when nothing of it is worth remembering: then it is `QUIET`."""
    return memory.state is _S.NORMAL and not memory.condition and not memory.active and not memory.dose
