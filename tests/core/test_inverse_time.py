"""The inverse-time rule, against the published curves of IEC 60255-151 and an integration of our own in the test.

Constants k, c and alpha of the curves: tables of the makers' manuals that restate IEC 60255-151 and IEEE C37.112 (ABB
REX610 and DEIF PPM-300 handbooks). The times are computed from the formula with them, to 1e-4 s.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.inverse_time import FULL_DOSE, VERY_INVERSE, dose_after, operate_time_s
from matwarden.terms import InverseTime


def curve(k_s: float, c_s: float, alpha: float, pickup_k: float = 1.0) -> InverseTime:
    return InverseTime(pickup_k, k_s, c_s, alpha, reset_s=60.0)


STANDARD_INVERSE = curve(0.14, 0.0, 0.02)


@pytest.mark.parametrize(
    ("constants", "times_s"),
    [
        ((0.14, 0.0, 0.02), {1.5: 17.1942, 2.0: 10.0290, 3.0: 6.3019, 5.0: 4.2797, 10.0: 2.9706}),
        ((13.5, 0.0, 1.0), {1.5: 27.0, 2.0: 13.5, 3.0: 6.75, 5.0: 3.375, 10.0: 1.5}),
        ((80.0, 0.0, 2.0), {1.5: 64.0, 2.0: 26.6667, 3.0: 10.0, 5.0: 3.3333, 10.0: 0.8081}),
        ((120.0, 0.0, 1.0), {1.5: 240.0, 2.0: 120.0, 10.0: 13.3333}),
        ((0.0515, 0.1140, 0.02), {1.5: 6.4390, 2.0: 3.8032, 5.0: 1.6883, 10.0: 1.2068}),
        ((19.61, 0.491, 2.0), {1.5: 16.1790, 2.0: 7.0277, 5.0: 1.3081, 10.0: 0.6891}),
        ((28.2, 0.1217, 2.0), {1.5: 22.6817, 2.0: 9.5217, 5.0: 1.2967, 10.0: 0.4065}),
    ],
    ids=["A standard", "B very", "C extremely", "long-time", "D moderately", "E very", "F extremely"],
)
def test_a_steady_deviation_operates_at_the_published_time(
    constants: tuple[float, float, float], times_s: dict[float, float]
) -> None:
    """Each curve of the standard gives its published time at each multiple of the pickup."""
    for multiple, time_s in times_s.items():
        assert operate_time_s(curve(*constants), multiple) == pytest.approx(time_s, abs=1e-4)


@pytest.mark.parametrize("multiple", [1.0, 0.5, 0.0, -3.0, 1.0 + 1e-17])
def test_nothing_operates_at_or_under_the_pickup(multiple: float) -> None:
    """The curves are defined above 1 only: there the time is infinite."""
    assert math.isinf(operate_time_s(STANDARD_INVERSE, multiple))


def test_a_deviation_that_changes_uses_up_its_dose_in_parts() -> None:
    """Standard inverse: 5 s at 2 use 0.498553 of the dose; at 5 the rest takes 2.146053 s (from the formula)."""
    dose = dose_after(0.0, STANDARD_INVERSE, 2.0, 5.0)
    assert dose == pytest.approx(0.498553, abs=1e-6)
    assert dose_after(dose, STANDARD_INVERSE, 5.0, 2.1460) < FULL_DOSE
    assert dose_after(dose, STANDARD_INVERSE, 5.0, 2.1461) == FULL_DOSE


def test_our_curve_is_the_very_inverse_one_in_minutes() -> None:
    """2, 3 and 5 K out of the band ring after 13.5, 6.75 and 3.375 min; 1 K out never does by dose."""
    minutes = [operate_time_s(VERY_INVERSE, out_k / VERY_INVERSE.pickup_k) / 60.0 for out_k in (2.0, 3.0, 5.0, 1.0)]
    assert minutes == [13.5, 6.75, 3.375, math.inf]


def test_a_dose_decays_evenly_in_the_band_and_not_below_nothing() -> None:
    """A whole dose is gone after its reset time, and no credit is built up."""
    assert dose_after(0.75, STANDARD_INVERSE, 0.0, 30.0) == pytest.approx(0.25)
    assert dose_after(0.25, STANDARD_INVERSE, -5.0, 3600.0) == 0.0


@given(
    st.lists(st.tuples(st.floats(-5.0, 20.0), st.floats(0.1, 600.0)), max_size=30),
    st.floats(0.1, 5.0),
    st.floats(0.01, 4.0),
)
def test_a_dose_stays_within_its_bounds_and_grows_with_the_deviation(
    story: list[tuple[float, float]], pickup_k: float, alpha: float
) -> None:
    """Whatever happens the dose is between 0 and 1, and a deviation that is larger throughout never gives less."""
    rule = InverseTime(pickup_k, 810.0, 0.0, alpha, 3600.0)
    dose = worse = 0.0
    for deviation_k, dt_s in story:
        dose, worse = dose_after(dose, rule, deviation_k, dt_s), dose_after(worse, rule, deviation_k + 0.5, dt_s)
        assert 0.0 <= dose <= worse <= FULL_DOSE


@given(st.floats(1e300, 1.7e308), st.floats(0.01, 4.0))
def test_a_deviation_beyond_all_numbers_rings_at_once(deviation_k: float, alpha: float) -> None:
    """No overflow: the further out, the sooner, to the end of the numbers."""
    assert dose_after(0.0, InverseTime(1.0, 810.0, 0.0, alpha, 60.0), deviation_k, 1e9) == FULL_DOSE
