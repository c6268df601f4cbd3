"""One probe as the station keeps it: its terms, its memory, and the way from a capture to an event."""

from __future__ import annotations

from matwarden.core.plausibility import Judged, fresh_memory, judge, view
from matwarden.pollers import Capture
from matwarden.terms import At, ProbeTerms, Quality, Reading, Seen

__all__ = ["ProbeKeeper"]


class ProbeKeeper:
    """Holds what is remembered of one probe."""

    __slots__ = ("latest", "memory", "neighbour", "terms")

    def __init__(self, terms: ProbeTerms, now_s: float) -> None:
        self.terms = terms
        self.memory = fresh_memory(now_s)
        self.latest: Reading | None = None
        self.neighbour: ProbeKeeper | None = None

    def take(self, capture: Capture, at: At) -> Judged:
        """Judge one capture and keep the outcome; `latest` is the last good reading with its time."""
        sample = capture.sample
        neighbour = self.neighbour
        neighbour_c = None if neighbour is None else neighbour.memory.good_c
        if sample is None:
            self.memory, judged = judge(
                self.memory, None, None, False, capture.failure or "no value", capture.at_s, self.terms
            )
        else:
            self.memory, judged = judge(
                self.memory,
                sample.temperature_c,
                sample.humidity_pct,
                sample.at_power_on_value,
                "",
                capture.at_s,
                self.terms,
                neighbour_c,
            )
        if judged.quality is Quality.GOOD and judged.temperature_c is not None:
            self.latest = Reading(self.terms.id, at, judged.temperature_c, judged.humidity_pct)
        return judged

    def view(self, now_s: float) -> Seen:
        """What the probe says now."""
        return view(self.memory, now_s, self.terms.stale_s)
