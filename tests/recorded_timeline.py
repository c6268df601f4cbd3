"""When alarms are due over a series of polls, worked out from scratch: no code of the program, no state machine.

Of the rules only what the README says: cold from the first value at or under the edge to the first one above edge plus
deadband; it starts when it has lasted an hour, or when its dose is full, and the value is out then; it returns after
five minutes out of it. The
dose is that of IEC 60255-151, very inverse: a minute at M times the pickup is worth (M - 1) / 13.5. A value counts
until the next one, or for three polls; time without one does not count at all. Nobody is called a second or third time
while the value is known to be in band.
The trick that makes it short: all unknown time is cut out first, and what is left is plain arithmetic over spells.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from typing import NamedTuple

__all__ = ["Told", "blind_timeline", "cold_timeline", "hot_timeline"]

ON_S, OFF_S, BLIND_S, DEADBAND_K = 3600.0, 300.0, 600.0, 0.5
PICKUP_K, CURVE_K_S, RESET_S = 1.0, 13.5 * 60.0, 3600.0
AGAIN_S, SECOND_S = 900.0, 1800.0
_NEVER_S = float("inf")


class Told(NamedTuple):
    """One push: seconds since the first poll, and which: starts, again, second, returns (to whom it rang)."""

    at_s: float
    what: str


def cold_timeline(polls: Sequence[float | None], false: frozenset[int], poll_s: float, low_c: float) -> list[Told]:
    """Every push of a cold alarm that nobody acknowledges."""
    held = _held(polls, false)
    known = [(n * poll_s, value_c) for n, value_c in enumerate(held) if value_c is not None]
    calling_s = [n * poll_s for n, value_c in enumerate(held) if value_c is None or value_c <= low_c]
    # The clock that stands still while nothing is known.
    counted_s = [0.0]
    for (before_s, _), (after_s, _) in zip(known, known[1:], strict=False):
        counted_s.append(counted_s[-1] + (after_s - before_s if after_s - before_s < 1.5 * poll_s else 0.0))
    ends = _spells([value_c for _, value_c in known], low_c)
    told: list[Told] = []
    dose, start_s, last_end = 0.0, None, 0
    for first, end in ends:
        if start_s is not None:  # an alarm stands since an earlier spell: did it return before this one?
            back = bisect_left(counted_s, counted_s[last_end] + OFF_S - 1e-6, last_end, first)
            if back < first:
                told += _calls(start_s, known[back][0], calling_s)
                start_s, dose = None, 0.0
        elif dose:
            dose = max(0.0, dose - (counted_s[first - 1] - counted_s[last_end - 1]) / RESET_S)
        n = first
        while start_s is None and n < end:
            if n > first:
                passed_s = counted_s[n] - counted_s[n - 1]
                multiple = (low_c - known[n][1]) / PICKUP_K
                worth = passed_s * (multiple - 1.0) / CURVE_K_S if multiple > 1.0 else -passed_s / RESET_S
                dose = min(1.0, max(0.0, dose + worth))
            due = counted_s[n] - counted_s[first] >= ON_S - 1e-6 or dose >= 1.0 - 1e-9
            if due and known[n][1] <= low_c:
                start_s = known[n][0]
            n += 1
        last_end = end
    if start_s is not None:
        back = bisect_left(counted_s, counted_s[min(last_end, len(known) - 1)] + OFF_S - 1e-6, last_end)
        told += _calls(start_s, known[back][0] if last_end < len(known) and back < len(known) else _NEVER_S, calling_s)
    return [each for each in told if each.at_s <= (len(polls) - 1) * poll_s]


def hot_timeline(polls: Sequence[float | None], false: frozenset[int], poll_s: float, high_c: float) -> list[Told]:
    """The same upside down."""
    mirrored = [None if value_c is None else -value_c for value_c in polls]
    return cold_timeline(mirrored, false, poll_s, -high_c)


def blind_timeline(polls: Sequence[float | None], false: frozenset[int], poll_s: float) -> list[Told]:
    """Every push of the alarm that there is no reading: it does without an acknowledgement once there is one again."""
    dark = [value_c is None for value_c in _held(polls, false)]
    told: list[Told] = []
    dark_s = [n * poll_s for n, one in enumerate(dark) if one]
    n = 0
    while n < len(dark):
        end = next((m for m in range(n, len(dark)) if not dark[m]), len(dark)) if dark[n] else n
        if (end - 1 - n) * poll_s >= BLIND_S:
            told += _calls(n * poll_s + BLIND_S, end * poll_s + OFF_S, dark_s)
        n = end + 1
    return [each for each in told if each.at_s <= (len(dark) - 1) * poll_s]


def _held(polls: Sequence[float | None], false: frozenset[int]) -> list[float | None]:
    """What is known at each poll: the last value for three polls more; at a false reading, nothing."""
    found: list[float | None] = []
    last_n, last_c = 0, polls[0]
    for n, value_c in enumerate(polls):
        if value_c is not None and n not in false:
            last_n, last_c = n, value_c
        found.append(None if n in false or n - last_n > 3 else last_c)
    return found


def _spells(values: Sequence[float], low_c: float) -> list[tuple[int, int]]:
    """(first, end) of each spell of cold, the deadband applied."""
    spells: list[tuple[int, int]] = []
    first = None
    for n, value in enumerate(values):
        if first is None and value <= low_c:
            first = n
        elif first is not None and value > low_c + DEADBAND_K:
            spells.append((first, n))
            first = None
    return spells if first is None else [*spells, (first, len(values))]


def _calls(start_s: float, return_s: float, calling_s: Sequence[float]) -> list[Told]:
    """The calls of one alarm at the moments at which calls are made, and its return."""
    told = [Told(start_s, "starts")]
    for after_s, what in ((AGAIN_S, "again"), (SECOND_S, "second")):
        n = bisect_left(calling_s, max(start_s + after_s, told[-1].at_s + 1.0))
        if n < len(calling_s) and calling_s[n] < return_s:
            told.append(Told(calling_s[n], what))
    return [*told, Told(return_s, "returns")]
