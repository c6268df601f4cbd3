"""A probe under judgement, for the tests of plausibility: oak's wall, polled every ten seconds."""

from __future__ import annotations

from dataclasses import replace

from matwarden.core.plausibility import Judged, fresh_memory, judge, view
from matwarden.terms import ProbeTerms, Role, Seen

STALE_S = 30.0
WALL = ProbeTerms("oak-wall", Role.WALL, "oak", None, 10.0, 5.0, STALE_S, 1.0, 0.0)


class Probe:
    """A probe under judgement. Its clock moves only when it is read."""

    def __init__(self, terms: ProbeTerms = WALL) -> None:
        self.terms = terms
        self.now_s = 0.0
        self.memory = fresh_memory(0.0)

    def read(
        self,
        temperature_c: float | None,
        humidity_pct: float | None = None,
        *,
        after_s: float = 10.0,
        failure: str = "",
        at_power_on: bool = False,
        neighbour_c: float | None = None,
    ) -> Judged:
        """Ten seconds later, one capture."""
        self.now_s += after_s
        self.memory, judged = judge(
            self.memory,
            temperature_c,
            humidity_pct,
            at_power_on,
            failure,
            self.now_s,
            self.terms,
            neighbour_c,
        )
        return judged

    def says(self, after_s: float = 0.0) -> Seen:
        """What is seen of it that much later."""
        return view(self.memory, self.now_s + after_s, self.terms.stale_s)


def offset(offset_k: float) -> ProbeTerms:
    """The wall probe with a correction found against a reference thermometer."""
    return replace(WALL, offset_k=offset_k)
