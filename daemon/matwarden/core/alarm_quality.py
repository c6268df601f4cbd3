"""How good the alarms themselves were: how many, which of them chattered or stood for days, how soon they were told.

The law: nothing is made up. What the record does not reach back to is said (`covers_s`); a delay of nothing is None.
Pure. The figures are those of ISA-18.2 / IEC 62682: chattering is three activations within one minute (restated openly
by makers of alarm systems; the standard's own text from memory), stale is on for more than 24 h (from memory), a figure
wants 30 days of data (restated in the trade's press). A probe that is read every so many seconds can set and clear an
alarm at most once in two polls, so for it the minute becomes 30 polls (our own scaling).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import NamedTuple

from matwarden.core.record import AlarmLine
from matwarden.terms import AlarmState

__all__ = [
    "CHATTERING_N",
    "CHATTERING_POLLS",
    "DAYS",
    "STALE_S",
    "AlarmQuality",
    "Delay",
    "Spell",
    "alarm_quality",
    "chattering_within_s",
]

DAYS = 30.0
CHATTERING_N = 3
CHATTERING_POLLS = 30
STALE_S = 86_400.0

_DAY_S = 86_400.0
_MINUTE_S = 60.0
_S = AlarmState
_ON = frozenset({_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED})
_UNSEEN = frozenset({_S.UNACKNOWLEDGED, _S.RETURNED_UNACKNOWLEDGED, _S.LATCHED_UNACKNOWLEDGED})


class Spell(NamedTuple):
    """A time of one alarm. `standing`: it was not over at the end."""

    alarm: str
    lasts_s: float
    standing: bool


class Delay(NamedTuple):
    """From the moment a push was asked to the first target that had it.

    Attributes:
        told_n: pushes that arrived somewhere. lost_n: that were given up everywhere. waiting_n: that still wait.
        median_s, worst_s: of those that arrived; None when none did.
    """

    told_n: int
    lost_n: int
    waiting_n: int
    median_s: float | None
    worst_s: float | None


@dataclass(frozen=True, slots=True)
class AlarmQuality:
    """The figures.

    Attributes:
        covers_s: the time they are of: as much of `DAYS` as is recorded. per_day: None under a day of it.
        count: alarms that were announced. chattering: alarms that did, with their most activations within the time.
        stale: times of more than `STALE_S`, the longest first. most_frequent: alarm and count, the most first.
        longest_unacknowledged: None when nothing waited for a person at all.
    """

    covers_s: float
    count: int
    per_day: float | None
    chattering: tuple[tuple[str, int], ...]
    stale: tuple[Spell, ...]
    most_frequent: tuple[tuple[str, int], ...]
    longest_unacknowledged: Spell | None
    delay: Delay


def chattering_within_s(poll_s: float | None) -> float:
    """The time in which `CHATTERING_N` activations are chattering. None: an alarm that no poll makes."""
    return _MINUTE_S if poll_s is None else max(CHATTERING_POLLS * poll_s, _MINUTE_S)


def alarm_quality(
    lines: Sequence[AlarmLine],
    end_s: float,
    covers_s: float,
    poll_s: Callable[[str], float | None],
    push_delays_s: Sequence[float],
    lost_n: int = 0,
    waiting_n: int = 0,
) -> AlarmQuality:
    """Sum up the transitions from `end_s - covers_s` to `end_s`.

    Args:
        lines: in order, with `elapsed_s` on one time line. Older ones may come first: they tell what stood at the
            beginning, and since when.
        poll_s: seconds between the readings that make an alarm, by its id; None: no poll makes it.
    """
    begin_s = end_s - covers_s
    by_alarm: dict[str, list[AlarmLine]] = {}
    for line in lines:
        by_alarm.setdefault(line.alarm, []).append(line)
    starts = {alarm: _starts(each, begin_s) for alarm, each in by_alarm.items()}
    count = sum(map(len, starts.values()))
    chattering = ((alarm, _most_within(times, chattering_within_s(poll_s(alarm)))) for alarm, times in starts.items())
    stood = (spell for alarm, each in by_alarm.items() for spell in _spells(alarm, each, _ON, begin_s, end_s))
    unseen = (spell for alarm, each in by_alarm.items() for spell in _spells(alarm, each, _UNSEEN, begin_s, end_s))
    return AlarmQuality(
        covers_s=covers_s,
        count=count,
        per_day=count * _DAY_S / covers_s if covers_s >= _DAY_S else None,
        chattering=_most_first((alarm, n) for alarm, n in chattering if n >= CHATTERING_N),
        stale=tuple(sorted((spell for spell in stood if spell.lasts_s > STALE_S), key=lambda each: -each.lasts_s)),
        most_frequent=_most_first((alarm, len(times)) for alarm, times in starts.items() if times),
        longest_unacknowledged=max(unseen, key=lambda spell: spell.lasts_s, default=None),
        delay=Delay(
            told_n=len(push_delays_s),
            lost_n=lost_n,
            waiting_n=waiting_n,
            median_s=median(push_delays_s) if push_delays_s else None,
            worst_s=max(push_delays_s, default=None),
        ),
    )


def _starts(lines: Sequence[AlarmLine], begin_s: float) -> list[float]:
    """When an alarm was announced: a re-alarm of one that stood is no new one."""
    return [
        line.elapsed_s
        for line in lines
        if line.state is _S.UNACKNOWLEDGED and line.previous not in _ON and line.elapsed_s >= begin_s
    ]


def _most_within(times: Sequence[float], within_s: float) -> int:
    most = first = 0
    for last, time_s in enumerate(times):
        while time_s - times[first] > within_s:
            first += 1
        most = max(most, last - first + 1)
    return most


def _spells(
    alarm: str, lines: Sequence[AlarmLine], states: frozenset[AlarmState], begin_s: float, end_s: float
) -> list[Spell]:
    """Each time without a break in these states that reached into the window, with all its length."""
    found, since_s = [], None
    for line in lines:
        if line.state in states:
            since_s = line.elapsed_s if since_s is None else since_s
        elif since_s is not None:
            if line.elapsed_s > begin_s:
                found.append(Spell(alarm, line.elapsed_s - since_s, False))
            since_s = None
    if since_s is not None:
        found.append(Spell(alarm, max(0.0, end_s - since_s), True))
    return found


def _most_first(counts: Iterable[tuple[str, int]]) -> tuple[tuple[str, int], ...]:
    return tuple(sorted(counts, key=lambda each: (-each[1], each[0])))
