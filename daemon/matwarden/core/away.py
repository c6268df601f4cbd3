"""Is it safe to leave? A judge over what is known of the last days. Pure: values in, reasons out.

The law: what could not be judged is said, and counts as something to be done first; nothing is assumed to be good.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from matwarden.core.units import difference_text, duration_text, temperature_text
from matwarden.terms import Unit

__all__ = ["LOOK_BACK_DAYS", "Facts", "Reason", "TubFacts", "Verdict", "judge", "verdict_of"]

LOOK_BACK_DAYS = 14
_DAY_S = 86_400.0
# A well set up tub can be left a week: common practice, no source.
_USUAL_DAYS = 7
_PUSH_AGE_S = 2 * _DAY_S
_DIGEST_AGE_S = 1.5 * _DAY_S
_REFUSED_SHARE = 0.02
# A winter brings colder nights than the coldest so far.
_RESERVE_K = 2.0
_RELAY_SHARE = 0.8
_TRY = "try matwarden push --test, and see it arrive"


class Verdict(StrEnum):
    """The whole in a word."""

    SAFE = "safe"
    FIRST = "first"  # safe with some things done first
    UNSAFE = "unsafe"
    NOTE = "note"  # of a reason only: to be known, and no hindrance


class Reason(NamedTuple):
    """One thing that was judged. `state`: SAFE: it is well."""

    state: Verdict
    subject: str
    text: str


@dataclass(frozen=True, slots=True)
class TubFacts:
    """What is known of one tub.

    Attributes:
        standing: alarms that are on now, by id. started: how often each condition rang in the last days.
        fault: in words, what a person must reset; None: nothing. held: a person's hold is on.
        has_mat: heat is governed here. in_band_share, refused_share: of the last days; None: not known.
        holds_room_c: the coldest room that its mat holds, as its commissioning or its nights tell; None: they do not.
        changed: what is no longer as it was when the tub was commissioned; None: nothing, or it is not known.
        operations, rated, operations_per_day: of its relay.
        due: what falls due while away, in words.
    """

    name: str
    standing: tuple[str, ...]
    started: Mapping[str, int]
    fault: str | None
    held: bool
    has_mat: bool
    in_band_share: float | None
    refused_share: float | None
    holds_room_c: float | None
    changed: str | None
    operations: int | None
    rated: int | None
    operations_per_day: float | None
    due: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that is known.

    Attributes:
        running: a station answers. nights: digests of the last days. digest_age_s: of the newest.
        house_alarms: that are on now and of no tub. silenced: shelved, or out of service.
        coldest_room_c: of the whole record. push: seconds since each first target took one; None: never.
        watched: somebody is told when this machine dies ([heartbeat]); None: it cannot be known here.
        free_mb, keep_free_mb, mb_per_day: of the disk. clock_right: None: it cannot be told.
    """

    days: float
    running: bool
    nights: int
    digest_age_s: float | None
    tubs: Sequence[TubFacts]
    house_alarms: tuple[str, ...]
    silenced: tuple[str, ...]
    coldest_room_c: float | None
    push: Mapping[str, float | None]
    second_targets: int
    watched: bool | None
    free_mb: float | None
    keep_free_mb: float
    mb_per_day: float | None
    clock_right: bool | None
    recording_fails: bool


def judge(facts: Facts, unit: Unit) -> list[Reason]:
    """Every reason, the worst first."""
    found = [*_station(facts), *_telling(facts), *_machine(facts)]
    for tub in facts.tubs:
        found += _tub(tub, facts, unit)
    order = (Verdict.UNSAFE, Verdict.FIRST, Verdict.NOTE, Verdict.SAFE)
    return sorted(found, key=lambda reason: order.index(reason.state))


def verdict_of(reasons: Sequence[Reason]) -> Verdict:
    """The worst of them."""
    states = {reason.state for reason in reasons}
    return next((state for state in (Verdict.UNSAFE, Verdict.FIRST) if state in states), Verdict.SAFE)


def _station(facts: Facts) -> list[Reason]:
    found = []
    if not facts.running:
        found.append(_bad("station", "nothing runs: no tub is watched, and all heat is cut"))
    if facts.days > _USUAL_DAYS:
        text = (
            f"{facts.days:g} days is longer than the week for which a well set up tub is usually left: ask somebody in"
        )
        found.append(_first("time", text))
    if facts.nights == 0:
        found.append(_first("record", "no digest of the last days: run it for some nights before you rely on it"))
    elif facts.nights < _USUAL_DAYS:
        found.append(_first("record", f"only {facts.nights} nights of the last {LOOK_BACK_DAYS} days are on record"))
    else:
        found.append(_good("record", f"{facts.nights} nights of the last {LOOK_BACK_DAYS} days are on record"))
    if facts.digest_age_s is not None and facts.digest_age_s > _DIGEST_AGE_S:
        found.append(_first("digest", f"the newest is {duration_text(facts.digest_age_s)} old"))
    found += [_bad("alarm", f"{alarm} is on now") for alarm in facts.house_alarms]
    for alarm in facts.silenced:
        found.append(_first("alarm", f"{alarm} tells nobody: unshelve it, or put it back into service"))
    return found


def _telling(facts: Facts) -> list[Reason]:
    found = []
    if not facts.push:
        found.append(_bad("push", "no push target: nobody is told of an alarm"))
    for target, age_s in facts.push.items():
        if age_s is None:
            found.append(
                _first("push", f"{target} has taken nothing yet: try matwarden push --test, and see it arrive")
            )
        elif age_s > _PUSH_AGE_S:
            found.append(_first("push", f"{target} last took one {duration_text(age_s)} ago: {_TRY}"))
        else:
            found.append(_good("push", f"{target} took one {duration_text(age_s)} ago"))
    if facts.push and not facts.second_targets:
        found.append(_note("push", "no second target: while your phone is off, nobody else is called"))
    if facts.watched:
        found.append(_good("watching", "a heartbeat goes out: somebody is called when this machine dies"))
    else:
        text = (
            "if this machine dies, a missing digest is all that tells you, unless another station has it in [[watch]]"
        )
        found.append(_note("watching", text))
    return found


def _machine(facts: Facts) -> list[Reason]:
    found = []
    if facts.recording_fails:
        found.append(_bad("record", "nothing can be recorded now: a trip would not outlive a power cut"))
    if facts.free_mb is None:
        found.append(_first("disk", "its free space cannot be told"))
    else:
        left_mb = facts.free_mb - (facts.mb_per_day or 0.0) * facts.days
        if left_mb < facts.keep_free_mb:
            keep = f"{facts.keep_free_mb:.0f} MB are to stay free"
            text = f"{facts.free_mb:.0f} MB free, and {keep}: the oldest readings would go"
            found.append(_first("disk", text))
        else:
            found.append(_good("disk", f"{facts.free_mb:.0f} MB free, enough for the time away"))
    if facts.clock_right:
        found.append(_good("clock", "synchronised"))
    else:
        unknown = "whether it is right cannot be told; look with: timedatectl"
        wrong = "not synchronised: the times you read may be wrong; look with: timedatectl"
        found.append(_first("clock", unknown if facts.clock_right is None else wrong))
    return found


def _tub(tub: TubFacts, facts: Facts, unit: Unit) -> list[Reason]:
    name = tub.name
    found = [_bad(name, f"alarm {alarm} is on now") for alarm in tub.standing]
    if tub.fault is not None:
        found.append(_bad(name, tub.fault))
    if tub.held:
        found.append(_first(name, "its heat is held: end it with matwarden release"))
    for condition, times in tub.started.items():
        text = (
            f"{condition} rang {'once' if times == 1 else f'{times} times'} in the last {LOOK_BACK_DAYS} days: see why"
        )
        found.append(_first(name, text))
    if tub.in_band_share is None:
        found.append(_first(name, "how it fared in the last days is not known"))
    elif tub.in_band_share < 0.98:
        text = f"in band only {100 * tub.in_band_share:.0f} % of the last {LOOK_BACK_DAYS} days"
        found.append(_first(name, text) if tub.in_band_share >= 0.8 else _bad(name, text))
    else:
        found.append(_good(name, f"in band {100 * tub.in_band_share:.0f} % of the last {LOOK_BACK_DAYS} days"))
    if tub.refused_share is not None and tub.refused_share > _REFUSED_SHARE:
        text = f"{100 * tub.refused_share:.0f} % of its readings were missing or refused: look at its probes"
        found.append(_first(name, text))
    if tub.changed is not None:
        text = f"not what it was when commissioned ({tub.changed}), says the last digest: see why"
        found.append(_first(name, text))
    if tub.has_mat:
        found += _mat(tub, facts, unit)
    found += [_first(name, text) for text in tub.due]
    return found


def _mat(tub: TubFacts, facts: Facts, unit: Unit) -> list[Reason]:
    found = []
    if tub.holds_room_c is None or facts.coldest_room_c is None:
        found.append(_first(tub.name, "how cold a room its mat can hold is not known from its nights"))
    else:
        spare_k = facts.coldest_room_c - tub.holds_room_c
        room = temperature_text(facts.coldest_room_c, unit)
        text = (
            f"its mat holds down to {temperature_text(tub.holds_room_c, unit)}; the coldest room on record was {room}"
        )
        if spare_k < 0.0:
            found.append(_bad(tub.name, text))
        elif spare_k < _RESERVE_K:
            found.append(_first(tub.name, f"{text}: only {difference_text(spare_k, unit)} to spare"))
        else:
            found.append(_good(tub.name, text))
    if tub.operations is None or tub.rated is None:
        found.append(_first(tub.name, "how far its relay is worn is not known"))
    else:
        then = tub.operations + (tub.operations_per_day or 0.0) * facts.days
        share = then / tub.rated
        text = f"its relay will have done {100 * share:.0f} % of its rated operations"
        found.append(_good(tub.name, text) if share < _RELAY_SHARE else _first(tub.name, f"{text}: replace it"))
    return found


def _good(subject: str, text: str) -> Reason:
    return Reason(Verdict.SAFE, subject, text)


def _note(subject: str, text: str) -> Reason:
    return Reason(Verdict.NOTE, subject, text)


def _first(subject: str, text: str) -> Reason:
    return Reason(Verdict.FIRST, subject, text)


def _bad(subject: str, text: str) -> Reason:
    return Reason(Verdict.UNSAFE, subject, text)
