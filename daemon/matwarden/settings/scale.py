"""The keeper's temperature unit: from the file's numbers to Celsius and kelvin, and back to words.

Everything is kept in SI and at full precision, so 72 F comes back as 72, never as 71.96.
"""

from __future__ import annotations

from dataclasses import dataclass

from matwarden.core.units import difference_value, temperature_value
from matwarden.terms import Unit

__all__ = ["Scale", "c_from_f", "plain"]


def c_from_f(fahrenheit: float) -> float:
    """Degrees Celsius of a temperature in degrees Fahrenheit."""
    return (fahrenheit - 32.0) * 5.0 / 9.0


def plain(value: float, decimals: int = 2) -> str:
    """A number without needless zeros, as in `25` or `22.22`."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


@dataclass(frozen=True, slots=True)
class Scale:
    """Reads and shows temperatures in one unit."""

    unit: Unit

    def c(self, value: float) -> float:
        """Degrees Celsius of a temperature of the file."""
        return c_from_f(value) if self.unit is Unit.F else float(value)

    def k(self, value: float) -> float:
        """Kelvin of a temperature difference of the file (a difference converts without the 32)."""
        return value * 5.0 / 9.0 if self.unit is Unit.F else float(value)

    def show(self, celsius: float, decimals: int = 2) -> str:
        """A temperature in the keeper's unit."""
        return f"{plain(temperature_value(celsius, self.unit), decimals)} °{self.unit}"

    def show_difference(self, kelvin: float, decimals: int = 2) -> str:
        """A temperature difference in the keeper's unit."""
        return f"{plain(difference_value(kelvin, self.unit), decimals)} °{self.unit}"

    @property
    def other(self) -> Scale:
        """The scale of the other unit."""
        return Scale(Unit.C if self.unit is Unit.F else Unit.F)
