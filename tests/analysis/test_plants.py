"""A sample of the random tubs of `make plants`: every number within its bound, and nine of ten in their intervals."""

from __future__ import annotations

import pytest

from analysis.plants import BOUNDS, Compared, compared, covered_pct

# None of them had a part in choosing the intervals' widths.
_SEEDS = range(200, 206)


@pytest.fixture(scope="module")
def tubs() -> list[Compared]:
    return [one for seed in _SEEDS for one in compared(seed)]


@pytest.mark.parametrize("name", BOUNDS)
def test_every_number_is_within_its_bound(tubs: list[Compared], name: str) -> None:
    """Capacity 0.5 K, welded wall 1 K, ride-through 10 %, period and share 5 %, of a plant solved by scipy."""
    some = [one for one in tubs if one.name == name]
    assert len(some) >= 4
    assert [(one.seed, one.off) for one in some if abs(one.off) > BOUNDS[name]] == []


def test_the_intervals_hold_about_nine_truths_in_ten(tubs: list[Compared]) -> None:
    """Between 70 and 100 % of so small a sample; of forty tubs `make plants` wants 80 to 97 %."""
    assert len(tubs) >= 40
    assert 70.0 <= covered_pct(tubs) <= 100.0
