"""The course of an experiment with one tub: when its heat is held, and when it is given back to the guard. Pure.

Laws
1. It has two deeds, those a person has: `hold` cuts, `release` ends that hold. Whether heat is then allowed, up to
   which temperature and behind which limits is the guard's to say, as always.
2. A hold is short and asked for again: when nobody asks any more it runs out, and the guard has its heat back.
3. Nothing is held while the inside is not read, or at or under the band's low edge and a margin.
4. Anything unusual ends it: an alarm, a trip, a fault, a tub not read for a minute, a hold or a release that somebody
   else asked for.

What the parts are for: cooling tells the slow time constant without the mat; heating tells what the mat does; a few
rounds of both tell what is fast, the mat and the wall; the guard's own rhythm tells how much heat keeps a temperature.
A course that is taken up again begins the part anew in which it was left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from matwarden.terms import Reason

__all__ = [
    "HOLD_S",
    "MARGIN_K",
    "PARTS",
    "PATIENCE_S",
    "Course",
    "CourseTerms",
    "Deed",
    "Kind",
    "Noticed",
    "Part",
    "Turn",
    "is_ours",
    "left_s",
    "turn",
]

HOLD_S = 600.0
"""Of one hold: so long a tub goes without heat when the course's process dies."""
# An answer takes a moment, and a restart of the station counts a hold anew: within this it is the hold that was asked.
_SAME_HOLD_S = 30.0
# Cooling ends so far over the band's low edge: what the tub sinks on after heat is back must not ring.
MARGIN_K = 0.3
# Cooling that is slower tells no more.
_SLOW_K, _SLOW_S = 0.1, 1800.0
# A reading that is doubted, or a station that has just been started, is back by then.
PATIENCE_S = 60.0
_ALARMING = (Reason.RELAY_FAULT, Reason.TRIPPED, Reason.CUT_OUT, Reason.HOT_ROOM)


class Kind(StrEnum):
    """What is done in a part of the course."""

    WATCH = "watch"  # the guard's own rhythm
    COOL = "cool"  # held
    HEAT = "heat"  # given back, until the guard says that it is warm enough


@dataclass(frozen=True, slots=True)
class Part:
    """One part, its name for people, and the longest it lasts."""

    name: str
    kind: Kind
    at_most_s: float


_HOUR_S = 3600.0
PARTS: tuple[Part, ...] = (
    Part("as it is", Kind.WATCH, 1.0 * _HOUR_S),
    Part("first cooling", Kind.COOL, 4.0 * _HOUR_S),
    Part("first heating", Kind.HEAT, 4.0 * _HOUR_S),
    Part("its own rhythm", Kind.WATCH, 3.0 * _HOUR_S),
    Part("second cooling", Kind.COOL, 4.0 * _HOUR_S),
    Part("short heat 1", Kind.HEAT, _HOUR_S / 3.0),
    Part("short rest 1", Kind.COOL, _HOUR_S / 3.0),
    Part("short heat 2", Kind.HEAT, _HOUR_S / 3.0),
    Part("short rest 2", Kind.COOL, _HOUR_S / 3.0),
    Part("second heating", Kind.HEAT, 4.0 * _HOUR_S),
    Part("its own rhythm again", Kind.WATCH, 2.0 * _HOUR_S),
)


class Deed(StrEnum):
    """What is to be asked of the station now."""

    NOTHING = "nothing"
    HOLD = "hold"
    RELEASE = "release"


@dataclass(frozen=True, slots=True)
class CourseTerms:
    """What the course goes by. `low_c`: the band's low edge."""

    low_c: float
    parts: Sequence[Part] = PARTS
    hold_s: float = HOLD_S

    @property
    def floor_c(self) -> float:
        """Nothing is held at or under this."""
        return self.low_c + MARGIN_K


@dataclass(frozen=True, slots=True)
class Noticed:
    """What the station says of the tub at this moment.

    Attributes:
        inside_c: the coldest governing reading; None: not read. reason: of the guard's verdict.
        hold_left_s: of whoever's hold; None: there is none. alarms: ids of those that stand, of the tub and the house.
    """

    inside_c: float | None
    reason: Reason
    hold_left_s: float | None
    tripped: bool = False
    relay_fault: bool = False
    alarms: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Course:
    """How far it has come. Times are seconds of a clock that never steps.

    Attributes:
        part: number of the part it is in; as many as there are: over. began_s: this part; None: it has not begun.
        mark_s, mark_c: when and where the inside was last noted while it cools.
        held_until_s: end of the hold that the course asked for; None: it has asked for none.
        dark_s: since when the inside is not read; None: it is read.
    """

    part: int = 0
    began_s: float | None = None
    mark_s: float = 0.0
    mark_c: float = 0.0
    held_until_s: float | None = None
    dark_s: float | None = None

    def over(self, terms: CourseTerms) -> bool:
        """Nothing is left of it."""
        return self.part >= len(terms.parts)

    def anew(self) -> Course:
        """As it is taken up again: at the beginning of its part, with no hold of its own."""
        return Course(self.part)


@dataclass(frozen=True, slots=True)
class Turn:
    """What comes of one look. `stop`: why the course ends here, a clause; empty: it goes on."""

    course: Course
    deed: Deed
    stop: str = ""


def turn(course: Course, noticed: Noticed, now_s: float, terms: CourseTerms) -> Turn:
    """One look at the tub: the deed it asks for. To be called every few seconds, and `course` kept.

    A hold of the course's own is released with whatever stops it; a hold of somebody else is never touched.
    """
    ours = course.held_until_s is not None
    strange = _strange(course, noticed, now_s)
    if strange:
        return Turn(replace(course, held_until_s=None), Deed.NOTHING, strange)
    if noticed.inside_c is not None:
        course = replace(course, dark_s=None)
    elif course.dark_s is None:
        course = replace(course, dark_s=now_s)
    wrong = _wrong(noticed, course, now_s)
    if wrong:
        return Turn(replace(course, held_until_s=None), Deed.RELEASE if ours else Deed.NOTHING, wrong)
    if noticed.inside_c is None:
        return Turn(course, Deed.NOTHING)
    if course.began_s is None:
        course = replace(course, began_s=now_s, mark_s=now_s, mark_c=noticed.inside_c)
    while not course.over(terms) and _done(course, noticed, noticed.inside_c, now_s, terms):
        course = replace(course, part=course.part + 1, began_s=now_s, mark_s=now_s, mark_c=noticed.inside_c)
    if course.over(terms) or terms.parts[course.part].kind is not Kind.COOL:
        return Turn(replace(course, held_until_s=None), Deed.RELEASE if ours else Deed.NOTHING)
    if now_s - course.mark_s >= _SLOW_S:
        course = replace(course, mark_s=now_s, mark_c=noticed.inside_c)
    if course.held_until_s is None or course.held_until_s - now_s < terms.hold_s / 2.0:
        return Turn(replace(course, held_until_s=now_s + terms.hold_s), Deed.HOLD)
    return Turn(course, Deed.NOTHING)


def left_s(course: Course, now_s: float, terms: CourseTerms) -> float:
    """The longest that what is left of the course can take."""
    if course.over(terms):
        return 0.0
    gone_s = 0.0 if course.began_s is None else now_s - course.began_s
    ahead_s = sum(part.at_most_s for part in terms.parts[course.part + 1 :])
    return max(0.0, terms.parts[course.part].at_most_s - gone_s) + ahead_s


def _done(course: Course, noticed: Noticed, inside_c: float, now_s: float, terms: CourseTerms) -> bool:
    part = terms.parts[course.part]
    assert course.began_s is not None
    if now_s - course.began_s >= part.at_most_s:
        return True
    if part.kind is Kind.COOL:
        slow = now_s - course.mark_s >= _SLOW_S and course.mark_c - inside_c < _SLOW_K
        return inside_c <= terms.floor_c or slow
    if part.kind is Kind.HEAT:
        # What the guard said while it was still held says nothing of this part.
        return now_s > course.began_s and course.held_until_s is None and noticed.reason is Reason.WARM_ENOUGH
    return False


def is_ours(held_until_s: float | None, hold_left_s: float | None, now_s: float) -> bool:
    """Whether the hold that runs is the one that the course has asked for. Both times of one clock."""
    if held_until_s is None or hold_left_s is None:
        return False
    return abs(held_until_s - now_s - hold_left_s) <= _SAME_HOLD_S


def _strange(course: Course, noticed: Noticed, now_s: float) -> str:
    """Somebody else's hand."""
    if course.held_until_s is None:
        return "" if noticed.hold_left_s is None else "somebody holds its heat"
    if noticed.hold_left_s is None:
        # A hold that was not asked for again in time has run out by itself.
        return "somebody ended the hold" if course.held_until_s - now_s > _SAME_HOLD_S else ""
    return "" if is_ours(course.held_until_s, noticed.hold_left_s, now_s) else "somebody else holds its heat"


def _wrong(noticed: Noticed, course: Course, now_s: float) -> str:
    """What a healthy tub never says."""
    if noticed.tripped:
        return "its heat has tripped"
    if noticed.relay_fault:
        return "its relay has a fault"
    if noticed.alarms:
        return f"an alarm stands: {', '.join(noticed.alarms)}"
    if course.dark_s is not None and now_s - course.dark_s >= PATIENCE_S:
        return "its inside is not read"
    if noticed.reason in _ALARMING:
        return f"the guard says: {noticed.reason.value}"
    return ""
