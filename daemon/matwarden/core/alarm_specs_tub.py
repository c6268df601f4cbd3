"""The alarms of one tub, its probes and its mat. Pure; `alarm_table` puts them in their order."""

from __future__ import annotations

from matwarden.core.alarms import AlarmSpec, Worst
from matwarden.terms import Priority

__all__ = [
    "BLIND",
    "BLIND_PROBE",
    "COLD",
    "CUT_OUT",
    "HEAT_NOT_ARRIVING",
    "HEAT_WHILE_CUT",
    "HOT",
    "PROBES_DISAGREE",
    "RELAY_FAULT",
    "RELAY_WEAR",
    "TOO_DRY",
    "UNSTEADY_PROBE",
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

TOO_DRY = AlarmSpec(
    condition="too-dry",
    title="too dry",
    limit=(
        "The moist side's air (or a probe's whose side is not told) would take up too_dry_kpa of vapour or more"
        " (VPD), for too_dry_after_h. A probe on the dry side is not judged."
    ),
    deadband="0.2 kPa less than that",
    priority=Priority.LOW,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="The litter dries out; the animals lose water through their skins and moult badly.",
    response=(
        "Moisten the moist side, and leave the other one dry. If it is soon dry again, look at the lid and its vents;"
        " a lamp dries a tub too: take it away."
    ),
    pushes_start=True,
    pushes_return=True,
    worst=None,
)
