"""The digest's line about how dry a tub's air was, and whether its moist side is the moist one."""

from __future__ import annotations

from collections.abc import Iterable

from matwarden.core.humidity import HumidityNight, SidesNight, air_that_counts
from matwarden.report.units import temperature_value
from matwarden.terms import Unit

__all__ = ["humidity_lines"]


def humidity_lines(nights: Iterable[HumidityNight], sides: SidesNight | None, unit: Unit) -> list[str]:
    """One line at most, for a phone; none where no humidity was read."""
    said = [] if sides is None else [_sides(sides)]
    air = air_that_counts(nights)
    if air is not None and air.deficit_mean_kpa is not None and air.deficit_highest_kpa is not None:
        mean, highest = f"{air.deficit_mean_kpa:.1f}", f"{air.deficit_highest_kpa.value:.1f}"
        said.append(f"VPD {mean if mean == highest else f'{mean}, at most {highest}'} kPa")
    if air is not None and air.dew_lowest_c is not None and air.dew_highest_c is not None:
        low, high = (f"{temperature_value(each.value, unit):.0f}" for each in (air.dew_lowest_c, air.dew_highest_c))
        said.append(f"dew point {low if low == high else f'{low} to {high}'} °{unit.value}")
    return ["  " + ", ".join(said)] if said else []


def _sides(sides: SidesNight) -> str:
    points = f"{abs(sides.difference_pct):.0f} %"
    if points == "0 %":
        return "both sides equally moist"
    if sides.dry_moister_share > 0.5:
        return f"the dry side is the moister one, by {points}"
    return f"moist side {points} {'moister' if sides.difference_pct > 0.0 else 'drier'}"
