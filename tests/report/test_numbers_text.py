"""The digest's lines about heat, relay and halves: exact, and only where there is something to say."""

from __future__ import annotations

import pytest

from matwarden.core.digest_heat import RelayLife, Reserve
from matwarden.core.exposure import Extreme
from matwarden.core.halves import Half
from matwarden.report.numbers_text import halves_lines, relay_lines, reserve_lines
from matwarden.terms import Unit


def reserve(share: float, spare_k: float | None) -> Reserve:
    return Reserve(0.0, 18.0, 6.0, share, spare_k)


def half(mean_c: float | None) -> Half:
    return Half(None if mean_c is None else Extreme(mean_c - 1.0, 0.0), mean_c, 43200.0)


@pytest.mark.parametrize(
    ("found", "unit", "told"),
    [
        (reserve(0.8, 1.5), Unit.C, ["  mat near its limit: another 1.5 °C colder and it cannot hold"]),
        (reserve(0.8, 1.5), Unit.F, ["  mat near its limit: another 2.7 °F colder and it cannot hold"]),
        (reserve(0.91, 2.4), Unit.C, ["  mat near its limit: another 2.4 °C colder and it cannot hold"]),
        (reserve(0.7, 2.0), Unit.C, []),
        (reserve(1.0, None), Unit.C, ["  mat at its limit: heat 100 % of the coldest 6 h"]),
        (reserve(0.1, None), Unit.C, []),
        (None, Unit.C, []),
    ],
)
def test_a_mat_is_told_near_its_limit_only(found: Reserve | None, unit: Unit, told: list[str]) -> None:
    """Under 2 K to spare, or over 90 % of the coldest hours; a difference in Fahrenheit has no 32 in it."""
    assert reserve_lines(found, unit) == told


@pytest.mark.parametrize(
    ("life", "told"),
    [
        (RelayLife(42, 100_000, 0.00042, 137.0), []),
        (RelayLife(60_000, 100_000, 0.6, 3.4), ["  relay: 60 % of its life used, 3 years left at this pace"]),
        (RelayLife(60_000, 100_000, 0.6, None), ["  relay: 60 % of its life used"]),
        (RelayLife(40_000, 100_000, 0.4, 0.5), ["  relay: 40 % of its life used, 6 months left at this pace"]),
        (RelayLife(120_000, 100_000, 1.2, 0.0), ["  relay: 120 % of its life used"]),
        (None, []),
    ],
)
def test_a_relay_is_told_when_half_of_it_is_gone_or_it_will_be_within_a_year(
    life: RelayLife | None, told: list[str]
) -> None:
    """One that has outlived its maker's promise has no time left to be told."""
    assert relay_lines(life) == told


def test_night_and_day_are_told_when_they_are_a_kelvin_apart() -> None:
    """Not closer, and not when one of them was not read."""
    assert halves_lines(half(22.7), half(24.0), Unit.C) == ["  night mean 22.7, day mean 24.0 °C"]
    assert halves_lines(half(22.7), half(24.0), Unit.F) == ["  night mean 72.9, day mean 75.2 °F"]
    assert halves_lines(half(23.1), half(24.0), Unit.C) == []
    assert halves_lines(half(None), half(24.0), Unit.C) == []
