"""What a person is told of an alarm that starts or is over. Pure.

A text says first the tub, then what, for how long, what it is now, then what to do; a title fits one line of a locked
phone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from matwarden.core.alarm_table import (
    BLIND,
    BLIND_PROBE,
    COLD,
    CUT_OUT,
    HEAT_WHILE_CUT,
    HOT,
    PEER_LOST,
    RELAY_FAULT,
    TOGETHER_ALARMS,
    TOO_DRY,
    UNSTEADY_PROBE,
)
from matwarden.core.alarms import AlarmSpec, Change, Worst
from matwarden.core.ringing import Call
from matwarden.core.units import duration_text, temperature_text
from matwarden.terms import Band, Unit

__all__ = ["TITLE_LENGTH", "Facts", "Push", "push", "return_text", "start_text", "text"]

TITLE_LENGTH = 40
"""Characters of a title that a locked phone shows on one line (common practice, no source)."""


# Fewer characters of a tub's name do not tell it from its neighbours.
_TUB_AT_LEAST = 14
_WORTH_TELLING_S = 60.0


class Facts(NamedTuple):
    """What a text can say besides the change itself.

    Attributes:
        tub: the tub's name as the keeper knows it; "Room" for a room probe; of a house alarm the house's.
        unit: the keeper's.
        band: the tub's; None for a room probe.
        now_c: inside temperature now (of the room for a room probe); None when unknown.
        probe: id of the probe, for `BLIND_PROBE` and `UNSTEADY_PROBE`.
        why: one clause or sentence from whoever knows the cause (guard, probe); may be empty. Of the newer alarms the
            numbers themselves.
        how_many: how many tubs of how many, where many ring as one; of another station how it is gone.
    """

    tub: str
    unit: Unit
    band: Band | None = None
    now_c: float | None = None
    probe: str = ""
    why: str = ""
    how_many: str = ""


class Push(NamedTuple):
    """What a phone shows."""

    title: str
    body: str


def text(spec: AlarmSpec, change: Change, facts: Facts) -> str:
    """One sentence for a transition, whichever it is."""
    if change.starts:
        return start_text(spec, change, facts)
    if change.returns:
        return return_text(spec, change, facts)
    return f"{facts.tub}: the alarm {spec.title!r} is now {change.state.value}."


def push(spec: AlarmSpec, change: Change, facts: Facts, call: Call = Call.FIRST, waited_s: float = 0.0) -> Push | None:
    """What the phone is told about a transition; None when it is not told.

    Args:
        call: of an alarm that starts or still stands: which call of the keeper this is.
        waited_s: for how long nobody has acknowledged it.
    """
    if change.starts and spec.pushes_start:
        sentence = start_text(spec, change, facts)
        if call > Call.FIRST:
            sentence = f"{sentence} Not acknowledged for {duration_text(waited_s)}."
        return Push(_title(facts.tub, _start_words(spec, change, facts, call)), f"{sentence} {spec.response}")
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
    if spec is BLIND_PROBE:
        return f"{facts.tub}: probe {facts.probe} has had no good reading for {lasted}{_because(facts)}{now}."
    if spec is UNSTEADY_PROBE:
        return f"{facts.tub}: probe {facts.probe} jumps again and again, more than a tub can{_because(facts)}{now}."
    if spec in TOGETHER_ALARMS:
        # It takes over from tubs that have waited already: for how long it has stood itself says nothing at its start.
        at_once = f"{facts.tub}: {facts.how_many} {spec.title} at once"
        at_once += (f", for {lasted}" if change.active_s >= _WORTH_TELLING_S else "") + _because(facts)
        return f"{at_once}{_extreme(_WORST[spec.worst], change, facts)}{now}."
    if spec is PEER_LOST:
        return (
            f"{facts.tub} has been {facts.how_many or spec.title} for {lasted}{_because(facts)}: nobody watches there."
        )
    if spec is TOO_DRY:
        return f"{facts.tub} has been {spec.title} for {lasted}{_because(facts)}{now}."
    return f"{facts.tub}: {_NEWS[spec.condition]}{_because(facts)}{now}."


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
    if spec is BLIND_PROBE:
        return f"{facts.tub}: probe {facts.probe} can be read again after {lasted}{now}."
    if spec is UNSTEADY_PROBE:
        return f"{facts.tub}: probe {facts.probe} is steady again after {lasted}{now}."
    if spec in TOGETHER_ALARMS:
        extreme = _extreme(_WORST[spec.worst], change, facts)
        return f"{facts.tub}: {_OVER[spec.condition]} after {lasted}{extreme}{now}."
    if spec is PEER_LOST:
        return f"{facts.tub} is back after {lasted}."
    return f"{facts.tub}: {_OVER[spec.condition]} after {lasted}{now}."


_WORST = {Worst.LOWEST: "coldest", Worst.HIGHEST: "hottest", None: ""}
_NEWS = {
    "heat-not-arriving": "heat is allowed, but the wall does not show it",
    "heat-while-cut": "heat is cut, but the wall stays hot: the relay may be welded",
    "probes-disagree": "two probes that should agree do not",
    "relay-wear": "the relay has done most of its rated life",
    "storage-failing": "nothing can be recorded; guarding goes on",
    "clock-stepped": "the machine's clock was set",
    "power-lost": "it did not run, so no tub was watched or heated",
    "peer-silent": "it is connected, but no fresh reading comes from it",
    "no-digest": "its nightly digest did not come",
    "peers-unseen": "the broker cannot be reached, so the other stations cannot be seen",
}
_OVER = {
    "heat-not-arriving": "heat arrives again",
    "heat-while-cut": "the wall cools again",
    "probes-disagree": "its probes agree again",
    "relay-wear": "its relay counts as new",
    "too-dry": "no longer too dry",
    "storage-failing": "everything is recorded again",
    "clock-stepped": "the clock has not been set again",
    "power-lost": "it runs again",
    "peer-silent": "fresh readings come again",
    "no-digest": "its digest has come",
    "peers-unseen": "the others are in sight again",
    "cold-together": "tubs no longer cold",
    "hot-together": "tubs no longer hot",
    "blind-together": "tubs read again",
}


def _start_words(spec: AlarmSpec, change: Change, facts: Facts, call: Call) -> tuple[str, ...]:
    """What a title says after the tub; the first of these that fits is taken."""
    lasted, still = duration_text(change.active_s), "still " if call > Call.FIRST else ""
    if spec is COLD or spec is HOT:
        what = f"{still}{spec.title}"
        return (f"{what} for {lasted}{_now(facts)}", f"{what}{_now(facts)}", f"{what} for {lasted}", what)
    if spec is BLIND:
        return (f"{still}{_unread(facts)} for {lasted}", f"{still}{_unread(facts)}", f"{still}{spec.title}")
    if spec is BLIND_PROBE or spec is UNSTEADY_PROBE:
        return (f"{spec.title}, {facts.probe}", spec.title)
    if spec in TOGETHER_ALARMS:
        what = f"{still}{facts.how_many} {spec.title}"
        return (f"{what}{_now(facts)}", what, f"{facts.how_many} {spec.title}")
    if spec is PEER_LOST:
        gone = f"{still}{facts.how_many or spec.title}"
        return (f"{gone} for {lasted}", gone)
    if spec is CUT_OUT:
        return ("heat still tripped, look now" if still else f"{spec.title}, look now", spec.title)
    if spec is RELAY_FAULT:
        what = "relay still disobeys" if still else spec.title
        return (f"{what}, unplug mat", f"{still}unplug mat")
    if spec is HEAT_WHILE_CUT:
        return (f"{still}{spec.title}", f"{still}hot, pull plug")
    return (f"{still}{spec.title}", spec.title)


def _return_words(spec: AlarmSpec, change: Change, facts: Facts) -> tuple[str, ...]:
    lasted = duration_text(change.active_s)
    if spec is COLD or spec is HOT:
        back = _is_back(spec, facts).replace("is ", "").replace("its ", "")
        return (f"{back} after {lasted}", back)
    if spec is BLIND_PROBE:
        return (f"probe back, {facts.probe}", "probe back")
    if spec is UNSTEADY_PROBE:
        return (f"probe steady, {facts.probe}", "probe steady")
    if spec is BLIND:
        return (f"read again after {lasted}", "read again")
    if spec is PEER_LOST:
        return (f"back after {lasted}", "back")
    if spec in TOGETHER_ALARMS:
        over = _OVER[spec.condition]
        return (f"{over} after {lasted}", f"{over}, {lasted}", over)
    return (_OVER[spec.condition],)


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


def _title(tub: str, variants: Sequence[str]) -> str:
    """The tub first; then the first of the variants that leaves the tub recognisable, else the shortest."""
    enough = min(len(tub), _TUB_AT_LEAST)
    fitting = (words for words in variants if TITLE_LENGTH - 2 - len(words) >= enough)
    words = next(fitting, None) or min(variants, key=len)
    whole = f"{_shortened(tub, max(TITLE_LENGTH - 2 - len(words), 8))}: {words}"
    return whole if len(whole) <= TITLE_LENGTH else _shortened(whole, TITLE_LENGTH)


def _shortened(name: str, room: int) -> str:
    """A name in so much room: cut between words where most of it stays, and marked as cut."""
    if len(name) <= room:
        return name
    kept = name[: room - 1]
    at_word = kept.rfind(" ") if name[room - 1] != " " else len(kept)
    if at_word >= room // 2:
        kept = kept[:at_word]
    return kept.rstrip(" ,;:") + "…"
