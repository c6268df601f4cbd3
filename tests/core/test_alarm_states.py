"""The whole table of alarm states, against the model of ISA-18.2 / IEC 62682 as OPC 10000-9 openly restates it.

The expected transitions are written down here a second time, from the standard's side, not read from the program.
The two latched states and the state names are from memory of ISA-18.2; shelving, suppression, out of service and
return are in OPC 10000-9 sections 4.8 and 5.8.
"""

from __future__ import annotations

from itertools import product

import pytest

from matwarden.core.alarm_states import TABLE, AlarmEvent, next_state
from matwarden.terms import AlarmState

# (state, event, (active, seen, known gone, latching, acknowledges itself)) -> state; a dash is "does not matter".
# That an acknowledgement outlives shelving, suppression and maintenance: OPC 10000-9 keeps it as a state of its own
# (5.8.2). That a latched alarm which begins anew is announced: ours.
STANDARD = """
normal                  active                 - - - - -  unacknowledged
unacknowledged          acknowledge            - - - - -  acknowledged
unacknowledged          clear                  - - - y -  latched-unacknowledged
unacknowledged          clear                  - - - n y  normal
unacknowledged          clear                  - - - n n  returned-unacknowledged
acknowledged            clear                  - - - y -  latched-acknowledged
acknowledged            clear                  - - - n -  normal
acknowledged            re-alarm               y - - - -  unacknowledged
returned-unacknowledged acknowledge            - - - - -  normal
returned-unacknowledged active                 - - - - -  unacknowledged
normal                  shelve                 - - - - -  shelved
unacknowledged          shelve                 - - - - -  shelved
acknowledged            shelve                 - - - - -  shelved
returned-unacknowledged shelve                 - - - - -  shelved
normal                  suppress               - - - - -  suppressed-by-design
unacknowledged          suppress               - - - - -  suppressed-by-design
acknowledged            suppress               - - - - -  suppressed-by-design
returned-unacknowledged suppress               - - - - -  suppressed-by-design
normal                  take-out-of-service    - - - - -  out-of-service
unacknowledged          take-out-of-service    - - - - -  out-of-service
acknowledged            take-out-of-service    - - - - -  out-of-service
returned-unacknowledged take-out-of-service    - - - - -  out-of-service
shelved                 unshelve               y y - - -  acknowledged
shelved                 unshelve               y n - - -  unacknowledged
shelved                 unshelve               n - - - -  normal
suppressed-by-design    unsuppress             y y - - -  acknowledged
suppressed-by-design    unsuppress             y n - - -  unacknowledged
suppressed-by-design    unsuppress             n - - - -  normal
out-of-service          return-to-service      y y - - -  acknowledged
out-of-service          return-to-service      y n - - -  unacknowledged
out-of-service          return-to-service      n - - - -  normal
latched-unacknowledged  acknowledge            - - - - -  latched-acknowledged
latched-acknowledged    reset                  - - y - -  normal
latched-unacknowledged  active                 - - - - -  unacknowledged
latched-acknowledged    active                 - - - - -  unacknowledged
"""

Flags = tuple[bool, ...]


def expected(state: AlarmState, event: AlarmEvent, flags: Flags) -> AlarmState:
    """What the standard's side says; no line means that the state stays."""
    for line in STANDARD.strip().splitlines():
        words = line.split()
        fits = all(mark == "-" or (mark == "y") is flag for mark, flag in zip(words[2:7], flags, strict=True))
        if words[0] == state.value and words[1] == event.value and fits:
            return AlarmState(words[7])
    return state


@pytest.mark.parametrize("event", AlarmEvent)
@pytest.mark.parametrize("state", AlarmState)
def test_every_state_meets_every_event_as_in_the_standard(state: AlarmState, event: AlarmEvent) -> None:
    """In all nine states every event leads where the standard says, and nowhere if it says nothing."""
    for flags in product((False, True), repeat=5):
        active, seen, known_gone, latching, auto = flags
        reached = next_state(
            state,
            event,
            active=active,
            seen=seen,
            known_gone=known_gone,
            latching=latching,
            auto_acknowledge=auto,
        )
        assert reached is expected(state, event, flags), flags


def test_no_state_is_a_dead_end() -> None:
    """From every state some chain of events leads back to normal."""
    reaching = {AlarmState.NORMAL}
    while more := {row.state for row in TABLE if row.to in reaching} - reaching:
        reaching |= more
    assert reaching == set(AlarmState)


def test_no_row_of_the_table_is_idle() -> None:
    """Each row is the one that decides for at least one combination: none is hidden by the rows before it."""
    for row in TABLE:
        others = tuple(other for other in TABLE if other is not row and (other.state, other.event) == row[:2])
        assert all(other.to is not row.to or other.when is not row.when for other in others), row
        assert row.to is not row.state, row
