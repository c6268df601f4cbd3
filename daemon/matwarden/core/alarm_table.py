"""Every alarm there is, with what it leads to and what to do, and the words a person is told. Pure.

The law: one table; what has no response in it is an event for the log, not an alarm. A text says first the tub, then
what, for how long, what it is now, then what to do; a title fits one line of a locked phone.
"""

from __future__ import annotations

from typing import NamedTuple

from matwarden.core.alarms import AlarmSpec, Change, Worst
from matwarden.core.units import duration_text, temperature_text
from matwarden.terms import AlarmTimes, Band, Priority, Unit

__all__ = [
    "ALARMS",
    "BLIND",
    "BLIND_PROBE",
    "COLD",
    "CUT_OUT",
    "HOT",
    "RELAY_FAULT",
    "TITLE_LENGTH",
    "Facts",
    "Push",
    "alarm_id",
    "delays",
    "push",
    "return_text",
    "start_text",
    "text",
]

TITLE_LENGTH = 40
"""Characters of a title that a locked phone shows on one line (common practice, no source)."""

COLD = AlarmSpec(
    condition="cold",
    title="cold",
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=True,
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
    priority=Priority.HIGH,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="Steady heat harms the animals, which cannot dig away from a warm room.",
    response="Cool the room, or move the tub lower and out of the sun. If the mat feels hot, unplug it.",
    pushes_start=True,
    pushes_return=True,
    worst=Worst.HIGHEST,
)

CUT_OUT = AlarmSpec(
    condition="cut-out",
    title="heat tripped",
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
    priority=Priority.MEDIUM,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="One probe fewer: the next one to fail may leave the tub unwatched and unheated.",
    response="Check this probe's plug and cable within a day or two; replace the probe if that does not help.",
    pushes_start=True,
    pushes_return=True,
    worst=None,
)

ALARMS: tuple[AlarmSpec, ...] = (COLD, HOT, CUT_OUT, RELAY_FAULT, BLIND, BLIND_PROBE)
"""Every kind of alarm. All acknowledge themselves on return: there is no way to acknowledge one yet.

Neither trip nor relay fault latches here: their condition is the guard's own latch. `BLIND_PROBE` is to be suppressed
while `BLIND` of the same enclosure is active: the one tells all.
"""


class Facts(NamedTuple):
    """What a text can say besides the change itself.

    Attributes:
        tub: the tub's name as the keeper knows it; "Room" for a room probe.
        unit: the keeper's.
        band: the tub's; None for a room probe.
        now_c: inside temperature now (of the room for a room probe); None when unknown.
        probe: id of the probe, for `BLIND_PROBE`.
        why: one clause or sentence from whoever knows the cause (guard, probe); may be empty.
    """

    tub: str
    unit: Unit
    band: Band | None = None
    now_c: float | None = None
    probe: str = ""
    why: str = ""


class Push(NamedTuple):
    """What a phone shows."""

    title: str
    body: str


def alarm_id(spec: AlarmSpec, subject: str) -> str:
    """The alarm's id, unique in the house. `subject`: an enclosure's id, for `BLIND_PROBE` a probe's."""
    return f"{spec.condition}/{subject}"


def delays(spec: AlarmSpec, times: AlarmTimes) -> tuple[float, float]:
    """On-delay and off-delay in seconds. A trip and a relay fault are told at once, and are over at once."""
    if spec is COLD:
        return times.cold_after_s, times.clear_after_s
    if spec is HOT:
        return times.hot_after_s, times.clear_after_s
    if spec is BLIND or spec is BLIND_PROBE:
        return times.blind_after_s, times.clear_after_s
    return 0.0, 0.0


def text(spec: AlarmSpec, change: Change, facts: Facts) -> str:
    """One sentence for a transition, whichever it is."""
    if change.starts:
        return start_text(spec, change, facts)
    if change.returns:
        return return_text(spec, change, facts)
    return f"{facts.tub}: the alarm {spec.title!r} is now {change.state.value}."


def push(spec: AlarmSpec, change: Change, facts: Facts) -> Push | None:
    """What the phone is told about a transition; None when it is not told."""
    if change.starts and spec.pushes_start:
        title = _title(facts.tub, _start_words(spec, change, facts))
        return Push(title, f"{start_text(spec, change, facts)} {spec.response}")
    if change.returns and spec.pushes_return:
        title = _title(facts.tub, _return_words(spec, change, facts))
        return Push(title, return_text(spec, change, facts))
    return None


def start_text(spec: AlarmSpec, change: Change, facts: Facts) -> str:
    """One sentence for an alarm that starts: the tub, what, how long, now."""
    lasted, now = duration_text(change.active_s), _now(facts)
    if spec is COLD:
        under = "" if facts.band is None else f" at or under {temperature_text(facts.band.low_c, facts.unit)}"
        return f"{facts.tub} is cold:{under} for {lasted}{_extreme('coldest', change, facts)}{now}."
    if spec is HOT:
        over = "" if facts.band is None else f" at or over {temperature_text(facts.band.high_c, facts.unit)}"
        return f"{facts.tub} is hot:{over} for {lasted}{_extreme('hottest', change, facts)}{now}."
    if spec is CUT_OUT:
        return f"{facts.tub}: the software cut-out tripped and heat stays cut{_because(facts)}."
    if spec is RELAY_FAULT:
        return f"{facts.tub}: the relay does not do what it is told; heat is cut by command{_because(facts)}."
    if spec is BLIND:
        return f"{facts.tub} has had {_unread(facts)} for {lasted}{_because(facts)}{now}."
    return f"{facts.tub}: probe {facts.probe} has had no good reading for {lasted}{_because(facts)}{now}."


def return_text(spec: AlarmSpec, change: Change, facts: Facts) -> str:
    """One sentence for an alarm that is over."""
    lasted, now = duration_text(change.active_s), _now(facts)
    if spec is COLD or spec is HOT:
        extreme = _extreme("coldest" if spec is COLD else "hottest", change, facts).replace(", ", "; ", 1)
        return f"{facts.tub} {_is_back(spec, facts)} after {lasted}{extreme}{now}."
    if spec is CUT_OUT:
        return f"{facts.tub}: the trip was reset after {lasted}."
    if spec is RELAY_FAULT:
        return f"{facts.tub}: the relay fault was reset after {lasted}."
    if spec is BLIND:
        return f"{facts.tub} can be read again after {lasted}{now}."
    return f"{facts.tub}: probe {facts.probe} can be read again after {lasted}{now}."


def _start_words(spec: AlarmSpec, change: Change, facts: Facts) -> str:
    lasted = duration_text(change.active_s)
    if spec is COLD or spec is HOT:
        return f"{spec.title} for {lasted}{_now(facts)}"
    if spec is BLIND:
        return f"{_unread(facts)} for {lasted}"
    if spec is BLIND_PROBE:
        return f"{spec.title}, {facts.probe}"
    return f"{spec.title}, unplug mat" if spec is RELAY_FAULT else f"{spec.title}, look now"


def _return_words(spec: AlarmSpec, change: Change, facts: Facts) -> str:
    lasted = duration_text(change.active_s)
    if spec is COLD or spec is HOT:
        return f"{_is_back(spec, facts).replace('is ', '').replace('its ', '')} after {lasted}"
    if spec is BLIND_PROBE:
        return f"probe back, {facts.probe}"
    return f"read again after {lasted}"


def _is_back(spec: AlarmSpec, facts: Facts) -> str:
    band, now_c = facts.band, facts.now_c
    if band is None or now_c is None or not band.low_c <= now_c <= band.high_c:
        return f"is no longer {spec.title}"
    return "is back in its band"


def _unread(facts: Facts) -> str:
    """A tub whose inside is known can only be blind for want of its wall."""
    return "no good reading" if facts.now_c is None else "no good wall reading"


def _extreme(which: str, change: Change, facts: Facts) -> str:
    return "" if change.worst is None else f", {which} {temperature_text(change.worst, facts.unit)}"


def _now(facts: Facts) -> str:
    return "" if facts.now_c is None else f", now {temperature_text(facts.now_c, facts.unit)}"


def _because(facts: Facts) -> str:
    return f" ({facts.why.rstrip('. ')})" if facts.why else ""


def _title(tub: str, words: str) -> str:
    """The tub first. Of a tub's name that is too long the end goes; then the words are cut too."""
    if len(tub) + 2 + len(words) > TITLE_LENGTH:
        room = max(TITLE_LENGTH - 2 - len(words), 8)
        if len(tub) > room:
            tub = tub[: room - 1].rstrip() + "…"
    whole = f"{tub}: {words}"
    return whole if len(whole) <= TITLE_LENGTH else whole[: TITLE_LENGTH - 1].rstrip() + "…"
