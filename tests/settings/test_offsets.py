"""Offsets, and the day each probe was last held beside a reference thermometer."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from helpers_settings import FAHRENHEIT, REAL, checked, edited
from matwarden.settings.offsets import offset_fields, offset_warnings
from matwarden.settings.resolved import Settings

TODAY = date(2026, 11, 25)
# A leap day has no fellow in the year before.
LEAP_DAY = date(2028, 2, 29)


def settings(tmp_path: Path, keys: str, base: str = REAL, place: str = "offset = -0.2") -> Settings:
    """A sound file in which one probe has these keys."""
    outcome = checked(tmp_path, edited(base, (place, keys)))
    assert outcome.settings is not None, outcome.problems
    assert outcome.warnings == ()
    return outcome.settings


def test_the_day_is_a_date_of_the_file(tmp_path: Path) -> None:
    """`checked` is a TOML local date and becomes part of the probe's terms; without it there is none."""
    # TOML 1.0.0, section Local Date: 1979-05-27 is its example.
    air = settings(tmp_path, "offset = -0.2\nchecked = 1979-05-27").enclosures[0].probes[1]
    assert (air.checked_on, air.offset_k) == (date(1979, 5, 27), -0.2)
    assert settings(tmp_path, "").enclosures[0].probes[1].checked_on is None


def test_an_offset_without_a_day_is_a_warning(tmp_path: Path) -> None:
    """Nobody can tell how old such an offset is."""
    assert offset_warnings(settings(tmp_path, "offset = -0.2"), TODAY) == [
        "probe oak-air: offset without checked; write the day it was found, as in checked = 2026-10-03."
    ]


def test_neither_offset_nor_day_is_no_warning(tmp_path: Path) -> None:
    """A probe used as it is asks for nothing; nor does an offset of zero."""
    assert offset_warnings(settings(tmp_path, ""), TODAY) == []
    assert offset_warnings(settings(tmp_path, "offset = 0.0"), TODAY) == []


@pytest.mark.parametrize(
    ("day", "today", "old"),
    [
        (date(2025, 11, 25), TODAY, False),
        (date(2025, 11, 24), TODAY, True),
        (TODAY, TODAY, False),
        (date(2027, 2, 28), LEAP_DAY, False),
        (date(2027, 2, 27), LEAP_DAY, True),
        (LEAP_DAY, date(2029, 2, 28), False),
        (LEAP_DAY, date(2029, 3, 1), True),
    ],
)
@pytest.mark.parametrize("offset", ["offset = 0.3\n", ""])
def test_a_check_is_good_for_twelve_months(tmp_path: Path, day: date, today: date, old: bool, offset: str) -> None:
    """The same day a year later is the last good one, whether or not the check found an offset."""
    found = offset_warnings(settings(tmp_path, f"{offset}checked = {day}"), today)
    assert ["more than 12 months ago" in text for text in found] == [True] * old


def test_a_day_to_come_is_a_warning(tmp_path: Path) -> None:
    """A slip in the year is told, and does not count as a fresh check for years."""
    assert offset_warnings(settings(tmp_path, "checked = 2062-10-03"), TODAY) == [
        "probe oak-air: checked = 2062-10-03 is not over yet; correct the day."
    ]


def test_probes_of_the_room_are_looked_at_too(tmp_path: Path) -> None:
    """A probe outside the tubs is held to the same."""
    found = offset_warnings(settings(tmp_path, 'chip = "sht4x"\nchecked = 2020-01-01', place='chip = "sht4x"'), TODAY)
    assert [text.split(":")[0] for text in found] == ["probe oak-air", "probe room"]


@pytest.mark.parametrize(
    ("base", "place", "keys", "shown"),
    [
        (REAL, "offset = -0.2", "offset = -0.2\nchecked = 2026-10-03", "-0.2 °C added to each reading, last checked"),
        (REAL, "offset = -0.2", "offset = 0.3", "+0.3 °C added to each reading, not told when it was checked"),
        (REAL, "offset = -0.2", "checked = 2026-10-03", "nothing added, last checked 2026-10-03"),
        (FAHRENHEIT, "offset = -0.36", "offset = -0.36", "-0.4 °F added to each reading, not told"),
    ],
)
def test_what_is_added_is_shown_with_its_day(tmp_path: Path, base: str, place: str, keys: str, shown: str) -> None:
    """Offset in the keeper's unit, with its sign, and the day."""
    ((word, text),) = offset_fields(settings(tmp_path, keys, base, place))
    assert word == "offset"
    assert text.startswith(f"oak-air: {shown}")
