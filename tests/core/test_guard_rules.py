"""The guard's table, row by row."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from guard_examples import (
    BETWEEN,
    COLD,
    RESTED,
    WARM,
    Doubt,
    Good,
    Look,
    Role,
    Tub,
    heating,
    tripped,
)
from matwarden.core import guard
from matwarden.core.guard import GuardLimits
from matwarden.terms import (
    Reason,
    Verdict,
)

COLD_FOR_LONG = RESTED._replace(after_s=999.0)


class TestRelayFault:
    """Rule 1."""

    def test_one_disagreement_is_not_a_fault(self) -> None:
        """A command and its read-back may cross once; an agreement starts the count again."""
        tub = heating()
        for agrees in (False, True, False, True, False):
            assert tub.see(COLD._replace(relay_agrees=agrees)).allowed

    def test_two_running_latch_and_agreement_does_not_end_it(self) -> None:
        """A relay that did not follow twice is not trusted again until a person says so."""
        tub = heating()
        for _ in range(2):
            tub.see(COLD._replace(relay_agrees=False))
        assert tub.see(COLD_FOR_LONG) == Verdict(False, Reason.RELAY_FAULT)

    def test_a_runaway_under_a_relay_fault_is_a_trip_too(self) -> None:
        """Rule 1 tells, rule 3 latches all the same."""
        tub = heating()
        tub.see(COLD._replace(relay_agrees=False))
        verdict = tub.see(Look(wall=30.0, air=24.0, relay_agrees=False))
        assert verdict == Verdict(False, Reason.RELAY_FAULT)
        assert tub.memory.tripped


class TestCutOutAndHotRoom:
    """Rules 2, 3 and 4."""

    def test_a_trip_is_told_once_as_cut_out_and_then_as_tripped_for_good(self) -> None:
        """A day of cool readings does not end a trip."""
        tub = tripped()
        for _ in range(24):
            assert tub.see(COLD, after_s=3600.0) == Verdict(False, Reason.TRIPPED)

    @pytest.mark.parametrize(("wall_c", "trips"), [(30.0, True), (29.9, False)])
    def test_the_cut_out_acts_at_its_value(self, wall_c: float, trips: bool) -> None:
        """At the value itself, not above it."""
        tub = heating()
        tub.see(Look(wall=wall_c, air=24.0))
        assert tub.memory.tripped is trips

    @pytest.mark.parametrize(
        ("after_s", "reason"), [(599.0, Reason.CUT_OUT), (600.0, Reason.CUT_OUT), (600.5, Reason.HOT_ROOM)]
    )
    def test_the_mat_is_blamed_for_as_long_as_it_stays_warm(self, after_s: float, reason: Reason) -> None:
        """Up to `memory_s` after heat was cut a cut-out is the mat's doing; later it is not."""
        tub = heating()
        assert tub.see(Look(wall=28.0, air=24.0)) == Verdict(False, Reason.LIMITER)
        assert tub.see(Look(wall=30.0, air=24.0, after_s=after_s)) == Verdict(False, reason)

    def test_heat_that_is_still_allowed_is_blamed_however_long_ago_it_began(self) -> None:
        """The stored heat counts from when heat was last allowed, not from when it was first."""
        tub = heating()
        assert tub.see(Look(wall=30.0, air=24.0), after_s=9000.0) == Verdict(False, Reason.CUT_OUT)

    def test_a_hot_room_clears_by_itself_below_the_differential(self) -> None:
        """At cut-out minus differential it still stands; under it it is over, and it never was a trip."""
        tub = Tub()
        tub.see(Look(wall=30.0, air=30.0, after_s=999.0))
        assert tub.see(Look(wall=28.5, air=28.5)) == Verdict(False, Reason.HOT_ROOM)
        assert tub.see(Look(wall=28.4, air=28.4)) == Verdict(False, Reason.LIMITER)
        assert tub.see(COLD_FOR_LONG) == Verdict(True, Reason.BELOW_SETPOINT)
        assert not tub.memory.tripped

    def test_a_hot_room_does_not_end_because_the_hot_probe_fell_silent(self) -> None:
        """Cooling down must be seen."""
        tub = Tub()
        tub.see(Look(wall=30.0, air=24.0, after_s=999.0))
        tub.see(Look(wall=None, air=24.0))
        assert tub.see(Look(wall=28.5, air=24.0)) == Verdict(False, Reason.HOT_ROOM)

    def test_a_hot_room_does_not_end_because_a_hot_substrate_probe_fell_silent(self) -> None:
        """Only the substrate was hot: its silence is no cooling, its reading under the differential is."""
        tub = Tub()
        tub.see(Look(wall=26.0, air=24.0, other=30.0, after_s=999.0))
        assert tub.see(Look(wall=26.0, air=24.0, other=None, after_s=9000.0)) == Verdict(False, Reason.HOT_ROOM)
        assert tub.see(Look(wall=26.0, air=24.0, other=28.5)) == Verdict(False, Reason.HOT_ROOM)
        assert tub.see(Look(wall=26.0, air=24.0, other=28.4)).reason is not Reason.HOT_ROOM

    def test_a_substrate_probe_that_was_silent_all_along_keeps_no_hot_room(self) -> None:
        """The wall was hot and is seen to have cooled: a probe that never said it was hot has nothing to take back."""
        tub = Tub()
        tub.see(Look(wall=30.0, air=24.0, other=None, after_s=999.0))
        assert tub.see(Look(wall=26.0, air=24.0, other=None)).reason is not Reason.HOT_ROOM

    @pytest.mark.parametrize(
        ("wall", "air", "other"), [(30.0, 24.0, []), (26.0, [24.0, 30.0], []), (26.0, 24.0, [22.0, 30.0])]
    )
    def test_the_hottest_probe_of_any_role_trips(self, wall: Role, air: Role, other: Role) -> None:
        """A cut-out looks at every probe of the tub, a substrate probe too."""
        assert heating().see(Look(wall, air, other)) == Verdict(False, Reason.CUT_OUT)


class TestDoubtAndBlindness:
    """Rules 5, 6 and 7."""

    @pytest.mark.parametrize(("doubt_c", "allowed"), [(27.9, True), (28.0, False), (60.0, False)])
    def test_doubt_cuts_from_the_limiter_on_though_another_wall_probe_is_good(
        self, doubt_c: float, allowed: bool
    ) -> None:
        """Below the limiter a doubtful second probe decides nothing."""
        assert heating().see(Look(wall=[26.0, Doubt(doubt_c)], air=24.0)).allowed is allowed

    @pytest.mark.parametrize(
        ("air", "other"), [([24.0, Doubt(28.0)], []), (24.0, Doubt(28.0)), (24.0, [25.0, Doubt(28.0)])]
    )
    def test_doubt_of_any_role_cuts(self, air: Role, other: Role) -> None:
        """The air's and the substrate's as well as the wall's."""
        assert heating().see(Look(26.0, air, other)) == Verdict(False, Reason.DOUBTFUL_HEAT)

    @pytest.mark.parametrize("no_number_c", [float("nan"), float("inf"), float("-inf")])
    def test_a_good_reading_that_is_no_number_is_none(self, no_number_c: float) -> None:
        """Plausibility refuses it before; the guard would not take it for cool either."""
        assert heating().see(Look(wall=no_number_c, air=24.0)) == Verdict(False, Reason.BLIND)

    def test_doubt_never_allows(self) -> None:
        """A doubtful cold air reading is no demand, and no sight either."""
        tub = Tub()
        assert tub.see(Look(wall=26.0, air=Doubt(15.0), after_s=999.0)) == Verdict(False, Reason.BLIND)
        assert not tub.memory.demand

    def test_doubt_never_trips(self) -> None:
        """A jump to 60 C cuts, but it takes a good reading to blame the mat for good."""
        tub = heating()
        tub.see(Look(wall=[26.0, Doubt(60.0)], air=24.0))
        assert not tub.memory.tripped

    @pytest.mark.parametrize("role", ["wall", "air"])
    def test_one_of_two_probes_dying_is_no_cut_and_the_last_one_is(self, role: str) -> None:
        """As long as one good probe of a role is left, the role sees."""
        tub = heating()
        assert tub.see(Look(**{"wall": 26.0, "air": 24.0, role: [24.4, None]})).allowed  # type: ignore[arg-type]
        blind = Look(**{"wall": 26.0, "air": 24.0, role: [None, None]})  # type: ignore[arg-type]
        assert tub.see(blind) == Verdict(False, Reason.BLIND)

    def test_a_tub_whose_wall_has_no_probe_is_blind(self) -> None:
        """The wall always governs: settings refuse such a tub, and the guard does too."""
        assert Tub().see(Look(wall=[], air=24.0, after_s=999.0)) == Verdict(False, Reason.BLIND)

    @pytest.mark.parametrize(("age_s", "allowed"), [(30.0, True), (30.5, False)])
    def test_a_reading_older_than_its_stale_time_is_no_reading(self, age_s: float, allowed: bool) -> None:
        """Nothing has to arrive for the guard to notice."""
        assert heating().see(Look(wall=Good(26.0, age_s=age_s), air=24.0)).allowed is allowed

    def test_a_substrate_probe_that_dies_or_is_in_mild_doubt_cuts_nothing(self) -> None:
        """It can cut by being hot; it does not govern."""
        tub = heating()
        assert tub.see(COLD._replace(other=[None, Doubt(27.0)])).allowed
        assert tub.see(COLD._replace(other=[28.5])).allowed

    def test_three_good_readings_in_a_row_prove_a_role(self) -> None:
        """Each governing role, from the start: not one earlier, not one later."""
        tub = Tub()
        looks = [Look(wall=Good(26.0, run=run), air=Good(24.0, run=run + 1), after_s=120.0) for run in (1, 2, 3)]
        assert [tub.see(look).reason for look in looks] == [
            Reason.PROVING,
            Reason.PROVING,
            Reason.BELOW_SETPOINT,
        ]

    def test_a_role_that_was_blind_proves_itself_again(self) -> None:
        """What was proven before counts no more; the other role stays proven."""
        tub = heating()
        tub.see(Look(wall=26.0, air=None))
        looks = [Look(wall=Good(26.0, run=1), air=Good(24.0, run=run), after_s=120.0) for run in (1, 2, 3)]
        assert [tub.see(look).allowed for look in looks] == [False, False, True]

    def test_a_missed_capture_does_not_unprove_a_role_that_still_sees(self) -> None:
        """The last good value stands until it is stale; heat does not flutter with each lost frame."""
        assert heating().see(Look(wall=Good(26.0, run=0), air=Good(24.0, run=0, age_s=20.0))).allowed


class TestHold:
    """Rule 8."""

    def test_a_hold_cuts_at_once_and_ends_by_itself(self) -> None:
        """Up to its last instant it cuts; at its end it is forgotten."""
        tub = heating()
        tub.hold(300.0)
        assert tub.see(COLD) == Verdict(False, Reason.HELD)
        assert tub.see(COLD, after_s=298.5) == Verdict(False, Reason.HELD)
        assert tub.see(COLD, after_s=0.5) == Verdict(True, Reason.BELOW_SETPOINT)
        assert tub.memory.hold_until_s is None

    def test_releasing_a_hold_early_still_rests_the_relay(self) -> None:
        """The lid closed again is no reason to wear the relay."""
        tub = heating()
        tub.hold(3600.0)
        tub.see(COLD)
        tub.memory = guard.release(tub.memory)
        assert tub.see(COLD, after_s=119.0) == Verdict(False, Reason.RESTING)
        assert tub.see(COLD, after_s=1.0) == Verdict(True, Reason.BELOW_SETPOINT)

    def test_a_second_hold_replaces_the_first(self) -> None:
        """Also by a shorter one."""
        tub = heating()
        tub.hold(3600.0)
        tub.hold(1.0)
        assert tub.see(COLD).reason is not Reason.HELD


class TestLimiter:
    """Rule 9."""

    @pytest.mark.parametrize(
        "hot",
        [Look(wall=28.0, air=24.0), Look(wall=[22.0, 28.0], air=24.0), Look(wall=26.0, air=[24.0, 28.0])],
    )
    def test_the_hottest_governing_probe_cuts(self, hot: Look) -> None:
        """At the limiter itself; the air counts as well as the wall, for none may be that hot while heat is allowed."""
        assert heating().see(hot) == Verdict(False, Reason.LIMITER)

    def test_it_resets_by_itself_below_its_differential(self) -> None:
        """At limiter minus differential it still cuts, under it no more."""
        tub = heating()
        tub.see(Look(wall=28.0, air=24.0))
        assert tub.see(Look(wall=26.5, air=24.0, after_s=999.0)) == Verdict(False, Reason.LIMITER)
        assert tub.see(Look(wall=26.4, air=24.0)) == Verdict(True, Reason.BELOW_SETPOINT)

    def test_it_does_not_reset_because_the_hot_wall_fell_silent(self) -> None:
        """A cool air reading says nothing about the wall."""
        tub = heating()
        tub.see(Look(wall=28.0, air=24.0))
        tub.see(Look(wall=None, air=24.0))
        assert tub.see(Look(wall=27.9, air=24.0, after_s=999.0)) == Verdict(False, Reason.LIMITER)


class TestDemand:
    """Rules 10 and 12."""

    @pytest.mark.parametrize(
        ("air_c", "reason"),
        [(24.5, Reason.BELOW_SETPOINT), (24.6, Reason.WARM_ENOUGH), (25.5, Reason.WARM_ENOUGH)],
    )
    def test_demand_begins_at_setpoint_minus_half_the_hysteresis(self, air_c: float, reason: Reason) -> None:
        """And not between the thresholds: demand is off at the start."""
        assert Tub().see(Look(wall=26.0, air=air_c, after_s=999.0)).reason is reason

    @pytest.mark.parametrize(("air_c", "reason"), [(25.4, Reason.COASTING), (25.5, Reason.WARM_ENOUGH)])
    def test_demand_ends_at_setpoint_plus_half_the_hysteresis(self, air_c: float, reason: Reason) -> None:
        """Between the thresholds it stays as it was."""
        assert heating().see(Look(wall=26.0, air=air_c, after_s=60.0)).reason is reason

    def test_the_coldest_air_probe_governs(self) -> None:
        """One cold corner is demand, and demand lasts until the coldest probe is warm."""
        tub = Tub()
        assert tub.see(Look(wall=26.0, air=[26.0, 24.5], after_s=999.0)) == Verdict(True, Reason.BELOW_SETPOINT)
        assert tub.see(Look(wall=26.0, air=[26.0, 25.4], after_s=60.0)) == Verdict(True, Reason.COASTING)
        assert tub.see(Look(wall=26.0, air=[26.0, 25.5])) == Verdict(False, Reason.WARM_ENOUGH)

    def test_without_an_air_probe_demand_follows_the_wall(self) -> None:
        """The wall then is all there is."""
        tub = Tub()
        assert tub.see(Look(wall=24.5, air=[], after_s=999.0)) == Verdict(True, Reason.BELOW_SETPOINT)
        assert tub.see(Look(wall=25.5, air=[], after_s=60.0)) == Verdict(False, Reason.WARM_ENOUGH)

    def test_a_cold_wall_or_substrate_is_no_demand_beside_an_air_probe(self) -> None:
        """Only the air governs demand where there is one."""
        assert Tub().see(Look(20.0, 25.0, 15.0, after_s=999.0)) == Verdict(False, Reason.WARM_ENOUGH)

    @pytest.mark.parametrize(
        "between",
        [
            Look(wall=28.0, air=25.0),
            Look(wall=None, air=25.0),
            Look(wall=26.0, air=None),
            Look(wall=[26.0, Doubt(40.0)], air=25.0),
        ],
    )
    def test_no_other_rule_touches_demand(self, between: Look) -> None:
        """Heat cut for another reason comes back coasting: demand lasted through it."""
        tub = heating()
        assert not tub.see(between).allowed
        assert tub.see(BETWEEN, after_s=999.0) == Verdict(True, Reason.COASTING)

    def test_demand_follows_the_air_while_tripped(self) -> None:
        """A memory is kept whichever rule wins."""
        tub = tripped()
        assert tub.memory.demand
        tub.see(WARM)
        assert not tub.memory.demand

    @pytest.mark.parametrize(
        ("room_c", "period_s", "on_s"),
        [(15.0, 1682.067, 1042.119), (20.0, 1635.388, 687.356), (24.0, 2002.293, 522.279)],
    )
    def test_two_thresholds_switch_a_two_node_plant_as_an_ode_solver_says(
        self, room_c: float, period_s: float, on_s: float
    ) -> None:
        """Heater 300 J/K and 40 W, 1.0 K/W to a tub of 6000 J/K, 0.6 K/W to the room; on at 29.5, off at 30.5 C.

        Period and time on: scipy solve_ivp (DOP853, rtol 1e-10, switching as events), equal to the closed form.
        """
        limits = GuardLimits(29.5, 30.5, 90.0, 99.0, 1.0, 0.0, 0.0, 60.0, 1, 1.0)
        poll_s = 0.5
        flow = np.array(
            [[-1.0 / 300, 1.0 / 300, 40.0 / 300], [1.0 / 6000, -(1.0 + 1 / 0.6) / 6000, 0.0], [0.0, 0.0, 0.0]]
        )
        later = expm(flow * poll_s)
        state, tub, edges = np.array([0.0, 29.0 - room_c, 0.0]), Tub(limits=limits), []
        for _ in range(int(5 * period_s / poll_s)):
            before = tub.memory.allowed
            allowed = tub.see(Look(float(state[0]) + room_c, float(state[1]) + room_c, after_s=poll_s)).allowed
            if allowed != before:
                edges.append(tub.now_s)
            state[2] = float(allowed)
            state = later @ state
        assert edges[6] - edges[4] == pytest.approx(period_s, abs=2.0)
        assert edges[5] - edges[4] == pytest.approx(on_s, abs=2.0)
