"""The tables of `matwarden siting`: places in rows, 80 columns wide."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from matwarden.core.in_tub import InTub, Likely
from matwarden.core.siting import Siting
from matwarden.core.units import difference_value, temperature_text, temperature_value
from matwarden.terms import Unit

__all__ = ["LEGEND", "Words", "places_table", "tub_legend", "tub_table"]

_NAME = 17
_HOUR_S = 3600.0
LEGEND = (
    "cold, hot: longest unbroken time under or over the band. night: from a day's highest to the lowest of the night "
    "after it, mean. unread: of the time between its first and last reading."
)


class Words:
    """Numbers in the keeper's unit."""

    def __init__(self, unit: Unit, zone: ZoneInfo) -> None:
        self.unit, self.zone = unit, zone

    def degrees(self, value_c: float) -> str:
        return f"{temperature_value(value_c, self.unit):.1f}"

    def kelvin(self, value_k: float, digits: int = 1) -> str:
        return f"{difference_value(value_k, self.unit):.{digits}f}"

    def range(self, low_c: float, high_c: float) -> str:
        return f"{self.degrees(low_c)} to {temperature_text(high_c, self.unit)}"


def places_table(found: Siting, words: Words) -> list[str]:
    degree = f"°{words.unit.value}"
    dose = f"{degree}·h/d"
    rows = [
        ("place", "in band", "under", "over", "lowest", "highest", "cold", "hot", "night", "unread"),
        ("", "%", dose, dose, degree, degree, "h", "h", degree, "%"),
    ]
    for number, place in enumerate(found.places, 1):
        here = place.shared
        rows.append(
            (
                f"{number}. {place.id}",
                f"{100.0 * here.in_band_share:.1f}",
                words.kelvin(here.below_kh_per_day, 2),
                words.kelvin(here.above_kh_per_day, 2),
                words.degrees(here.lowest.value),
                words.degrees(here.highest.value),
                _hours(None if here.longest_below is None else here.longest_below.lasts_s),
                _hours(None if here.longest_above is None else here.longest_above.lasts_s),
                "–" if here.drops is None else words.kelvin(here.drops.mean_k),
                f"{100.0 * place.unread_share:.1f}",
            )
        )
    return [line for row in rows for line in _row(row, (8, 7, 7, 7, 8, 6, 6, 7, 7))]


def tub_table(found: Siting, tubs: Mapping[str, InTub], tub: str, words: Words) -> list[str]:
    degree = f"°{words.unit.value}"
    lines = [
        f"{tub} in each place, by its fit, each value with its interval of nine in ten:",
    ]
    rows = [
        ("", "without heat", "under band", "with heat", "uses", "not held"),
        ("place", f"down to {degree}", "% of time", "% of time", "Wh/d", "h"),
    ]
    for number, place in enumerate(found.places, 1):
        here = tubs.get(place.id)
        if here is None:
            continue
        energy = here.energy_wh_per_day
        rows.append(
            (
                f"{number}. {place.id}",
                _cell(Likely(*(temperature_value(each, words.unit) for each in here.lowest_c)), 1),
                _cell(Likely(*(100.0 * each for each in here.below_share)), 0),
                _cell(Likely(*(100.0 * each for each in here.heat_share)), 0),
                "–" if energy is None else _cell(energy, 0),
                _cell(here.not_held_h, 0),
            )
        )
    return lines + [line for row in rows for line in _row(row, (15, 12, 12, 12, 12))]


def tub_legend(tubs: Mapping[str, InTub], unit: Unit) -> str:
    """What the columns of `tub_table` mean."""
    setpoint = temperature_text(next(iter(tubs.values())).setpoint_c, unit)
    return (
        f"without heat: its inside, and how long under the band. with heat: as its thermostat at {setpoint} would have "
        "allowed it. not held: under the band all the same."
    )


def _row(cells: Sequence[str], widths: Sequence[int]) -> list[str]:
    name, *rest = cells
    numbers = "".join(f"{cell:>{width}}" for cell, width in zip(rest, widths, strict=True))
    if len(name) > _NAME:
        return [name, " " * _NAME + numbers]
    return [f"{name:<{_NAME}}{numbers}"]


def _cell(likely: Likely, digits: int) -> str:
    value, low, high = (f"{each:.{digits}f}" for each in likely)
    return f"{value} {low}–{high}"


def _hours(seconds_s: float | None) -> str:
    return "–" if seconds_s is None else f"{seconds_s / _HOUR_S:.1f}"
