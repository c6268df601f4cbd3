"""The guard's minimum times, and what it knows when it has just started."""

from __future__ import annotations

from dataclasses import replace

import pytest

from guard_examples import (
    COLD,
    LIMITS,
    RESTED,
    WARM,
    Doubt,
    Look,
    Tub,
    heating,
)
from matwarden.core import guard
from matwarden.terms import (
    AlarmTimes,
    Band,
    Enclosure,
    MatTerms,
    Placement,
    ProbeTerms,
    Reason,
    Verdict,
)
from matwarden.terms import Role as ProbeRole

COLD_FOR_LONG = RESTED._replace(after_s=999.0)


class TestMinimumTimes:
    """Rule 11, and the minimum on time."""

    def test_the_minimum_on_time_delays_the_end_of_demand_only_until_it_is_over(self) -> None:
        """59 s after the start of heat a warm tub is still heated; at 60 s no more."""
        tub = heating()
        assert tub.see(WARM, after_s=59.0) == Verdict(True, Reason.MINIMUM_ON)
        assert tub.see(WARM, after_s=1.0) == Verdict(False, Reason.WARM_ENOUGH)

    @pytest.mark.parametrize(
        ("look", "reason"),
        [
            (Look(wall=30.0, air=24.0), Reason.CUT_OUT),
            (Look(wall=28.0, air=24.0), Reason.LIMITER),
            (Look(wall=26.0, air=28.0), Reason.LIMITER),
            (Look(wall=None, air=24.0), Reason.BLIND),
            (Look(wall=26.0, air=[None, Doubt(27.0)]), Reason.BLIND),
            (Look(wall=[26.0, Doubt(28.0)], air=24.0), Reason.DOUBTFUL_HEAT),
        ],
    )
    def test_the_minimum_on_time_delays_nothing_else(self, look: Look, reason: Reason) -> None:
        """One second after heat began, every other cause cuts at once, also when there is no demand any more."""
        assert heating().see(look) == Verdict(False, reason)
        tub = heating()
        assert tub.see(WARM) == Verdict(True, Reason.MINIMUM_ON)
        assert tub.see(look) == Verdict(False, reason)

    @pytest.mark.parametrize(
        "look",
        [Look(wall=28.0, air=24.0), Look(wall=None, air=24.0), Look(wall=[26.0, Doubt(28.0)], air=24.0)],
    )
    def test_after_every_cut_the_relay_rests(self, look: Look) -> None:
        """A cause that lasted a second still costs the minimum off time, and not a second more."""
        tub = heating()
        assert not tub.see(look).allowed
        assert tub.see(COLD, after_s=119.5) == Verdict(False, Reason.RESTING)
        assert tub.see(COLD, after_s=0.5) == Verdict(True, Reason.BELOW_SETPOINT)


class TestStart:
    """What a guard knows when it has just started."""

    def test_it_is_cut_and_rests_first(self) -> None:
        """Whatever it did before the restart, the relay has just been switched."""
        tub = Tub(now_s=500.0)
        assert tub.see(COLD, after_s=0.0) == Verdict(False, Reason.RESTING)
        assert tub.see(COLD, after_s=119.5) == Verdict(False, Reason.RESTING)
        assert tub.see(COLD, after_s=0.5) == Verdict(True, Reason.BELOW_SETPOINT)

    @pytest.mark.parametrize(
        ("heated_s", "reason"), [(None, Reason.HOT_ROOM), (-600.0, Reason.CUT_OUT), (-600.5, Reason.HOT_ROOM)]
    )
    def test_the_mats_stored_heat_outlives_a_restart(self, heated_s: float | None, reason: Reason) -> None:
        """Heat allowed shortly before a crash is still to blame after it."""
        tub = Tub(guard.start(0.0, heated_s=heated_s))
        assert tub.see(Look(wall=30.0, air=24.0), after_s=0.0) == Verdict(False, reason)

    @pytest.mark.parametrize("latch", ["tripped", "relay_fault"])
    def test_latches_outlive_a_restart(self, latch: str) -> None:
        """A power cut is not a reset."""
        tub = Tub(guard.start(0.0, tripped=latch == "tripped", relay_fault=latch == "relay_fault"))
        assert tub.see(COLD_FOR_LONG).reason.replace("-", "_") == latch

    def test_a_hold_outlives_a_restart(self) -> None:
        """Until its own end."""
        tub = Tub(guard.start(0.0, hold_until_s=200.0))
        assert tub.see(COLD, after_s=199.0) == Verdict(False, Reason.HELD)
        assert tub.see(COLD, after_s=1.0) == Verdict(True, Reason.BELOW_SETPOINT)


def test_the_limits_of_a_tub_come_from_its_settings() -> None:
    """Half the hysteresis lies on each side of the setpoint; no probe is stale before its own stale time."""

    def probe(role: ProbeRole, stale_s: float) -> ProbeTerms:
        return ProbeTerms(f"oak-{role}", role, "oak", None, 10.0, 5.0, stale_s, 2.0, 0.0)

    mat = MatTerms(Placement.BACK, 7.0, 25.0, 1.0, 28.0, 30.0, 1.5, 60.0, 120.0, 600.0, 3, 100_000)
    alarms = AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5)
    probes = (probe(ProbeRole.WALL, 20.0), probe(ProbeRole.AIR, 30.0))
    oak = Enclosure("oak", "Oak", Band(22.2, 27.8), probes, mat, alarms)
    assert guard.limits_of(oak, mat) == LIMITS
    slow = replace(oak, probes=(*probes, probe(ProbeRole.SUBSTRATE, 180.0)))
    assert guard.limits_of(slow, mat).stale_s == 180.0
