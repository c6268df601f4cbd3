"""Every alarm there is, with what it leads to and what to do, and how long it waits. Pure.

The law: one table; what has no response in it is an event for the log, not an alarm. The words are in `alarm_words`.
"""

from __future__ import annotations

from matwarden.core.alarm_specs_house import (
    BLIND_TOGETHER,
    CLOCK_STEPPED,
    COLD_TOGETHER,
    HOT_TOGETHER,
    NO_DIGEST,
    PEER_LOST,
    PEER_SILENT,
    PEERS_UNSEEN,
    POWER_LOST,
    STORAGE_FAILING,
)
from matwarden.core.alarm_specs_tub import (
    BLIND,
    BLIND_PROBE,
    COLD,
    CUT_OUT,
    HEAT_NOT_ARRIVING,
    HEAT_WHILE_CUT,
    HOT,
    PROBES_DISAGREE,
    RELAY_FAULT,
    RELAY_WEAR,
    TOO_DRY,
    UNSTEADY_PROBE,
)
from matwarden.core.alarms import AlarmSpec
from matwarden.terms import AlarmTimes, InverseTime

__all__ = [
    "ALARMS",
    "BLIND",
    "BLIND_PROBE",
    "BLIND_TOGETHER",
    "CLOCK_STEPPED",
    "COLD",
    "COLD_TOGETHER",
    "CUT_OUT",
    "HEAT_NOT_ARRIVING",
    "HEAT_WHILE_CUT",
    "HOT",
    "HOT_TOGETHER",
    "HOUSE_ALARMS",
    "NO_DIGEST",
    "PEERS_UNSEEN",
    "PEER_ALARMS",
    "PEER_LOST",
    "PEER_SILENT",
    "POWER_LOST",
    "PROBES_DISAGREE",
    "RELAY_FAULT",
    "RELAY_WEAR",
    "STORAGE_FAILING",
    "TOGETHER_ALARMS",
    "TOO_DRY",
    "TUB_ALARMS",
    "UNSTEADY_PROBE",
    "alarm_id",
    "delays",
    "inverse_of",
]

TUB_ALARMS: tuple[AlarmSpec, ...] = (
    COLD,
    HOT,
    CUT_OUT,
    RELAY_FAULT,
    BLIND,
    BLIND_PROBE,
    UNSTEADY_PROBE,
    HEAT_NOT_ARRIVING,
    HEAT_WHILE_CUT,
    PROBES_DISAGREE,
    RELAY_WEAR,
    TOO_DRY,
)
TOGETHER_ALARMS: tuple[AlarmSpec, ...] = (COLD_TOGETHER, HOT_TOGETHER, BLIND_TOGETHER)
HOUSE_ALARMS: tuple[AlarmSpec, ...] = (*TOGETHER_ALARMS, STORAGE_FAILING, CLOCK_STEPPED, POWER_LOST)
# Only of a house that watches others.
PEER_ALARMS: tuple[AlarmSpec, ...] = (PEER_LOST, PEER_SILENT, NO_DIGEST, PEERS_UNSEEN)

ALARMS: tuple[AlarmSpec, ...] = (*TUB_ALARMS, *HOUSE_ALARMS, *PEER_ALARMS)
"""Every kind of alarm.

Neither trip nor relay fault latches here: their condition is the guard's own latch. A welded relay's alarm does: with
the mat unplugged the wall cools, and the relay is as bad as before. `BLIND_PROBE`, `UNSTEADY_PROBE` and
`HEAT_NOT_ARRIVING` are suppressed while `BLIND` of the same enclosure is active, and a tub's `COLD`, `HOT` and
`BLIND` while many tubs ring together, and `PEER_SILENT` and `NO_DIGEST` of a station that is lost: the one tells all.
A stepped clock and a lost power end by themselves: each needs one look, so each is an alarm.
"""


# Heat that does not arrive does its harm over hours: five minutes more, so that no passing draught is told.
_SURE_S = 300.0
# A weld is to be told within 15 minutes, ten of which a cooling wall takes to show.
_WELD_SURE_S = 60.0
_APART_S = 3600.0
# A disk may be busy for a while.
_UNRECORDED_S = 120.0
# A station that only looks in for a moment is not back.
_BACK_S = 60.0


def alarm_id(spec: AlarmSpec, subject: str) -> str:
    """The alarm's id, unique in the house. `subject`: an enclosure's id, of an alarm of a probe the probe's."""
    return f"{spec.condition}/{subject}"


def delays(spec: AlarmSpec, times: AlarmTimes) -> tuple[float, float]:
    """On-delay and off-delay in seconds. A trip and a relay fault are told at once, and are over at once."""
    if spec is COLD:
        return times.cold_after_s, times.clear_after_s
    if spec is HOT:
        return times.hot_after_s, times.clear_after_s
    if spec is BLIND or spec is BLIND_PROBE:
        return times.blind_after_s, times.clear_after_s
    if spec is UNSTEADY_PROBE:
        return 0.0, times.clear_after_s
    if spec is HEAT_NOT_ARRIVING:
        return _SURE_S, times.clear_after_s
    if spec is HEAT_WHILE_CUT:
        return _WELD_SURE_S, times.clear_after_s
    if spec is PROBES_DISAGREE:
        return _APART_S, times.clear_after_s
    if spec is TOO_DRY:
        return times.too_dry_after_s, times.clear_after_s
    if spec is STORAGE_FAILING:
        return _UNRECORDED_S, 0.0
    if spec in TOGETHER_ALARMS:
        return 0.0, times.clear_after_s
    if spec is PEER_LOST:
        return times.lost_after_s, min(_BACK_S, times.lost_after_s)
    if spec is PEERS_UNSEEN:
        return times.lost_after_s, 0.0
    return 0.0, 0.0


def inverse_of(spec: AlarmSpec, times: AlarmTimes) -> InverseTime | None:
    """The curve by which an alarm may ring before its on-delay is over; None: it has none."""
    return times.inverse if spec is COLD or spec is HOT else None
