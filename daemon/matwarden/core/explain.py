"""Why heat is cut or allowed, in one sentence with the numbers that decided."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from matwarden.core.guard import GuardLimits, GuardMemory, Observation
from matwarden.core.units import duration_text, temperature_text
from matwarden.terms import Quality, Reason, Seen, Unit, Verdict

__all__ = ["explain", "trip_words"]

NO_READING = "no reading"


class _Words:
    """The numbers of one verdict, formatted when a sentence asks for them."""

    def __init__(self, memory: GuardMemory, seen: Observation, limits: GuardLimits, unit: Unit) -> None:
        self.memory = memory
        self.seen = seen
        self.limits = limits
        self._unit = unit

    def degrees(self, value_c: float) -> str:
        return temperature_text(value_c, self._unit)

    def hottest(self, quality: Quality = Quality.GOOD) -> str:
        return self._extreme(quality, max)

    def hottest_governing(self) -> str:
        return self.hottest_of({"wall": self.seen.wall, "air": self.seen.air})

    def hottest_of(self, roles: Mapping[str, tuple[Seen, ...]]) -> str:
        return self._extreme(Quality.GOOD, max, roles)

    def coldest(self) -> str:
        demand = {"air": self.seen.air} if self.seen.air else {"wall": self.seen.wall}
        return self._extreme(Quality.GOOD, min, demand)

    def left(self, span_s: float) -> str:
        return duration_text(max(0.0, span_s - (self.seen.now_s - self.memory.since_s)))

    def _extreme(
        self,
        quality: Quality,
        pick: Callable[[list[tuple[float, str]]], tuple[float, str]],
        roles: Mapping[str, tuple[Seen, ...]] | None = None,
    ) -> str:
        roles = roles or {"wall": self.seen.wall, "air": self.seen.air, "substrate": self.seen.other}
        found = [
            (s.value_c, role)
            for role, probes in roles.items()
            for s in probes
            if s.quality is quality and s.value_c is not None and self.seen.now_s - s.taken_s <= self.limits.stale_s
        ]
        if not found:
            return NO_READING
        value_c, role = pick(found)
        return f"{role} {self.degrees(value_c)}"


def trip_words(memory: GuardMemory, seen: Observation, limits: GuardLimits, unit: Unit) -> str:
    """The numbers of a trip, as a clause: the hottest reading now, and the limit."""
    words = _Words(memory, seen, limits, unit)
    return f"{words.hottest()}; the limit is {words.degrees(limits.cut_out_c)}"


def explain(memory: GuardMemory, seen: Observation, limits: GuardLimits, verdict: Verdict, unit: Unit) -> str:
    """One sentence: what was decided, which numbers decided it, what would change it.

    Args:
        memory: as it is after the step that gave `verdict`.
    """
    words = _Words(memory, seen, limits, unit)
    return ("Heat is allowed: " if verdict.allowed else "Heat is cut: ") + _SENTENCES[verdict.reason](words)


def _blind(w: _Words) -> str:
    def why(role: str, probes: tuple[Seen, ...]) -> str:
        clauses = [s.why or "too old" for s in probes if s.quality is not Quality.GOOD] or ["too old"]
        return f"no good {role} reading ({clauses[0]})"

    def blind(probes: tuple[Seen, ...]) -> bool:
        return not any(s.quality is Quality.GOOD and w.seen.now_s - s.taken_s <= w.limits.stale_s for s in probes)

    parts = [why("wall", w.seen.wall)] if blind(w.seen.wall) else []
    if w.seen.air and blind(w.seen.air):
        parts.append(why("air", w.seen.air))
    return " and ".join(parts or ["no good reading"]) + "; it waits for readings."


def _proving(w: _Words) -> str:
    return f"it waits for {w.limits.prove_n} good readings in a row of each governing probe."


def _held(w: _Words) -> str:
    left_s = (w.memory.hold_until_s or w.seen.now_s) - w.seen.now_s
    return f"a person's hold is on, for another {duration_text(max(0.0, left_s))}."


def _hot_room(w: _Words) -> str:
    ends = w.degrees(w.limits.cut_out_c - w.limits.differential_k)
    substrate = {"substrate": w.seen.other}
    if w.memory.hot_beside and w.hottest_of(substrate) == NO_READING:
        return (
            f"a substrate probe had reached {w.degrees(w.limits.cut_out_c)} with heat long cut, and gives no good "
            f"reading now. Ends when it reads below {ends}; if it is broken, mend it or take it out of the settings."
        )
    return f"{w.hottest()} with heat long cut: the room is hot. Ends by itself below {ends}."


_SENTENCES: dict[Reason, Callable[[_Words], str]] = {
    Reason.RELAY_FAULT: lambda w: (
        "the relay's line does not do what it is told; have it looked at, then reset at the shelf."
    ),
    Reason.TRIPPED: lambda w: (
        f"the software cut-out ({w.degrees(w.limits.cut_out_c)}) has tripped; now {w.hottest()}. "
        "It stays cut until a person resets it at the shelf."
    ),
    Reason.CUT_OUT: lambda w: (
        f"{w.hottest()} has reached the software cut-out, {w.degrees(w.limits.cut_out_c)}; "
        "tripped until a person resets it at the shelf."
    ),
    Reason.HOT_ROOM: _hot_room,
    Reason.DOUBTFUL_HEAT: lambda w: (
        f"a doubtful reading, {w.hottest(Quality.DOUBTFUL)}, is at or above the limiter, "
        f"{w.degrees(w.limits.limiter_c)}."
    ),
    Reason.BLIND: _blind,
    Reason.PROVING: _proving,
    Reason.HELD: _held,
    Reason.LIMITER: lambda w: (
        f"{w.hottest_governing()}; the limiter is {w.degrees(w.limits.limiter_c)} and lets go below "
        f"{w.degrees(w.limits.limiter_c - w.limits.differential_k)}."
    ),
    Reason.WARM_ENOUGH: lambda w: f"{w.coldest()} is warm enough; demand begins at {w.degrees(w.limits.demand_on_c)}.",
    Reason.RESTING: lambda w: (
        f"{w.coldest()} asks for heat, but the relay rests for another {w.left(w.limits.minimum_off_s)}."
    ),
    Reason.BELOW_SETPOINT: lambda w: (
        f"{w.coldest()} is at or below {w.degrees(w.limits.demand_on_c)}; heat goes on to "
        f"{w.degrees(w.limits.demand_off_c)}."
    ),
    Reason.COASTING: lambda w: f"{w.coldest()} is on its way to {w.degrees(w.limits.demand_off_c)}.",
    Reason.MINIMUM_ON: lambda w: (
        f"{w.coldest()} is warm enough, but the relay stays on for another {w.left(w.limits.minimum_on_s)}."
    ),
}
