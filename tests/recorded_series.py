"""Recorded temperatures as probes of the real station. Sources and licences: the README beside each file in tests/data.

How an hourly series becomes polls of five minutes:

- At a whole hour a poll delivers the recorded value. Between two hours polls lie on the straight line between them: an
  hourly series shows nothing faster than it recorded, and a value held for an hour would invent a step each hour.
- Between two rows that are further apart than an hour the thermometer was silent: so are the polls.
- A false reading is one sample of a thermometer: one poll delivers it, and the line of the polls around it goes from
  the true value before to the true one behind. Joined by straight lines it would become two hours of a slope that no
  thermometer showed. The step up to it is 24.4 K, more than `max_rate` lets a tub do in five minutes (15.5 K).

New York's thermometers stand outdoors. Their series go to the probe as they are, with a band as wide as that: a house
between would smooth away what they are here for, their gaps, steps and the false reading. The typical years do pass
through a house first: one node, time constant 30 h.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from matwarden.clocks import SimulatedClock
from matwarden.events import Event, PushAsked
from matwarden.pollers import InlinePoller
from matwarden.settings.alarm_times import HOUSE_TIMES
from matwarden.station import Station
from matwarden.terms import AlarmState, AlarmTimes, At, Band, Enclosure, ProbeTerms, Role, Unit
from matwarden.together_keeper import TogetherAlarms
from matwarden_hardware.ports import Probe, ProbeError, Sample

__all__ = [
    "POLL_S",
    "START_S",
    "Course",
    "as_polls",
    "building_c",
    "house_c",
    "new_york_c",
    "new_york_hour",
    "pushed",
    "run",
    "typical_c",
]

DATA = Path(__file__).resolve().parent / "data"
POLL_S = 300.0
STALE_S = 3 * POLL_S
MAX_RATE_K_PER_MIN = 3.0
START_S = 1000.0
# Any evening: nothing here depends on the date.
START_WALL_S = 1_768_582_800.0
_PER_HOUR = round(3600.0 / POLL_S)
_DIGIT_K = 0.0625
_NEW_YORK_BEGINS = "2013-01-01T06:00Z"
_CALLS = {(): "starts", ("2",): "again", ("3",): "second"}

Hourly = Sequence[float | None]


@dataclass(frozen=True, slots=True)
class Course:
    """One probe's time: what each poll delivers in degrees Celsius (None: nothing), and which of it is false."""

    polls: Sequence[float | None]
    band: Band
    false: frozenset[int] = frozenset()


def new_york_c(station: str) -> list[float | None]:
    """The hours of EWR, JFK or LGA from the first recorded one on; None where there is no value."""
    hours = [None if cell == "" else (float(cell) - 32.0) / 1.8 for cell in _cells("nyc.csv", station)]
    first = next(n for n, value_c in enumerate(hours) if value_c is not None)
    return hours[first:]


def new_york_hour(moment: str) -> int:
    """The place of an hour, such as 2013-05-09T02Z, in such a series."""
    first, at = (datetime.fromisoformat(text) for text in (_NEW_YORK_BEGINS, moment))
    return round((at - first).total_seconds() / 3600.0)


def pushed(events: Sequence[Event], subject: str) -> dict[str, list[tuple[float, str]]]:
    """What was asked to be pushed about a tub (or the house): by condition, (seconds since the first poll, which)."""
    found: dict[str, list[tuple[float, str]]] = {}
    for event in events:
        if isinstance(event, PushAsked):
            condition, about, state, _, *call = event.key.split("/")
            if about == subject:
                what = _CALLS[tuple(call)] if state == AlarmState.UNACKNOWLEDGED else "returns"
                found.setdefault(condition, []).append((event.at.mono_s - START_S, what))
    return found


def typical_c(station: str) -> list[float]:
    """The hours of a typical year outdoors."""
    return [float(cell) for cell in _cells("tmy.csv", station)]


def building_c() -> list[float]:
    """The hours of the building whose heating fails for 106 hours."""
    with (DATA / "winter" / "source.csv").open(encoding="utf-8", newline="") as file:
        return [float(row["Ti"]) for row in csv.DictReader(file)]


def house_c(outdoors_c: Sequence[float], gain_k: float, time_constant_h: float = 30.0) -> list[float | None]:
    """What an unheated house makes of it: one node, and `gain_k` by which who lives in it warms it."""
    room_c, found = outdoors_c[0] + gain_k, list[float | None]()
    for out_c in outdoors_c:
        room_c += (out_c + gain_k - room_c) / time_constant_h
        found.append(room_c)
    return found


def as_polls(hours: Hourly, band: Band, false_hours: Sequence[int] = (), offset_k: float = 0.0) -> Course:
    """An hourly series as polls; `false_hours`: which of its values are no temperatures."""
    true = list(hours)
    for hour in false_hours:
        before, after = true[hour - 1], true[hour + 1]
        assert before is not None
        assert after is not None
        true[hour] = (before + after) / 2.0
    polls: list[float | None] = []
    for before, after in zip(true, true[1:], strict=False):
        polls.append(before)
        if before is None or after is None:
            polls += [None] * (_PER_HOUR - 1)
        else:
            polls += [before + (after - before) * n / _PER_HOUR for n in range(1, _PER_HOUR)]
    polls.append(true[-1])
    for hour in false_hours:
        polls[hour * _PER_HOUR] = hours[hour]
    shown = [None if value_c is None else round((value_c + offset_k) / _DIGIT_K) * _DIGIT_K for value_c in polls]
    return Course(shown, band, frozenset(hour * _PER_HOUR for hour in false_hours))


def run(
    courses: Mapping[str, Course], together_n: int = 0, judge_every_s: float = POLL_S, times: AlarmTimes = HOUSE_TIMES
) -> list[Event]:
    """The real station over watched tubs without mats, each with one air probe; everything that it told.

    Args:
        judge_every_s: as the station's: how often it looks between polls. Many tubs ring as one in the last minute
            before one of them would: who asks for that looks once a minute at least.
    """
    clock = SimulatedClock(START_WALL_S, START_S)
    tubs = [
        Enclosure(name, name.capitalize(), course.band, (_terms(name),), None, times)
        for name, course in courses.items()
    ]
    terms = {probe.id: probe for tub in tubs for probe in tub.probes}
    probes: dict[str, Probe] = {f"{name}-air": _Series(course.polls) for name, course in courses.items()}
    told: list[Event] = []
    together = TogetherAlarms("Shelf", Unit.C, together_n, times, {}, At(START_S, START_WALL_S)) if together_n else None
    poller = InlinePoller(probes, terms, START_S)
    station = Station(
        tubs, (), Unit.C, poller, {}, clock, told.extend, {}, judge_every_s=judge_every_s, together=together
    )
    end_s = START_S + POLL_S * min(len(course.polls) for course in courses.values())
    while clock.monotonic_s() < end_s:
        clock.wait(station.cycle(), station.wake)
    return told


def _terms(tub: str) -> ProbeTerms:
    return ProbeTerms(f"{tub}-air", Role.AIR, tub, None, POLL_S, POLL_S / 2, STALE_S, MAX_RATE_K_PER_MIN, 0.0)


class _Series:
    """A probe that delivers one poll after the other."""

    def __init__(self, polls: Sequence[float | None]) -> None:
        self._left: Iterator[float | None] = iter(polls)

    def read(self) -> Sample:
        value_c = next(self._left)
        if value_c is None:
            raise ProbeError("the record has no value here")
        return Sample(value_c)

    def close(self) -> None:
        """Nothing to release."""


def _cells(file: str, station: str) -> list[str]:
    with (DATA / "weather" / file).open(encoding="utf-8", newline="") as lines:
        return [cell for row in list(csv.reader(lines))[1:] if row[0] == station for cell in row[2:]]
