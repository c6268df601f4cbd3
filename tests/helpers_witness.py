"""Somebody who watches one tub from outside and asserts, after every cycle, what must be true of any guard.

It knows what the probes delivered, what was told, how the relay's line stands and what people asked. Its judgement is
its own: it must not import the guard's rules.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from math import isfinite
from typing import Any

from helpers_station import WatchedProbe, WatchedRelay
from matwarden.events import AlarmChanged, Event, Readings, Refused, Remember, VerdictChanged
from matwarden.terms import MatTerms, Quality, Reason, Verdict
from matwarden_hardware.ports import Sample

_ALLOWING = (Reason.BELOW_SETPOINT, Reason.COASTING, Reason.MINIMUM_ON)
_LATCHED = (Reason.RELAY_FAULT, Reason.TRIPPED, Reason.CUT_OUT)
_LONGEST_HOLD_S = 12 * 3600.0


def _possible(sample: Sample) -> bool:
    """Could this be the temperature of anything near a tub? -30..70 C, and neither a dead line nor a cold start."""
    temperature_c, humidity_pct, at_power_on = sample
    if not isfinite(temperature_c) or at_power_on or (temperature_c == 0.0 and humidity_pct == 0.0):
        return False
    return -30.0 <= temperature_c <= 70.0


class Witness:
    """Watches a tub with the probes `oak-wall`, `oak-air` and `oak-substrate`.

    Attributes:
        latched: a trip or relay fault stands, and no person's reset has been granted since.
        reasons: every reason told so far.
    """

    def __init__(
        self,
        probes: Mapping[str, WatchedProbe],
        relay: WatchedRelay,
        mat: MatTerms,
        stale_s: float,
        poll_s: float,
    ) -> None:
        self._probes = probes
        self._relay = relay
        self._mat = mat
        self._stale_s = stale_s
        self._poll_s = poll_s
        self._kept: dict[str, str] = {}
        self._story: list[tuple[object, ...]] = []
        self._batch: list[Event] = []
        self._taken = dict.fromkeys(probes, 0)
        self._good: dict[str, tuple[float, float]] = {}
        self._doubtful: dict[str, float] = {}
        self._last_failed: set[str] = set()
        self._told: Verdict | None = None
        self._hold: tuple[float, float] | None = None
        self._stepped_since_hold = False
        self._last_on_s: float | None = None
        self._calm_since_s: float | None = None
        self._must_cool = False
        self.latched = False
        self.reasons: set[Reason] = set()

    # What happens to the station.

    def tell(self, events: list[Event]) -> None:
        """For the station: take the events of a cycle, and see that the line was driven before they were told."""
        self._batch += events
        verdicts = [each.verdict for each in events if isinstance(each, VerdictChanged)]
        if verdicts:
            assert self._relay.level == verdicts[-1].allowed, "the line is driven before anybody is told"
        for each in events:
            if isinstance(each, Remember) and each.urgent:
                self._kept[each.key] = json.dumps(each.value)
            elif isinstance(each, VerdictChanged):
                self._story.append((each.at.mono_s, each.verdict, each.sentence))
            elif isinstance(each, AlarmChanged):
                self._story.append((each.at.mono_s, each.alarm, each.state, each.text))

    def kept(self) -> dict[str, dict[str, Any]]:
        """What a restart finds on the record."""
        return {key: json.loads(value) for key, value in self._kept.items()}

    def story(self) -> list[tuple[object, ...]]:
        """Verdicts and alarms in order, without the wall clock."""
        return self._story

    def restarted(self) -> None:
        self._good.clear()
        self._doubtful.clear()
        self._last_failed.clear()
        self._calm_since_s = None
        self._last_on_s = None
        self._must_cool = False
        if self._hold is not None and self._stepped_since_hold:
            # A clock that was set may end a hold over a restart (never prolong it): whether it still runs is unknown.
            self._hold = (self._hold[0], float("-inf"))

    def clock_stepped(self) -> None:
        self._stepped_since_hold = True

    def held(self, for_s: float, now_s: float) -> None:
        until_s = now_s + min(for_s, _LONGEST_HOLD_S)
        self._hold = (until_s, until_s)
        self._calm_since_s = None
        self._stepped_since_hold = False

    def released(self) -> None:
        self._hold = None
        self._calm_since_s = None

    def reset_granted(self) -> None:
        self.latched = False
        self._calm_since_s = None

    # What must be true.

    def after_cycle(self, now_s: float, why: str) -> None:
        """Look at everything, and assert."""
        delivered = self._delivered()
        self._follow(delivered, now_s)
        level = self._relay.level
        self._nothing_impossible_is_read(delivered)
        self._hot_is_cut(delivered)
        self._notice_latches(now_s)
        self._notice_limiter(now_s)
        self._reasons_have_their_reading(now_s)
        if level:
            self._heat_is_by_right(now_s)
        else:
            self._cut_has_a_reason(why)
        self._latch_holds()
        self._heat_comes_back(now_s)
        if level:
            self._last_on_s = now_s
        self._batch.clear()

    def _delivered(self) -> dict[str, Sample | None]:
        """What each probe delivered in this cycle; probes that were not read are left out."""
        found = {}
        for name, each in self._probes.items():
            for _, sample in each.reads[self._taken[name] :]:
                found[name] = sample
            self._taken[name] = len(each.reads)
        return found

    def _follow(self, delivered: Mapping[str, Sample | None], now_s: float) -> None:
        for name in delivered:
            self._last_failed.add(name)
        for each in self._batch:
            if isinstance(each, Readings):
                for reading in each.taken:
                    self._good[reading.probe] = (now_s, reading.temperature_c)
                    self._doubtful.pop(reading.probe, None)
                    self._last_failed.discard(reading.probe)
            elif isinstance(each, Refused):
                sample = delivered[each.probe]
                if each.quality is Quality.DOUBTFUL:
                    assert sample is not None
                    self._doubtful[each.probe] = sample.temperature_c
                else:
                    self._doubtful.pop(each.probe, None)
            elif isinstance(each, VerdictChanged):
                self._told = each.verdict
                self.reasons.add(each.verdict.reason)

    def _fresh(self, now_s: float) -> dict[str, float]:
        """The good readings that still count."""
        return {
            name: value_c
            for name, (taken_s, value_c) in self._good.items()
            if now_s - taken_s <= self._stale_s and name not in self._doubtful
        }

    def _nothing_impossible_is_read(self, delivered: Mapping[str, Sample | None]) -> None:
        """Invariant 5: what is told as a reading was delivered, and can be a temperature."""
        for each in self._batch:
            if isinstance(each, Readings):
                for reading in each.taken:
                    sample = delivered[reading.probe]
                    assert sample is not None
                    assert _possible(sample), sample
                    assert reading.temperature_c == sample.temperature_c

    def _hot_is_cut(self, delivered: Mapping[str, Sample | None]) -> None:
        """Invariant 2: a delivered value at the cut-out (of wall and air: at the limiter) leaves the line cut."""
        for name, sample in delivered.items():
            limit_c = self._mat.cut_out_c if name == "oak-substrate" else self._mat.limiter_c
            if sample is not None and _possible(sample) and sample.temperature_c >= limit_c:
                assert not self._relay.level, f"{name} delivered {sample.temperature_c}"

    def _notice_latches(self, now_s: float) -> None:
        for each in self._batch:
            if isinstance(each, VerdictChanged) and each.verdict.reason in _LATCHED:
                self.latched = True
        over = [each for each in self._batch if isinstance(each, Readings)]
        hot = any(reading.temperature_c >= self._mat.cut_out_c for each in over for reading in each.taken)
        if hot and self._last_on_s is not None and now_s - self._last_on_s < self._mat.memory_s:
            self.latched = True

    def _notice_limiter(self, now_s: float) -> None:
        fresh, mat = self._fresh(now_s), self._mat
        governing = [fresh[name] for name in ("oak-wall", "oak-air") if name in fresh]
        if governing and max(governing) >= mat.limiter_c:
            self._must_cool = True
        elif len(governing) == 2 and max(governing) < mat.limiter_c - mat.differential_k:
            self._must_cool = False

    def _reasons_have_their_reading(self, now_s: float) -> None:
        """Invariant 5 again: no reason that needs a number is given without a possible reading that has it."""
        fresh, mat = self._fresh(now_s), self._mat
        governing = [fresh[name] for name in ("oak-wall", "oak-air") if name in fresh]
        for each in self._batch:
            if not isinstance(each, VerdictChanged):
                continue
            reason = each.verdict.reason
            if reason is Reason.CUT_OUT:
                assert max(fresh.values()) >= mat.cut_out_c
            elif reason is Reason.LIMITER:
                assert max(governing) >= mat.limiter_c - mat.differential_k
            elif reason is Reason.DOUBTFUL_HEAT:
                assert max(self._doubtful.values()) >= mat.limiter_c
            elif reason is Reason.BELOW_SETPOINT:
                assert fresh["oak-air"] <= mat.setpoint_c - mat.hysteresis_k / 2

    def _heat_is_by_right(self, now_s: float) -> None:
        """Invariants 1 and 4: heat needs a reason that allows, fresh good readings under limits, no latch, no hold."""
        told, fresh, mat = self._told, self._fresh(now_s), self._mat
        assert told is not None
        assert told.allowed
        assert told.reason in _ALLOWING
        assert {"oak-wall", "oak-air"} <= fresh.keys(), "a governing role without a fresh good reading"
        assert max(fresh["oak-wall"], fresh["oak-air"]) < mat.limiter_c
        assert fresh.get("oak-substrate", 0.0) < mat.cut_out_c
        assert fresh["oak-air"] < mat.setpoint_c + mat.hysteresis_k / 2 or told.reason is Reason.MINIMUM_ON
        assert not self._must_cool, "heat before the limiter's differential was cooled through"
        assert not self.latched
        assert self._hold is None or now_s >= self._hold[1], "heat during a hold"

    def _cut_has_a_reason(self, why: str) -> None:
        """Invariant 7: a line that is cut has been told as cut, and the reason is a sentence."""
        assert self._told is not None
        assert not self._told.allowed
        assert why.startswith("Heat is cut: ")
        assert why.endswith(".")

    def _latch_holds(self) -> None:
        """Invariant 3: only a person's reset ends a trip or a relay fault."""
        if self.latched:
            assert not self._relay.level
            assert self._told is not None
            assert self._told.reason in _LATCHED

    def _heat_comes_back(self, now_s: float) -> None:
        """Invariant 9: with good readings, demand and nothing against it, heat is allowed in time."""
        mat, fresh = self._mat, self._fresh(now_s)
        well = (
            len(fresh) == len(self._probes)
            and not self._last_failed
            and max(fresh["oak-wall"], fresh["oak-air"]) < mat.limiter_c - mat.differential_k
            and fresh["oak-substrate"] < mat.cut_out_c - mat.differential_k
            and fresh["oak-air"] <= mat.setpoint_c - mat.hysteresis_k / 2
            and not self.latched
            and (self._hold is None or now_s >= self._hold[0])
        )
        if not well:
            self._calm_since_s = None
            return
        if self._calm_since_s is None:
            self._calm_since_s = now_s
        if now_s - self._calm_since_s >= mat.minimum_off_s + mat.prove_n * self._poll_s:
            assert self._relay.level, f"nothing against heat since {self._calm_since_s}, and none is allowed"
