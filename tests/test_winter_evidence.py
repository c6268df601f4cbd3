"""The winter's own judge of cold, by hand: before it judges the program it must judge a few readings rightly."""

from __future__ import annotations

import pytest

from winter.checks import failure_h
from winter.evidence import cold_alarm

# Sets at or under 22.2, clears above 22.7, both after three readings' time.
STEP_S = 10.0
WARM, EDGE, COLD = 24.0, 22.5, 22.0


def told(course: list[float]) -> list[tuple[float, str]]:
    readings = [(n * STEP_S, value_c) for n, value_c in enumerate(course)]
    return cold_alarm(readings, 22.2, 22.7, 3 * STEP_S, 3 * STEP_S)


@pytest.mark.parametrize(
    ("course", "due"),
    [
        ([WARM, COLD, COLD, COLD, WARM], []),
        ([WARM, COLD, COLD, COLD, COLD], [(40.0, "starts")]),
        ([COLD, EDGE, EDGE, EDGE], []),
        ([COLD, EDGE, EDGE, EDGE, COLD], [(40.0, "starts")]),
        ([COLD, COLD, WARM, COLD, COLD, COLD], []),
        ([*[COLD] * 4, WARM, WARM, WARM, COLD], [(30.0, "starts")]),
        ([*[COLD] * 4, WARM, EDGE, WARM, WARM], [(30.0, "starts"), (70.0, "returns")]),
        ([*[COLD] * 4, EDGE, EDGE, EDGE, EDGE], [(30.0, "starts")]),
        ([22.2] * 4, [(30.0, "starts")]),
        ([22.21] * 9, []),
        ([*[COLD] * 4, *[22.7] * 9], [(30.0, "starts")]),
    ],
)
def test_an_alarm_needs_the_whole_delay_without_a_break(course: list[float], due: list[tuple[float, str]]) -> None:
    """Cold begins at the lower edge, ends above the upper one; each is told after its delay, a start when it is out."""
    assert told(course) == due


def test_only_unbroken_cold_counts_as_steady() -> None:
    """Two spells are not one: the longest counts, in hours of half-hour steps."""
    assert failure_h([20.0, 20.0, 24.0, 20.0, 20.0, 20.0], 1800.0) == 1.5
