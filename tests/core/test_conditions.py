"""Cold, hot and blind from what the probes say. Deadband as in OPC 10000-9 B.1.5: it applies to clearing only."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.conditions import Inside, is_cold, is_hot, is_probe_blind, look, watched
from matwarden.terms import AlarmTimes, Band, Enclosure, MatTerms, Placement, ProbeTerms, Quality, Role, Seen

MAT = MatTerms(
    placement=Placement.BACK,
    watts_w=7.0,
    setpoint_c=25.0,
    hysteresis_k=0.5,
    limiter_c=28.0,
    cut_out_c=29.0,
    differential_k=1.0,
    minimum_on_s=30.0,
    minimum_off_s=120.0,
    memory_s=3600.0,
    prove_n=3,
    rated_operations=100_000,
)


def oak(*roles: Role, mat: bool = False) -> Enclosure:
    """A tub whose probes are called after their role and number: air-0, wall-1."""
    probes = tuple(
        ProbeTerms(f"{role.value}-{index}", role, "oak", None, 10.0, 5.0, 60.0, 3.0, 0.0)
        for index, role in enumerate(roles)
    )
    times = AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5)
    return Enclosure("oak", "Oak", Band(22.0, 28.0), probes, MAT if mat else None, times)


def good(value_c: float, taken_s: float = 1000.0) -> Seen:
    return Seen(Quality.GOOD, value_c, taken_s, 5, "")


MISSING = Seen(Quality.MISSING, None, 1000.0, 0, "the probe does not answer")
DOUBTFUL = Seen(Quality.DOUBTFUL, 15.0, 1000.0, 0, "it fell too fast")
ONE_AIR = watched(oak(Role.AIR))


@pytest.mark.parametrize(
    ("value_c", "before", "cold"),
    [
        (22.01, False, False),
        (22.0, False, True),
        (22.3, True, True),
        (22.5, True, True),
        (22.51, True, False),
    ],
)
def test_cold_sets_at_the_edge_and_clears_past_the_deadband(value_c: float, before: bool, cold: bool) -> None:
    """Band from 22 C with a deadband of 0.5 K: it sets at 22.0 and clears above 22.5."""
    assert is_cold(ONE_AIR, look(ONE_AIR, {"air-0": good(value_c)}, 1000.0), before) is cold


@pytest.mark.parametrize(
    ("value_c", "before", "hot"),
    [
        (27.99, False, False),
        (28.0, False, True),
        (27.7, True, True),
        (27.5, True, True),
        (27.49, True, False),
    ],
)
def test_hot_sets_at_the_edge_and_clears_past_the_deadband(value_c: float, before: bool, hot: bool) -> None:
    """Band up to 28 C with a deadband of 0.5 K: it sets at 28.0 and clears below 27.5."""
    assert is_hot(ONE_AIR, look(ONE_AIR, {"air-0": good(value_c)}, 1000.0), before) is hot


@pytest.mark.parametrize("before", [False, True])
@pytest.mark.parametrize("seen", [{}, {"air-0": MISSING}, {"air-0": DOUBTFUL}, {"air-0": good(15.0, 900.0)}])
def test_what_is_not_good_and_fresh_is_unknown(seen: dict[str, Seen], before: bool) -> None:
    """Nothing said, missing, doubtful or 100 s old with 60 s allowed: neither cold nor not cold, but blind."""
    inside = look(ONE_AIR, seen, 1000.0)
    assert inside == Inside(None, None, True)
    assert is_cold(ONE_AIR, inside, before) is None
    assert is_hot(ONE_AIR, inside, before) is None


def test_a_reading_is_fresh_up_to_its_stale_time() -> None:
    """At exactly 60 s it still counts, later it does not."""
    seen = {"air-0": good(25.0, 940.0)}
    assert look(ONE_AIR, seen, 1000.0).coldest_c == 25.0
    assert look(ONE_AIR, seen, 1000.1).coldest_c is None
    assert not is_probe_blind("air-0", 60.0, seen, 1000.0)
    assert is_probe_blind("air-0", 60.0, seen, 1000.1)


def test_the_coldest_governs_cold_and_the_hottest_governs_hot() -> None:
    """One corner too cold and another too hot are both told."""
    tub = watched(oak(Role.AIR, Role.AIR, Role.AIR))
    inside = look(tub, {"air-0": good(21.0), "air-1": good(25.0), "air-2": good(29.0)}, 1000.0)
    assert inside == Inside(21.0, 29.0, False)
    assert is_cold(tub, inside, False)
    assert is_hot(tub, inside, False)


def test_one_probe_left_is_enough_to_know() -> None:
    """Of two air probes one is missing: the other one decides and the tub is not blind."""
    tub = watched(oak(Role.AIR, Role.AIR))
    assert look(tub, {"air-0": MISSING, "air-1": good(25.0)}, 1000.0) == Inside(25.0, 25.0, False)


@pytest.mark.parametrize(
    ("roles", "inside_c"),
    [
        ((Role.WALL, Role.SUBSTRATE, Role.AIR), 22.0),
        ((Role.WALL, Role.SUBSTRATE), 21.0),
        ((Role.WALL,), 20.0),
    ],
)
def test_inside_is_air_else_substrate_else_wall(roles: tuple[Role, ...], inside_c: float) -> None:
    """The probe nearest to what the animals feel stands for them."""
    values = {"wall-0": good(20.0), "substrate-1": good(21.0), "air-2": good(22.0)}
    assert look(watched(oak(*roles)), values, 1000.0).coldest_c == inside_c


def test_a_dead_air_probe_is_not_replaced_by_the_wall() -> None:
    """The wall beside a mat is far warmer than the air: it would hide the cold."""
    tub = watched(oak(Role.AIR, Role.WALL, mat=True))
    assert look(tub, {"air-0": MISSING, "wall-1": good(26.0)}, 1000.0) == Inside(None, None, True)


def test_a_tub_with_a_mat_is_blind_without_its_wall() -> None:
    """Its guard cuts the heat then, so it will cool: somebody must know. A tub without a mat is not."""
    seen = {"air-0": good(25.0), "wall-1": MISSING}
    assert look(watched(oak(Role.AIR, Role.WALL, mat=True)), seen, 1000.0) == Inside(25.0, 25.0, True)
    assert look(watched(oak(Role.AIR, Role.WALL)), seen, 1000.0) == Inside(25.0, 25.0, False)


def test_a_tub_without_inside_probes_is_blind() -> None:
    """Nothing to look at is not "all well"."""
    assert look(watched(oak()), {}, 0.0).blind


QUALITIES = st.sampled_from([MISSING, DOUBTFUL, good(25.0, 0.0)])


@given(st.lists(st.one_of(QUALITIES, st.floats(-40.0, 85.0).map(good)), min_size=1, max_size=5))
def test_only_good_fresh_values_are_ever_numbers(said: list[Seen]) -> None:
    """The extremes are those of the good and fresh values, and there are none if there is no such value."""
    tub = watched(oak(*[Role.AIR] * len(said)))
    inside = look(tub, {f"air-{index}": each for index, each in enumerate(said)}, 1000.0)
    values = [each.value_c for each in said if each.quality is Quality.GOOD and each.taken_s == 1000.0]
    numbers = [value for value in values if value is not None]
    assert inside == Inside(min(numbers, default=None), max(numbers, default=None), not numbers)
