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
    """Its tubs start at 73.4 F in a room of 64.4 F and are held under a limiter of 83.3 F: so they are told.

    The station is shared with other tests, so it may have been warming for seconds or for minutes.
    """
    kindled.living.until_allowed("oak")
    shown = [float(number) for number in re.findall(r": ([\d.]+) °F", kindled.living.command("status").out)]
    assert shown[-1] == 64.4
    assert all(72.0 < value < 84.0 for value in shown[:-1])


def test_scripts_get_celsius(kindled: Kindled) -> None:
    """`status --json` is SI whatever the house measures in, as its keys say: 73.4 F is 23 C."""
    kindled.living.until_answering()
    oak = kindled.living.command("status", "--json").json["enclosures"][0]
    assert all(22.0 < probe["temperature_c"] < 26.0 for probe in oak["probes"])
