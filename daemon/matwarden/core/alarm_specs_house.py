"""The alarms of no single tub: many tubs at once, the machine itself, other stations. Pure; see `alarm_table`."""

from __future__ import annotations

from matwarden.core.alarms import AlarmSpec, Worst
from matwarden.terms import Priority

__all__ = [
    "BLIND_TOGETHER",
    "CLOCK_STEPPED",
    "COLD_TOGETHER",
    "HOT_TOGETHER",
    "NO_DIGEST",
    "PEERS_UNSEEN",
    "PEER_LOST",
    "PEER_SILENT",
    "POWER_LOST",
    "STORAGE_FAILING",
]

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
