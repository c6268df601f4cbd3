"""Moist air: dew point and vapour-pressure deficit, by the formulae of ASHRAE Fundamentals 2017 in PsychroLib. Pure.

Relative humidity is that of the probe, against liquid water. PsychroLib takes saturation over ice at and under the
triple point (0.01 C): there a dew point is a frost point, and a deficit is the one to ice. No living tub is as cold.
"""

from __future__ import annotations

import sys

__all__ = ["dew_point_at_c", "dew_point_c", "vapour_pressure_deficit_kpa", "vapour_pressure_kpa"]

# Where numba is installed PsychroLib loads it: 100 MB and seconds of compiling for a handful of logarithms.
_HIDDEN = [name for name in ("numba",) if name not in sys.modules]
# None in place of a module makes its import fail: the documented meaning, see "The module cache" in Python's reference.
sys.modules.update(dict.fromkeys(_HIDDEN))  # type: ignore[arg-type]
try:
    import psychrolib
finally:
    for _name in _HIDDEN:
        del sys.modules[_name]

# The library knows its units by a switch of its own, which nothing else in this program touches.
psychrolib.SetUnitSystem(psychrolib.SI)

_PA_IN_KPA = 1000.0
# Less vapour than over ice at -90 C is none: PsychroLib looks for a dew point no further than -100 C.
_NONE_KPA = 1e-5


def vapour_pressure_kpa(temperature_c: float, humidity_pct: float) -> float:
    """The vapour's own pressure. Humidity over 100 % counts as 100 %, under 0 % as 0 %.

    Raises:
        ValueError: a temperature outside -100 to 200 C.
    """
    return _saturation_kpa(temperature_c) * _share(humidity_pct)


def vapour_pressure_deficit_kpa(temperature_c: float, humidity_pct: float) -> float:
    """How much more vapour the air would take up: what dries moss, litter and skins. 0.0 in saturated air.

    Raises:
        ValueError: a temperature outside -100 to 200 C.
    """
    return _saturation_kpa(temperature_c) * (1.0 - _share(humidity_pct))


def dew_point_c(temperature_c: float, humidity_pct: float) -> float | None:
    """The temperature of a pane on which this air leaves dew; None for air without vapour, which has none.

    Never above the air's own temperature. Raises:
        ValueError: a temperature outside -100 to 200 C.
    """
    return dew_point_at_c(vapour_pressure_kpa(temperature_c, humidity_pct), temperature_c)


def dew_point_at_c(pressure_kpa: float, temperature_c: float) -> float | None:
    """The dew point of air at `temperature_c` that holds vapour of this pressure; None where there is next to none."""
    if pressure_kpa < _NONE_KPA:
        return None
    return float(psychrolib.GetTDewPointFromVapPres(temperature_c, pressure_kpa * _PA_IN_KPA))


def _saturation_kpa(temperature_c: float) -> float:
    return float(psychrolib.GetSatVapPres(temperature_c)) / _PA_IN_KPA


def _share(humidity_pct: float) -> float:
    return min(max(humidity_pct, 0.0), 100.0) / 100.0
