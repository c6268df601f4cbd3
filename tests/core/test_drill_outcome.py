"""What a fault did, from how a tub truly was; and when it strikes worst. Pure."""

from __future__ import annotations

import pytest

from matwarden.core.drill_outcome import HOT_C, Look, Outlook, outcome_of, strike_at
from matwarden.core.fault_catalogue import COLD_TUB, fault_cases
from matwarden.terms import Band, Role
from matwarden_hardware.twin import FaultKind

_BAND = Band(22.2, 27.8)
_ALL = (Role.WALL, Role.AIR, Role.SUBSTRATE)


def looks(*insides: float, step_s: float = 600.0, wall_k: float = 2.0, powered: bool = False) -> list[Look]:
    return [Look(step_s * k, inside_c + wall_k, inside_c, 18.0, powered) for k, inside_c in enumerate(insides)]


def test_extremes_are_of_the_time_after_the_fault() -> None:
    """A hotter wall before it is none of its doing; each extreme says how long after the fault it came."""
    found = outcome_of(looks(29.0, 25.0, 24.0, 26.0, 25.0), 600.0, _BAND, None)
    assert found.wall == (28.0, 1200.0)
    assert found.inside == (26.0, 1200.0)
    assert found.lowest == (24.0, 600.0)


@pytest.mark.parametrize(
    ("inside_c", "steps", "outlook"),
    [
        (25.0, 60, Outlook.WELL),
        (21.0, 5, Outlook.WELL),
        (21.0, 7, Outlook.COLD),
        (28.5, 5, Outlook.WELL),
        (28.5, 7, Outlook.WARM),
        (30.0, 5, Outlook.WELL),
        (30.0, 7, Outlook.HOT),
    ],
)
def test_an_hour_on_end_is_what_matters(inside_c: float, steps: int, outlook: Outlook) -> None:
    """In steps of ten minutes: fifty out of the band are borne, an hour is told; over 29.4 C it is not survivable."""
    found = outcome_of(looks(25.0, *([inside_c] * steps), 25.0), 0.0, _BAND, None)
    assert found.outlook is outlook


def test_two_spells_are_not_one() -> None:
    """Fifty minutes of cold, twice, with a good reading between."""
    found = outcome_of(looks(*([21.0] * 6), 25.0, *([21.0] * 6)), 0.0, _BAND, None)
    assert found.cold_s == 3000.0
    assert found.outlook is Outlook.WELL


def test_not_survivable_begins_where_keepers_say() -> None:
    """85 F, common practice, no source: 29.44 C."""
    assert pytest.approx(29.444, abs=0.001) == HOT_C


def test_heat_past_the_limiter_is_counted_only_while_the_mat_has_power() -> None:
    """Two steps at or over it with power, one over it without."""
    hot = [
        Look(0.0, 27.0, 25.0, 18.0, True),
        Look(10.0, 28.5, 25.0, 18.0, True),
        Look(20.0, 29.0, 25.0, 18.0, True),
        Look(30.0, 29.0, 25.0, 18.0, False),
        Look(40.0, 28.0, 25.0, 18.0, False),
    ]
    assert outcome_of(hot, 0.0, _BAND, 28.5).powered_past_s == 20.0
    assert outcome_of(hot, 0.0, _BAND, None).powered_past_s is None


def test_a_fault_strikes_with_the_mat_on_the_wall_hot_and_the_room_cold() -> None:
    """Of all moments within 0.3 K of the hottest heated wall the one in the coldest room; of equals the first."""
    there = [
        Look(0.0, 30.0, 25.0, 15.0, False),
        Look(10.0, 28.0, 25.0, 18.0, True),
        Look(20.0, 27.8, 25.0, 17.0, True),
        Look(30.0, 27.9, 25.0, 17.0, True),
        Look(40.0, 27.0, 25.0, 14.0, True),
        Look(50.0, 29.0, 25.0, 14.0, True),
    ]
    assert strike_at(there, 5.0, 45.0) == (there[2], True)


def test_where_the_mat_is_never_on_the_coldest_room_decides() -> None:
    """And it is told that the mat was not on."""
    there = [Look(10.0 * k, 26.0, 25.0, room_c, False) for k, room_c in enumerate((24.0, 23.0, 23.0, 25.0))]
    assert strike_at(there, 0.0, 100.0) == (there[1], False)


def test_the_catalogue_speaks_of_kinds_the_shelf_knows() -> None:
    """Every fault has an id of its own, and a kind of the simulated shelf, or a clock that is set, or is nothing."""
    cases = fault_cases(_ALL, mat=True, cold_tub=True)
    assert len({case.id for case in cases}) == len({case.name for case in cases}) == len(cases)
    for case in cases[1:]:
        assert bool(case.kind) != bool(case.clock_s)
        if case.kind:
            assert FaultKind(case.kind).of_probe == (case.role is not None)


@pytest.mark.parametrize("roles", [(Role.AIR,), (Role.WALL,), (Role.WALL, Role.SUBSTRATE), (Role.WALL, Role.AIR)])
def test_a_tub_has_only_faults_of_what_it_has(roles: tuple[Role, ...]) -> None:
    """No fault of a probe, a mat or a neighbour that is not there."""
    cases = fault_cases(roles, mat=False, cold_tub=False)
    assert {case.role for case in cases} - {None} == set(roles)
    assert not [case for case in cases if case.place == COLD_TUB or case.kind.startswith(("mat", "relay"))]
    assert ("wall-reads-air" in {case.id for case in cases}) == (set(roles) >= {Role.WALL, Role.AIR})
