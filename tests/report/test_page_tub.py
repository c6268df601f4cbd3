"""The hours of a tub as a table, reckoned again with NumPy from the readings they are made of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from digest_examples import HEAT, HOUR_S, LENGTH_S, QUIET_SERIES, START_S
from matwarden.core.record import HeatChange, Point
from matwarden.report.page_tub import Mood, Sheet, tub_views
from matwarden.terms import Quantity, Unit
from night_examples import night_of
from page_examples import cycling, full_shelf, troubled_night


def sheet_of(night_number: int = 0, unit: Unit = Unit.C) -> Sheet:
    series = {
        **QUIET_SERIES,
        ("oak-air", Quantity.TEMPERATURE): cycling(24.2, 1.3, 7700.0),
        ("oak-air", Quantity.HUMIDITY): cycling(79.0, 6.0, 9100.0),
    }
    sheet = tub_views(night_of(series, unit=unit))[night_number].sheet
    assert sheet is not None
    return sheet


def hourly(points: Sequence[Point], digits: int) -> list[str]:
    """Lowest and highest of each hour of the night, which begins on the hour."""
    values = np.array([point.value for point in points]).reshape(24, -1)
    texts = ((f"{row.min():.{digits}f}", f"{row.max():.{digits}f}") for row in values)
    return [low if low == high else f"{low} to {high}" for low, high in texts]


def column(sheet: Sheet, head: str) -> list[str | None]:
    return [row.cells[sheet.heads.index(head)] for row in sheet.rows]


def test_each_hour_has_its_lowest_and_highest() -> None:
    """In 24 rows, for temperature to a tenth and for humidity to a percent."""
    sheet = sheet_of()
    assert sheet.every == "hour by hour"
    assert column(sheet, "air moist, °C") == hourly(cycling(24.2, 1.3, 7700.0), 1)
    assert column(sheet, "humidity moist, %") == hourly(cycling(79.0, 6.0, 9100.0), 0)


def test_hours_in_the_keepers_unit() -> None:
    """Fahrenheit: F = 1.8 C + 32."""
    warm = [point._replace(value=1.8 * point.value + 32.0) for point in cycling(24.2, 1.3, 7700.0)]
    assert column(sheet_of(unit=Unit.F), "air moist, °F") == hourly(warm, 1)


def test_each_hour_has_its_minutes_of_heat() -> None:
    """Allowed from 10 minutes past hour 6 to the end of hour 11: 50 minutes, then 60, and none besides."""
    heat = [HEAT[0], HEAT[1]._replace(elapsed_s=6 * HOUR_S + 600.0), HEAT[2]]
    sheet = tub_views(night_of(heat=heat))[0].sheet
    assert sheet is not None
    assert column(sheet, "heat, min") == [*["0"] * 6, "50", *["60"] * 5, *["0"] * 12]


def test_minutes_of_heat_add_up_to_the_share_of_the_night() -> None:
    """Switched every few minutes: the column's sum is what the digest says of the whole night."""
    heat = [
        HeatChange(
            n * 500.0, START_S + n * 500.0, "oak", n % 3 == 0, "below-setpoint" if n % 3 == 0 else "warm-enough", n
        )
        for n in range(int(LENGTH_S / 500.0))
    ]
    night = night_of(heat=heat)
    sheet = tub_views(night)[0].sheet
    use = night.digest.enclosures[0].heat
    assert sheet is not None
    assert use is not None
    assert use.allowed_share is not None
    total_min = sum(float(text or "nan") for text in column(sheet, "heat, min"))
    assert total_min / 1440.0 == pytest.approx(use.allowed_share, abs=24 * 0.5 / 1440.0)


@pytest.mark.parametrize("late_s", [0.0, 97.0, 1800.0])
@pytest.mark.parametrize("lasts_s", [LENGTH_S, 23.4 * HOUR_S])
def test_no_hour_has_more_heat_than_minutes(late_s: float, lasts_s: float) -> None:
    """Heat all night, whenever it begins and however long it is: each full hour has its sixty."""
    heat = [HEAT[1]._replace(elapsed_s=0.0)]
    sheet = tub_views(night_of(heat=heat, start_wall_s=START_S + late_s, lasts_s=lasts_s))[0].sheet
    assert sheet is not None
    minutes = [float(text or "nan") for text in column(sheet, "heat, min")]
    assert minutes[1:-1] == [60.0] * (len(minutes) - 2)
    assert sum(minutes) == pytest.approx(lasts_s / 60.0, abs=1.0)


def test_a_day_is_named_where_it_begins() -> None:
    """The first row and midnight carry the date, the others the time alone."""
    rows = [row.at for row in sheet_of().rows]
    assert rows[0] == "14 Jan 08:00"
    assert rows[15:18] == ["23:00", "15 Jan 00:00", "01:00"]


def test_a_long_night_has_no_more_rows_than_can_be_read() -> None:
    """Six days after a holiday without digests: every six hours."""
    sheet = tub_views(night_of(lasts_s=6 * LENGTH_S))[0].sheet
    assert sheet is not None
    assert sheet.every == "every 6 hours"
    assert len(sheet.rows) <= 30


def test_a_mood_says_whether_something_is_still_on() -> None:
    """On: an alarm stands. Well: nothing to tell."""
    assert [view.mood for view in tub_views(troubled_night())] == [Mood.ON, Mood.ON]
    assert {view.mood for view in tub_views(night_of())} == {Mood.WELL}
    assert [view.mood for view in tub_views(full_shelf(5))] == [Mood.WELL] * 3 + [Mood.ON, Mood.WELL]
