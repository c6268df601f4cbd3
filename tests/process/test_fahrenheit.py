"""A house that measures in Fahrenheit is told everything in Fahrenheit. The living shelf is one."""

from __future__ import annotations

import re

import pytest

from helpers_kindled import Kindled


@pytest.mark.parametrize("verb", [("status",), ("why", "oak"), ("digest",)])
def test_what_a_person_reads_is_in_fahrenheit(kindled: Kindled, verb: tuple[str, ...]) -> None:
    """Each text has temperatures in degrees F and none in C or K."""
    kindled.living.until_allowed("oak")
    text = kindled.living.command(*verb).out
    assert "°F" in text
    assert not re.search(r"°C|\d K\b", text)


def test_the_numbers_are_those_of_the_shelf(kindled: Kindled) -> None:
    """Each probe is told in F as it reads in C, asked just before and just after; the room is at 64.4 F.

    The station is shared with other tests, so it may have been warming, or cooling, for seconds or for minutes.
    """
    kindled.living.until_allowed("oak")
    before_c = temperatures_c(kindled)
    shown_f = [float(number) for number in re.findall(r": ([\d.]+) °F", kindled.living.command("status").out)]
    after_c = temperatures_c(kindled)

    assert shown_f[-1] == 64.4
    assert len(shown_f) == len(before_c) == len(after_c)
    for told_f, *both_c in zip(shown_f, before_c, after_c, strict=True):
        low_f, high_f = (32.0 + 1.8 * value_c for value_c in sorted(both_c))
        assert low_f - 0.2 <= told_f <= high_f + 0.2


def test_scripts_get_celsius(kindled: Kindled) -> None:
    """`status --json` is SI whatever the house measures in: no tub is colder than its room at 18 C or above 29 C."""
    assert all(18.0 <= value_c < 29.0 for value_c in temperatures_c(kindled))


def temperatures_c(kindled: Kindled) -> list[float]:
    """Of every probe, in the order in which a person is told them."""
    kindled.living.until_answering()
    found = kindled.living.command("status", "--json").json
    probes = [probe for tub in found["enclosures"] for probe in tub["probes"]] + found.get("room", [])
    return [probe["temperature_c"] for probe in probes]
