"""Every alarm there is, with what it leads to and what to do, and how long it waits. Pure.

The law: one table; what has no response in it is an event for the log, not an alarm. The words are in `alarm_words`.
"""

from __future__ import annotations

from matwarden.core.alarms import AlarmSpec, Worst
from matwarden.terms import AlarmTimes, InverseTime, Priority

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
    "TUB_ALARMS",
    "UNSTEADY_PROBE",
    "alarm_id",
    "delays",
    "inverse_of",
]

COLD = AlarmSpec(
    condition="cold",
    title="cold",
    limit="Inside at or under the band's low edge: for cold_after_min, or for less the further out it is.",
    deadband="back above the edge by the deadband",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=False,
    consequence="Steady cold kills part of a colony; a short dip does no harm.",
    response=(
        "Warm the room, or move the tub higher. If it has a mat, see that it is plugged in and feels warm."
        " No lamp, and no heat under the tub."
    ),
    pushes_start=True,
    pushes_return=True,
    worst=Worst.LOWEST,
)

HOT = AlarmSpec(
    condition="hot",
    title="hot",
    limit="Inside at or over the band's high edge: for hot_after_min, or for less the further out it is.",
    deadband="back below the edge by the deadband",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=False,
    consequence="Steady heat harms the animals, which cannot dig away from a warm room.",
    response="Cool the room, or move the tub lower and out of the sun. If the mat feels hot, unplug it.",
    pushes_start=True,
    pushes_return=True,
    worst=Worst.HIGHEST,
)

CUT_OUT = AlarmSpec(
    condition="cut-out",
    title="heat tripped",
    limit="The software cut-out tripped.",
    deadband="none: until it is reset at the shelf",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="The mat stays off until a person resets the trip: the tub will cool to its room.",
    response="Unplug the mat, see that its probe sits at the wall and the mat is sound, then reset the trip there.",
    pushes_start=True,
    pushes_return=False,
    worst=None,
)

RELAY_FAULT = AlarmSpec(
    condition="relay-fault",
    title="relay does not obey",
    limit="The relay's read-back disagreed with its command twice running.",
    deadband="none: until it is reset at the shelf",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="The mat may stay on, or stay off, whatever is decided.",
    response="Unplug the mat now. Check the relay and its wiring, replace it if it sticks, then reset the fault there.",
    pushes_start=True,
    pushes_return=False,
    worst=None,
)

BLIND = AlarmSpec(
    condition="blind",
    title="no reading",
    limit="No usable inside reading, or no usable wall reading beside a mat, for blind_after_min.",
    deadband="none: one good reading",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="The tub is not watched, and its mat, if any, is cut: it will cool to its room unseen.",
    response="Look at the tub. Check the probe's plug and cable; replace the probe if that does not help.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

BLIND_PROBE = AlarmSpec(
    condition="blind-probe",
    title="probe silent",
    limit="No usable reading of this probe for blind_after_min, while the others still see.",
    deadband="none: one good reading",
    priority=Priority.MEDIUM,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="One probe fewer: the next one to fail may leave the tub unwatched and unheated.",
    response="Check this probe's plug and cable within a day or two; replace the probe if that does not help.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

UNSTEADY_PROBE = AlarmSpec(
    condition="unsteady-probe",
    title="probe unsteady",
    limit=(
        "This probe jumped further than a tub can a dozen times within the hour: a loose contact, interference,"
        " a dying part."
    ),
    deadband="until an hour passes with few doubts",
    priority=Priority.MEDIUM,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="Each jump of this probe cuts heat for a moment: its tub may go cold, and that may not be told.",
    response="Look at the tub. Check the probe's plug and cable, and keep it away from mains cables; else replace it.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

HEAT_NOT_ARRIVING = AlarmSpec(
    condition="heat-not-arriving",
    title="no heat arrives",
    limit=(
        "Heat is allowed and the wall does not show it for 5 min, or shows 1 K less than this much heat usually makes:"
        " a dead or weak mat, an open relay, a wall probe that has fallen off, is stuck or drifts."
    ),
    deadband="until the wall shows the heat",
    priority=Priority.MEDIUM,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="Heat is allowed and the wall does not show it: the tub cools, or its wall heats unseen.",
    response=(
        "Feel the mat. If it is cold: see that it is plugged in, then try the mat and the relay one by one."
        " If it is warm: the wall probe has fallen off or is stuck; unplug the mat and fix the probe at it."
    ),
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

HEAT_WHILE_CUT = AlarmSpec(
    condition="heat-while-cut",
    title="hot with heat cut, pull plug",
    limit=(
        "Heat has been cut for 10 min (5 if it races) and the wall stays as hot, or gets hotter than the air makes it."
    ),
    deadband="until the wall cools",
    priority=Priority.HIGH,
    latching=True,
    auto_acknowledge_on_return=False,
    consequence="The relay may be welded: the mat heats without end and nothing here can stop it.",
    response=(
        "Pull the mat's plug now. Replace the relay before you plug it in again."
        " If the wall feels cool, its probe is stuck or lies in the sun: replace or move the probe."
    ),
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

PROBES_DISAGREE = AlarmSpec(
    condition="probes-disagree",
    title="probes disagree",
    limit="Two probes of one role on the same side are 2 K apart for an hour.",
    deadband="until they agree again",
    priority=Priority.MEDIUM,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="One of two probes is wrong, and nobody knows which: the tub may be held too warm or too cold.",
    response="Hold both beside a thermometer you trust; mend, move or replace the one that is wrong.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

RELAY_WEAR = AlarmSpec(
    condition="relay-wear",
    title="relay nearly worn out",
    limit="The relay has done 80 % of rated_operations.",
    deadband="none",
    priority=Priority.LOW,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="A relay past its rated life fails, sometimes by welding shut: then the mat heats without end.",
    response="Replace the relay in the next weeks, with the mains unplugged.",
    pushes_start=True,
    pushes_return=False,
    worst=None,
)

COLD_TOGETHER = AlarmSpec(
    condition="cold-together",
    title="tubs cold",
    limit="As many tubs as together_tubs says are cold, and one of them is about to ring.",
    deadband="until no more than one tub is cold",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=False,
    consequence="One cause cools many tubs: steady cold kills part of each colony.",
    response="Warm the room: look at its heating and its windows. No lamp, and no heat under a tub.",
    pushes_start=True,
    pushes_return=True,
    worst=Worst.LOWEST,
)

HOT_TOGETHER = AlarmSpec(
    condition="hot-together",
    title="tubs hot",
    limit="As many tubs as together_tubs says are hot, and one of them is about to ring.",
    deadband="until no more than one tub is hot",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=False,
    consequence="One cause heats many tubs: steady heat harms the animals, which cannot flee a warm room.",
    response="Cool the room: shade it, air it, turn its heating down. If the mats feel hot, unplug them.",
    pushes_start=True,
    pushes_return=True,
    worst=Worst.HIGHEST,
)

BLIND_TOGETHER = AlarmSpec(
    condition="blind-together",
    title="tubs not read",
    limit="As many tubs as together_tubs says are blind, and one of them is about to ring.",
    deadband="until no more than one tub is blind",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="None of these tubs is watched, and their mats are cut: they will cool to their room unseen.",
    response="Look for what they share: a bus cable, a plug, a power supply of the probes.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

STORAGE_FAILING = AlarmSpec(
    condition="storage-failing",
    title="nothing is recorded",
    limit="Nothing could be recorded for 2 min.",
    deadband="none: one write that succeeds",
    priority=Priority.MEDIUM,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="Guarding and warming go on, but what happens now is not in the digest, and a trip would not survive a"
    " power cut.",
    response="See whether the disk is full or the card is worn out; free space, or replace the card.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

CLOCK_STEPPED = AlarmSpec(
    condition="clock-stepped",
    title="clock was set",
    limit="The clock was set by more than 5 min, later than 15 min after the start; shown for an hour.",
    deadband="none",
    priority=Priority.LOW,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="Guarding does not depend on it, but times in the record before it are off by as much.",
    response="See that the time is right now and that the machine reaches its time server.",
    pushes_start=True,
    pushes_return=False,
    worst=None,
)

POWER_LOST = AlarmSpec(
    condition="power-lost",
    title="was off",
    limit="The program did not run for more than 10 min, told at the next start; shown for an hour.",
    deadband="none",
    priority=Priority.LOW,
    latching=False,
    auto_acknowledge_on_return=False,
    consequence="No tub was watched or heated in that time: each may have cooled to its room.",
    response="Look at the tubs and see whether the power is steady. Warming has begun again by itself.",
    pushes_start=True,
    pushes_return=False,
    worst=None,
)

PEER_LOST = AlarmSpec(
    condition="peer-lost",
    title="lost",
    limit="A watched station is not connected to the broker for lost_after_min.",
    deadband="until it is connected",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="Nobody watches its tubs, and their mats, if any, are cut or not guarded: they may cool unseen.",
    response="See whether it has power and network; then look at its tubs.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

PEER_SILENT = AlarmSpec(
    condition="peer-silent",
    title="no fresh reading",
    limit="A watched station is connected, but tells of no fresh reading for stale_after_min.",
    deadband="none: one fresh reading",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="None of its tubs is watched, and their mats are cut: they will cool to their room unseen.",
    response="Look at its probes, then into its log; take its power away and give it back if it hangs.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

NO_DIGEST = AlarmSpec(
    condition="no-digest",
    title="no nightly digest",
    limit="The last digest that a watched station published is older than no_digest_after_h.",
    deadband="none: one digest",
    priority=Priority.MEDIUM,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="The proof that all of it works did not come: what else it no longer does is not known.",
    response="See that it runs and that its clock is right, then look into its log.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

PEERS_UNSEEN = AlarmSpec(
    condition="peers-unseen",
    title="cannot see the others",
    limit="There is no connection to the broker for the longest lost_after_min of the watched stations.",
    deadband="none: one connection",
    priority=Priority.MEDIUM,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="Should one of the watched stations die now, nobody would tell; the broker's own machine may be dead.",
    response="See whether the broker's machine has power and network.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

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
