"""What the clocks showed in a night, also in one in which they were changed.

The instants of the changes of 2025 are those of the IANA time zone database: Amsterdam back on 26 October at 01:00 UTC,
New York forward on 9 March at 07:00 UTC, Lord Howe Island back by half an hour on 5 April at 15:00 UTC.
"""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from matwarden.core.strips import NightStrips
from matwarden.report.clock_ticks import Change, changes, ticks

HOUR_S = 3600.0
AMSTERDAM = ZoneInfo("Europe/Amsterdam")


def strips(began: str, hours: float, steps: int = 240) -> NightStrips:
    """A night that begins at this time of UTC, on a clock that ran straight."""
    start_s = datetime.fromisoformat(began).replace(tzinfo=UTC).timestamp()
    step_s = hours * HOUR_S / steps
    return NightStrips(hours * HOUR_S, step_s, tuple(start_s + n * step_s for n in range(steps)), (), (), ())


def test_ticks_are_at_round_local_times() -> None:
    """Eight in the morning to eight in the morning: every three hours, from nine on."""
    found = ticks(strips("2026-01-14T07:00", 24), AMSTERDAM)
    assert [tick.text for tick in found] == ["09:00", "12:00", "15:00", "18:00", "21:00", "00:00", "03:00", "06:00"]
    assert [tick.at_s for tick in found] == [(1 + 3 * n) * HOUR_S for n in range(8)]


@pytest.mark.parametrize(
    ("zone", "began", "at_hour", "by_s"),
    [
        ("Europe/Amsterdam", "2025-10-25T06:00", 19.0, -3600.0),
        ("America/New_York", "2025-03-08T13:00", 18.0, 3600.0),
        ("Australia/Lord_Howe", "2025-04-04T21:00", 18.0, -1800.0),
    ],
)
def test_a_change_of_the_clocks_is_told_where_it_was(zone: str, began: str, at_hour: float, by_s: float) -> None:
    """In three zones, one of which moves by half an hour: the instant the database says, and by how much."""
    found = changes(strips(began, 25 if by_s < 0 else 23), ZoneInfo(zone))
    assert found == (Change(at_hour * HOUR_S, by_s, set=False),)


@pytest.mark.parametrize("zone", ["Europe/Amsterdam", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata"])
@pytest.mark.parametrize("began", ["2025-10-25T06:00", "2025-03-08T13:00", "2025-04-04T21:00", "2026-01-14T07:00"])
def test_a_tick_says_what_the_clock_showed(zone: str, began: str) -> None:
    """Whatever the zone does: each tick's text is the local time of its own instant, as `zoneinfo` has it."""
    night = strips(began, 25)
    found = ticks(night, ZoneInfo(zone))
    assert 5 <= len(found) <= 8
    for tick in found:
        instant = datetime.fromtimestamp(night.walls[0] + tick.at_s, UTC).astimezone(ZoneInfo(zone))
        assert tick.text == instant.strftime("%H:%M")
        assert tick.text.endswith(":00")


def test_an_hour_that_comes_twice_has_two_ticks() -> None:
    """From 01:30 on the night the clocks go back: two, and two again an hour later, then three."""
    found = ticks(strips("2025-10-25T23:30", 3), AMSTERDAM, at_most=4)
    assert [(tick.text, tick.at_s / HOUR_S) for tick in found] == [("02:00", 0.5), ("02:00", 1.5), ("03:00", 2.5)]


def test_an_hour_that_is_skipped_has_none() -> None:
    """From 01:30 on the night the clocks go forward: three follows one."""
    found = ticks(strips("2026-03-29T00:30", 3), AMSTERDAM, at_most=4)
    assert [(tick.text, tick.at_s / HOUR_S) for tick in found] == [("03:00", 0.5), ("04:00", 1.5), ("05:00", 2.5)]


def test_many_days_have_ticks_at_midnight() -> None:
    """A week in which the program was off: one tick a day, with the date."""
    found = ticks(strips("2026-01-10T07:00", 7 * 24), AMSTERDAM)
    assert [tick.text for tick in found] == [f"{day} Jan" for day in range(11, 18)]


def test_a_clock_that_was_set_is_told_and_ticks_follow_it() -> None:
    """Set forward by two hours at hour 6 of 12: no tick in between, and those after it show the new time."""
    straight = strips("2026-01-14T07:00", 12)
    night = straight._replace(
        walls=tuple(wall + 2 * HOUR_S * (number >= 120) for number, wall in enumerate(straight.walls))
    )
    assert changes(night, AMSTERDAM) == (Change(6 * HOUR_S, 2 * HOUR_S, set=True),)
    found = {tick.at_s / HOUR_S: tick.text for tick in ticks(night, AMSTERDAM)}
    assert found == {0.0: "08:00", 2.0: "10:00", 4.0: "12:00", 6.0: "16:00", 8.0: "18:00", 10.0: "20:00"}


def test_a_night_of_no_length_has_no_ticks() -> None:
    """Nothing was recorded: there is nothing to tell the time of."""
    assert ticks(NightStrips(0.0, 1.0, (), (), (), ()), AMSTERDAM) == ()
    assert changes(NightStrips(0.0, 1.0, (), (), (), ()), AMSTERDAM) == ()
