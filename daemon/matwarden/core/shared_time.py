"""When several probes were read at once. Pure.

The law of `core.exposure`: a value holds until the next one, but never longer than its probe's `hold_s`. Spans are
half-open, in seconds of elapsed time, in order, and do not touch each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from matwarden.core.record import Point

__all__ = ["TimeSpan", "both", "length_s", "longest_gap_s", "read_spans", "shared_spans"]


class TimeSpan(NamedTuple):
    """From when until when, in seconds of elapsed time."""

    from_s: float
    to_s: float


def read_spans(points: Iterable[Point], end_s: float, hold_s: float) -> list[TimeSpan]:
    """The spans in which a series had a value, up to `end_s`."""
    spans = []
    from_s = to_s = None
    for elapsed_s, _, _ in points:
        if elapsed_s >= end_s:
            break
        if from_s is None or to_s is None:
            from_s = elapsed_s
        elif elapsed_s > to_s:
            spans.append(TimeSpan(from_s, to_s))
            from_s = elapsed_s
        to_s = elapsed_s + hold_s
    if from_s is not None and to_s is not None:
        spans.append(TimeSpan(from_s, min(to_s, end_s)))
    return spans


def both(one: Sequence[TimeSpan], other: Sequence[TimeSpan]) -> list[TimeSpan]:
    """What lies in both."""
    found = []
    i = j = 0
    while i < len(one) and j < len(other):
        from_s, to_s = max(one[i].from_s, other[j].from_s), min(one[i].to_s, other[j].to_s)
        if from_s < to_s:
            found.append(TimeSpan(from_s, to_s))
        if one[i].to_s < other[j].to_s:
            i += 1
        else:
            j += 1
    return found


def shared_spans(every: Sequence[Sequence[TimeSpan]]) -> list[TimeSpan]:
    """What lies in all of them; nothing of none."""
    if not every:
        return []
    shared = list(every[0])
    for each in every[1:]:
        shared = both(shared, each)
    return shared


def length_s(spans: Iterable[TimeSpan]) -> float:
    """All of them together."""
    return sum(span.to_s - span.from_s for span in spans)


def longest_gap_s(spans: Sequence[TimeSpan]) -> float:
    """The longest time between two of them."""
    return max((after.from_s - before.to_s for before, after in zip(spans, spans[1:], strict=False)), default=0.0)
