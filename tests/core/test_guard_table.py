"""Each row of the guard's table is needed, and so is their order."""

from __future__ import annotations

import pytest

from guard_examples import (
    ALLOWS,
    EXAMPLES,
    Example,
    broken,
)
from matwarden.core import guard
from matwarden.core.guard import Rule
from matwarden.terms import (
    Reason,
    Verdict,
)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: f"{e.rule}: {e.story}")
def test_each_row_gives_its_verdict(example: Example) -> None:
    """In each example the named rule decides, whatever else holds."""
    assert example.verdict() == Verdict(example.reason in ALLOWS, example.reason)


@pytest.mark.parametrize("number", range(1, 12))
def test_a_row_that_is_taken_away_is_missed(number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without any one of the rules that cut, an example of that very rule goes wrong."""
    monkeypatch.setattr(guard, "RULES", tuple(rule for rule in guard.RULES if rule.number != number))
    assert number in {example.rule for example in broken()}


def test_without_the_row_that_allows_heat_every_example_of_it_goes_wrong(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Rule 12 is what is left; a table that never allows kills by cold."""
    never = Rule(12, Verdict(False, Reason.WARM_ENOUGH), lambda _: True)
    monkeypatch.setattr(guard, "RULES", (*guard.RULES, never))
    wrong = broken()
    assert all(example in wrong for example in EXAMPLES if example.rule == 12)


@pytest.mark.parametrize("first", [1, 2, 4, 5, 6, 7, 8, 9, 10])
def test_two_neighbours_that_change_places_are_noticed(first: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where two neighbours can hold at once the first one speaks (3 and 4 never can: see the exhaustion)."""
    rules = list(guard.RULES)
    rules[first - 1], rules[first] = rules[first], rules[first - 1]
    monkeypatch.setattr(guard, "RULES", tuple(rules))
    assert first in {example.rule for example in broken()}


def test_the_numbers_run_from_one_to_eleven_and_every_row_cuts() -> None:
    """Only what no row cuts is allowed; no row allows."""
    assert [rule.number for rule in guard.RULES] == list(range(1, 12))
    assert not any(rule.verdict.allowed for rule in guard.RULES)
    assert len({rule.verdict.reason for rule in guard.RULES}) == 11
