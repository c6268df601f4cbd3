"""The guard's table worked out a second time, on paper: written from the rules, not from the program.

One long if-chain over what the probes say, with a memory of its own. The tests hold the program against it. It is slow,
plain, and shares nothing with the program but the words.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import NamedTuple

from matwarden.core.guard import GuardLimits, GuardMemory, Observation
from matwarden.terms import Quality, Reason, Seen, Verdict


class Digest(NamedTuple):
    """One observation in the words of the table: what each role's usable readings come to."""

    now_s: float
    hottest_c: float | None
    hottest_governing_c: float | None
    hottest_other_c: float | None
    has_other: bool
    coldest_demand_c: float | None
    hot_doubt: bool
    wall_blind: bool
    air_blind: bool
    wall_run: int
    air_run: int
    relay_agrees: bool


def digest(seen: Observation, limits: GuardLimits) -> Digest:
    """Sort out the fresh good readings, role by role; without an air probe the wall speaks for the air."""

    def fresh(probes: tuple[Seen, ...]) -> list[Seen]:
        return [probe for probe in probes if not seen.now_s - probe.taken_s > limits.stale_s]

    def usable(probes: tuple[Seen, ...]) -> list[tuple[float, int]]:
        return [
            (probe.value_c, probe.good_run)
            for probe in fresh(probes)
            if probe.quality is Quality.GOOD and probe.value_c is not None and isfinite(probe.value_c)
        ]

    wall = usable(seen.wall)
    air = usable(seen.air) if len(seen.air) else wall
    governing = [value_c for value_c, _ in wall + air]
    everything = governing + [value_c for value_c, _ in usable(seen.other)]
    doubts = [
        probe.value_c
        for probe in fresh(seen.wall + seen.air + seen.other)
        if probe.quality is Quality.DOUBTFUL and probe.value_c is not None
    ]
    return Digest(
        now_s=seen.now_s,
        hottest_c=max(everything, default=None),
        hottest_governing_c=max(governing, default=None),
        hottest_other_c=max((value_c for value_c, _ in usable(seen.other)), default=None),
        has_other=len(seen.other) > 0,
        coldest_demand_c=min((value_c for value_c, _ in air), default=None),
        hot_doubt=any(not value_c < limits.limiter_c for value_c in doubts),
        wall_blind=not wall,
        air_blind=not air,
        wall_run=max((run for _, run in wall), default=0),
        air_run=max((run for _, run in air), default=0),
        relay_agrees=seen.relay_agrees,
    )


@dataclass(slots=True)
class PaperGuard:
    """What the table has to remember, in its own words."""

    limits: GuardLimits
    heating: bool = False
    changed_at_s: float = 0.0
    last_heat_s: float | None = None
    latched_trip: bool = False
    latched_relay: bool = False
    relay_was_wrong: int = 0
    wants_heat: bool = False
    limiter_acted: bool = False
    room_is_hot: bool = False
    other_was_hot: bool = False
    wall_trusted: bool = False
    air_trusted: bool = False
    held_until_s: float | None = None

    @classmethod
    def from_memory(cls, memory: GuardMemory, limits: GuardLimits) -> PaperGuard:
        """The same past, told in these words."""
        return cls(
            limits,
            heating=memory.allowed,
            changed_at_s=memory.since_s,
            last_heat_s=memory.heated_s,
            latched_trip=memory.tripped,
            latched_relay=memory.relay_fault,
            relay_was_wrong=memory.disagreements,
            wants_heat=memory.demand,
            limiter_acted=memory.limiter,
            room_is_hot=memory.hot_room,
            other_was_hot=memory.hot_beside,
            wall_trusted=memory.wall_proven,
            air_trusted=memory.air_proven,
            held_until_s=memory.hold_until_s,
        )

    def as_memory(self) -> GuardMemory:
        """The same past, told in the program's words."""
        return GuardMemory(
            tripped=self.latched_trip,
            relay_fault=self.latched_relay,
            disagreements=self.relay_was_wrong,
            demand=self.wants_heat,
            limiter=self.limiter_acted,
            hot_room=self.room_is_hot,
            hot_beside=self.other_was_hot,
            wall_proven=self.wall_trusted,
            air_proven=self.air_trusted,
            allowed=self.heating,
            since_s=self.changed_at_s,
            heated_s=self.last_heat_s,
            hold_until_s=self.held_until_s,
        )

    def look(self, seen: Digest) -> Verdict:
        """Update every latch and memory, then answer with the first row that applies."""
        limits = self.limits
        blind = seen.wall_blind or seen.air_blind
        was_tripped = self.latched_trip
        if self.heating:
            self.last_heat_s = seen.now_s

        if seen.relay_agrees:
            self.relay_was_wrong = 0
        else:
            self.relay_was_wrong += 1
        if self.relay_was_wrong == 2:
            self.latched_relay = True

        too_hot = seen.hottest_c is not None and seen.hottest_c >= limits.cut_out_c
        mat_is_warm = self.last_heat_s is not None and not seen.now_s - self.last_heat_s > limits.memory_s
        if too_hot and mat_is_warm:
            self.latched_trip = True
        if too_hot and not mat_is_warm:
            self.room_is_hot = True
        if not seen.has_other:
            self.other_was_hot = False
        if seen.hottest_other_c is not None and seen.hottest_other_c >= limits.cut_out_c:
            self.other_was_hot = True
        if seen.hottest_other_c is not None and seen.hottest_other_c < limits.cut_out_c - limits.differential_k:
            self.other_was_hot = False
        # Cooling must be seen, by every governing role and by any other probe that was hot: a probe that fell silent
        # has not cooled down.
        all_seen = not blind and not self.other_was_hot
        if all_seen and seen.hottest_c is not None and seen.hottest_c < limits.cut_out_c - limits.differential_k:
            self.room_is_hot = False

        if seen.hottest_governing_c is not None:
            if seen.hottest_governing_c >= limits.limiter_c:
                self.limiter_acted = True
            if not blind and seen.hottest_governing_c < limits.limiter_c - limits.differential_k:
                self.limiter_acted = False

        if seen.coldest_demand_c is not None:
            if seen.coldest_demand_c <= limits.demand_on_c:
                self.wants_heat = True
            if seen.coldest_demand_c >= limits.demand_off_c:
                self.wants_heat = False

        if seen.wall_run >= limits.prove_n:
            self.wall_trusted = True
        if seen.wall_blind:
            self.wall_trusted = False
        if seen.air_run >= limits.prove_n:
            self.air_trusted = True
        if seen.air_blind:
            self.air_trusted = False

        if self.held_until_s is not None and self.held_until_s <= seen.now_s:
            self.held_until_s = None

        verdict = self._first_row(seen, was_tripped, too_hot and mat_is_warm, blind)
        if verdict.allowed != self.heating:
            self.heating = verdict.allowed
            self.changed_at_s = seen.now_s
            self.last_heat_s = seen.now_s
        return verdict

    def _first_row(self, seen: Digest, was_tripped: bool, trips: bool, blind: bool) -> Verdict:
        for_s = seen.now_s - self.changed_at_s
        on_time_owed = self.heating and for_s < self.limits.minimum_on_s
        off_time_owed = not self.heating and for_s < self.limits.minimum_off_s
        if self.latched_relay:
            return Verdict(False, Reason.RELAY_FAULT)
        if was_tripped:
            return Verdict(False, Reason.TRIPPED)
        if trips:
            return Verdict(False, Reason.CUT_OUT)
        if self.room_is_hot:
            return Verdict(False, Reason.HOT_ROOM)
        if seen.hot_doubt:
            return Verdict(False, Reason.DOUBTFUL_HEAT)
        if blind:
            return Verdict(False, Reason.BLIND)
        if not self.wall_trusted or not self.air_trusted:
            return Verdict(False, Reason.PROVING)
        if self.held_until_s is not None:
            return Verdict(False, Reason.HELD)
        if self.limiter_acted:
            return Verdict(False, Reason.LIMITER)
        if not self.wants_heat:
            return Verdict(on_time_owed, Reason.MINIMUM_ON if on_time_owed else Reason.WARM_ENOUGH)
        if off_time_owed:
            return Verdict(False, Reason.RESTING)
        low = seen.coldest_demand_c is not None and seen.coldest_demand_c <= self.limits.demand_on_c
        return Verdict(True, Reason.BELOW_SETPOINT if low else Reason.COASTING)

    def hold(self, until_s: float) -> None:
        """A person keeps heat off until then."""
        self.held_until_s = until_s

    def release(self) -> None:
        """A person ends the hold."""
        self.held_until_s = None

    def reset(self, seen: Observation) -> bool:
        """A person's reset: granted only when the wall and every other probe is seen to be cool and the relay obeys."""
        limits = self.limits
        if not seen.wall:
            return False
        for probe in seen.wall + seen.air + seen.other:
            cool = probe.value_c is not None and probe.value_c < limits.cut_out_c - limits.differential_k
            if probe.quality is not Quality.GOOD or seen.now_s - probe.taken_s > limits.stale_s or not cool:
                return False
        if not seen.relay_agrees:
            return False
        self.latched_trip = self.latched_relay = False
        self.relay_was_wrong = 0
        return True
