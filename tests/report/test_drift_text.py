"""The digest's line about a tub that is no longer what it was when it was commissioned."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from matwarden.report.drift_text import drift_lines
from matwarden.terms import Unit

ZONE = ZoneInfo("Europe/Amsterdam")


def estimate(value: float, half: float, unit: str = "K") -> dict[str, Any]:
    return {"value": value, "low": value - half, "high": value + half, "unit": unit}


def document(cause: str, told: bool = True, **changes: Any) -> dict[str, Any]:
    """A tub of 10 K and 5 h, commissioned in the first minute of 18 January in Amsterdam."""
    found = {
        "tub": "oak",
        "name": "Oak",
        "commissioned": "2026-01-17T23:00:30Z",
        "cause": cause,
        "told": told,
        "rise_then": estimate(10.0, 0.3),
        "rise": estimate(8.0, 0.4),
        "time_constant_then": estimate(5.0, 0.2, "h"),
        "time_constant": estimate(4.0, 0.3, "h"),
        "shift": None,
        "left_then_k": 0.1,
        "left_k": 1.5,
    }
    return {**found, **changes}


def line(cause: str, unit: Unit = Unit.C, **changes: Any) -> str:
    (told,) = drift_lines([document(cause, **changes)], unit, ZONE)
    return told


def test_what_does_not_matter_is_no_line() -> None:
    """Only what is told is told."""
    assert drift_lines([document("nothing", told=False), document("filling", told=False)], Unit.C, ZONE) == []


def test_a_mat_is_told_by_its_rise_then_and_now() -> None:
    """Each with its interval and unit, and the day of commissioning by the keeper's clocks."""
    assert line("mat") == (
        "Oak: mat weaker: full heat makes 8.0 °C (7.6 to 8.4) over the room,"
        " 10.0 °C (9.7 to 10.3) when commissioned (18 Jan)"
    )


def test_more_than_then_is_stronger_and_slower() -> None:
    """The words follow the numbers."""
    assert line("mat", rise=estimate(12.0, 0.4)).startswith("Oak: mat stronger: full heat makes 12.0 °C")
    assert "loses heat slower" in line("lid or insulation", rise=estimate(12.0, 0.4))


def test_a_lid_is_told_by_rise_and_time_constant() -> None:
    """Both fall together."""
    told = line("lid or insulation")
    assert "lid or insulation changed, it loses heat faster: full heat makes 8.0 °C (7.6 to 8.4)" in told
    assert "it cools with a time constant of 4.0 h (3.7 to 4.3), a time constant of 5.0 h (4.8 to 5.2) then" in told


@pytest.mark.parametrize(
    ("shift_k", "words"), [(-1.2, "1.2 °C (1.1 to 1.3) lower"), (0.8, "0.8 °C (0.7 to 0.9) higher")]
)
def test_a_probe_is_told_by_how_much_it_reads_otherwise(shift_k: float, words: str) -> None:
    """Lower or higher than where it was."""
    assert words in line("wall probe", shift=estimate(shift_k, 0.1))


def test_what_nothing_explains_says_so() -> None:
    """By what the commissioned tub leaves of the readings, now and then."""
    assert line("unexplained") == (
        "Oak: unlike what it was when commissioned (18 Jan), unexplained: readings are 1.5 °C off what that tub would"
        " do (root mean square; 0.1 °C then)"
    )


def test_in_fahrenheit_every_difference_is() -> None:
    """8 K are 14.4 F."""
    told = line("mat", Unit.F)
    assert "makes 14.4 °F (13.7 to 15.1) over the room, 18.0 °F (17.5 to 18.5)" in told
    assert "°C" not in told + line("unexplained", Unit.F) + line("wall probe", Unit.F, shift=estimate(1.0, 0.1))
