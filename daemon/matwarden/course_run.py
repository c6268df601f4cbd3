"""The experiment with one tub, over the running station's own verbs: looked at every few seconds, kept, shown, ended.

What is decided is decided in core/course.py. This process can ask for a hold and end its own; it knows no other verb.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from matwarden.clocks import Clock
from matwarden.core.course import Course, CourseTerms, Deed, Kind, Noticed, is_ours, left_s, turn
from matwarden.core.inside import inside_probes
from matwarden.core.units import duration_text, temperature_text
from matwarden.course_file import CourseFile, KeptCourse
from matwarden.settings.resolved import Settings
from matwarden.terms import Enclosure, MatTerms, Reason

__all__ = ["LOOK_EVERY_S", "Ended", "Progress", "Result", "conduct", "refusal"]

LOOK_EVERY_S = 10.0
# A station that is restarted, or does not answer for once, is back by then.
_SILENT_S = 60.0
_KEEP_EVERY_S = 600.0
# An older course is of another tub: substrate dries, lids are changed.
_OLD_S = 7 * 86_400.0

Ask = Callable[[Mapping[str, Any]], dict[str, Any] | None]


class Result(StrEnum):
    """How it came to an end."""

    OVER = "over"
    STOPPED = "stopped"
    INTERRUPTED = "interrupted"
    NOT_RUNNING = "not running"


@dataclass(frozen=True, slots=True)
class Ended:
    """The end, and the time of which the record tells.

    Attributes:
        text: why it did not come to its own end, in a sentence. begun: something of it is kept, to go on from.
    """

    result: Result
    since_wall_s: float
    until_wall_s: float
    text: str = ""
    begun: bool = True


@dataclass(frozen=True, slots=True)
class Progress:
    """What is shown at each look. Celsius and seconds; None: not read."""

    part: str
    number: int
    parts_n: int
    inside_c: float | None
    wall_c: float | None
    room_c: float | None
    heat: str
    left_s: float
    wall_s: float


def refusal(settings: Settings, enclosure: Enclosure, status: Mapping[str, Any], ours: bool) -> str:
    """Why no course can begin now, in a keeper's words; empty: it can. `ours`: a hold that runs is the course's own."""
    name, mat = enclosure.name, enclosure.mat
    if mat is None:
        return f"{name} has no mat: there is nothing to commission"
    if not settings.room_probes:
        return "no room probe is in the settings: what a mat does is measured against the room; add one, role room"
    noticed = _noticed(enclosure, status)
    tub = _tub_of(enclosure, status)
    again = f"see: matwarden why {enclosure.id}"
    if noticed.tripped or noticed.relay_fault:
        return f"{name} is tripped or has a relay fault; {again}, put it right and reset it first"
    if noticed.alarms:
        return f"an alarm stands ({', '.join(noticed.alarms)}); put it right first, see: matwarden alarms"
    if noticed.hold_left_s is not None and not ours:
        return f"{name}'s heat is held by a person; wait until that is over, or: matwarden release {enclosure.id}"
    if noticed.inside_c is None:
        return f"{name}'s inside is not read; {again}"
    if noticed.reason in (Reason.BLIND, Reason.HOT_ROOM, Reason.DOUBTFUL_HEAT):
        return f"{name}'s guard says {noticed.reason.value}; {again}"
    room_c = _coldest(status["room"])
    if room_c is None:
        return "the room is not read; see: matwarden status"
    if _temperature(tub["probes"], "wall") is None:
        return f"{name}'s wall is not read; {again}"
    return _too_warm(settings, mat, room_c)


def conduct(
    settings: Settings,
    enclosure: Enclosure,
    terms: CourseTerms,
    file: CourseFile,
    ask: Ask,
    clock: Clock,
    wake: threading.Event,
    interrupted: Callable[[], bool],
    show: Callable[[Progress], None],
) -> Ended:
    """Go through the course, or on with it, until it ends.

    Args:
        file: locked. ask: the station's answer to a verb; None when none runs. wake: ends a wait at once.
        interrupted: somebody has asked it to end. show: called at each look.

    Raises:
        CourseFileError: the course cannot be kept; what it holds has been released.
    """
    run = _Run(settings, enclosure, terms, file, ask, clock)
    if run.over_since_s is not None:
        return Ended(Result.OVER, run.since_wall_s, run.over_since_s)
    try:
        while not interrupted():
            ended = run.look(show)
            if ended is not None:
                return ended
            clock.wait(clock.now().mono_s + LOOK_EVERY_S, wake)
    except BaseException:
        run.let_go()
        raise
    return run.interrupted()


class _Run:
    """One process's part in a course."""

    def __init__(
        self, settings: Settings, enclosure: Enclosure, terms: CourseTerms, file: CourseFile, ask: Ask, clock: Clock
    ) -> None:
        self._settings, self._enclosure, self._terms = settings, enclosure, terms
        self._file, self._ask, self._clock = file, ask, clock
        at = clock.now()
        kept = file.kept()
        if kept is not None and at.wall_s - kept.seen_wall_s > _OLD_S:
            kept = None
        self.since_wall_s = at.wall_s if kept is None else kept.since_wall_s
        self._course = Course() if kept is None else Course(kept.part)
        # Of a course that came to its end, and whose record is still to be looked at.
        self.over_since_s = kept.seen_wall_s if kept is not None and self._course.over(terms) else None
        # A hold that the process before has left; whether it still runs, and is that one, the first look tells.
        self._left_wall_s = None if kept is None else kept.held_until_wall_s
        self._begun = False
        self._silent_s: float | None = None
        self._kept_s = float("-inf")

    def look(self, show: Callable[[Progress], None]) -> Ended | None:
        """One look, and the deed that comes of it; how it ended, None: it goes on."""
        at = self._clock.now()
        answer = self._ask({"do": "status"})
        if answer is None or "status" not in answer:
            if self._silent_s is None:
                self._silent_s = at.mono_s
            # Before anything has begun there is nothing to wait for.
            if self._begun and at.mono_s - self._silent_s < _SILENT_S:
                return None
            if answer is None:
                nobody = f"not running: nobody answers at {self._settings.control.socket}"
                return self._stopped(nobody, Result.NOT_RUNNING)
            return self._stopped(str(answer["text"]))
        self._silent_s = None
        status = answer["status"]
        if not any(each["id"] == self._enclosure.id and each["heat"] for each in status["enclosures"]):
            text = f"the running station knows no mat of {self._enclosure.id}: it was started with other settings"
            return self.ended(Result.STOPPED, text)
        noticed = _noticed(self._enclosure, status)
        if not self._begun:
            why = self._begin(noticed, status)
            if why:
                return self.ended(Result.STOPPED, why)
        before = self._course
        taken = turn(before, noticed, at.mono_s, self._terms)
        if taken.stop:
            # What is to be released is so in the end; somebody else's hold is not.
            held_until_s = before.held_until_s if taken.deed is Deed.RELEASE else None
            self._course = replace(taken.course, held_until_s=held_until_s)
            return self._stopped(taken.stop)
        self._course = taken.course
        refused = self._do(taken.deed)
        if refused:
            return self._stopped(refused)
        news = (self._course.part, self._course.held_until_s) != (before.part, before.held_until_s)
        if news or at.mono_s - self._kept_s >= _KEEP_EVERY_S:
            self.keep()
        if self._course.over(self._terms):
            return self.ended(Result.OVER)
        show(self._progress(noticed, status))
        return None

    def let_go(self) -> str:
        """Give back what the course holds; why that was not to be done, empty when it was."""
        if self._course.held_until_s is None:
            return ""
        held_s = self._course.held_until_s - self._clock.now().mono_s
        refused = self._do(Deed.RELEASE)
        if refused and held_s > 0.0:
            return f"its hold could not be released and ends by itself within {duration_text(held_s)}"
        self._course = replace(self._course, held_until_s=None)
        return ""

    def keep(self) -> None:
        """Keep how far it has come.

        Raises:
            CourseFileError: it cannot be written.
        """
        at = self._clock.now()
        self._kept_s = at.mono_s
        until_s = self._course.held_until_s
        held_wall_s = None if until_s is None else until_s + at.wall_s - at.mono_s
        self._file.keep(KeptCourse(self._course.part, self.since_wall_s, at.wall_s, held_wall_s))

    def interrupted(self) -> Ended:
        """Somebody has asked it to end."""
        return self._stopped("ended on request", Result.INTERRUPTED)

    def ended(self, result: Result, text: str = "") -> Ended:
        """What is told of it."""
        return Ended(result, self.since_wall_s, self._clock.now().wall_s, text, self._begun)

    def _stopped(self, why: str, result: Result = Result.STOPPED) -> Ended:
        """Let go, keep, and say where it stood."""
        if not self._begun:
            return self.ended(result, why)
        left = self.let_go() or "it holds nothing any more"
        self.keep()
        parts = self._terms.parts
        number = min(self._course.part, len(parts) - 1)
        where = f"in part {number + 1} of {len(parts)}, {parts[number].name}"
        return self.ended(result, f"{why} ({where}); {left}")

    def _begin(self, noticed: Noticed, status: Mapping[str, Any]) -> str:
        at = self._clock.now()
        ours = is_ours(self._left_wall_s, noticed.hold_left_s, at.wall_s)
        why = refusal(self._settings, self._enclosure, status, ours)
        if ours and noticed.hold_left_s is not None:
            self._course = replace(self._course, held_until_s=at.mono_s + noticed.hold_left_s)
        if why:
            self.let_go()
            return why
        self._begun = True
        self.keep()
        return ""

    def _do(self, deed: Deed) -> str:
        """Ask for it; why it was not done, empty when it was."""
        if deed is Deed.NOTHING:
            return ""
        request: dict[str, Any] = {"do": deed.value, "enclosure": self._enclosure.id}
        if deed is Deed.HOLD:
            request["for_s"] = self._terms.hold_s
        answer = self._ask(request)
        if answer is None:
            return "matwarden does not run"
        return "" if answer["ok"] else str(answer["text"])

    def _progress(self, noticed: Noticed, status: Mapping[str, Any]) -> Progress:
        at, parts = self._clock.now(), self._terms.parts
        tub = _tub_of(self._enclosure, status)
        part = parts[self._course.part]
        # What the station said was before this look's deed.
        heat = "held" if part.kind is Kind.COOL else "on" if tub["heat"]["allowed"] else "cut"
        return Progress(
            part.name,
            self._course.part + 1,
            len(parts),
            noticed.inside_c,
            _temperature(tub["probes"], "wall"),
            _coldest(status["room"]),
            heat,
            left_s(self._course, at.mono_s, self._terms),
            at.wall_s,
        )


def _noticed(enclosure: Enclosure, status: Mapping[str, Any]) -> Noticed:
    tub = _tub_of(enclosure, status)
    inside = {probe.id for probe in inside_probes(enclosure)}
    heat = tub["heat"]
    return Noticed(
        _coldest([probe for probe in tub["probes"] if probe["id"] in inside]),
        Reason(heat["reason"]),
        heat["hold_left_s"],
        heat["tripped"],
        heat["relay_fault"],
        tuple(alarm["id"] for alarm in (*tub["alarms"], *status["room_alarms"])),
    )


def _tub_of(enclosure: Enclosure, status: Mapping[str, Any]) -> Mapping[str, Any]:
    found: Mapping[str, Any] = next(each for each in status["enclosures"] if each["id"] == enclosure.id)
    return found


def _temperature(probes: list[dict[str, Any]], role: str) -> float | None:
    return _coldest([probe for probe in probes if probe["role"] == role])


def _coldest(probes: list[dict[str, Any]]) -> float | None:
    return min((probe["temperature_c"] for probe in probes if probe["temperature_c"] is not None), default=None)


def _too_warm(settings: Settings, mat: MatTerms, room_c: float) -> str:
    on_c = mat.setpoint_c - mat.hysteresis_k / 2.0
    if room_c < on_c:
        return ""
    now, then = temperature_text(room_c, settings.unit), temperature_text(on_c, settings.unit)
    return f"the room is at {now}, and heat begins under {then}: nothing would heat; commission on a cooler evening"
