"""Dew point and vapour-pressure deficit against other formulae, other libraries, and what cannot be otherwise."""

from __future__ import annotations

import subprocess
import sys

import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.moist_air import dew_point_at_c, dew_point_c, vapour_pressure_deficit_kpa, vapour_pressure_kpa

ZERO_C_K = 273.15
SEA_LEVEL_PA = 101325.0
# The psychrometric tables of ASHRAE Fundamentals 2017, chapter 1, table 3, as PsychroLib's own tests quote them.
ASHRAE_PA = [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3), (100.0, 101418.0)]
# t C, RH %, dew point C and deficit kPa by CoolProp 8.0.0 (IAPWS-95), dew point by MetPy 1.7.1: computed apart from
# this program. MetPy's two formulae differ by 0.03 K between themselves at 30 C.
ROWS = [
    (20.0, 50.0, 9.2733, 1.16966, 9.2561),
    (22.2222, 60.0, 14.0948, 1.07257, 14.0772),
    (25.0, 50.0, 13.8644, 1.58496, 13.8429),
    (25.0, 75.0, 20.2613, 0.79248, 20.2388),
    (26.6667, 80.0, 22.9295, 0.69977, 22.9023),
    (30.0, 40.0, 14.9361, 2.54818, 14.9069),
    (35.1, 65.2, 27.5755, 1.96976, 27.5256),
    (18.0, 90.0, 16.3362, 0.20647, 16.3243),
    (24.0, 100.0, 24.0, 0.0, 23.9759),
]
LIVING_C = st.floats(5.0, 40.0)
DAMP_PCT = st.floats(20.0, 100.0)


@pytest.mark.parametrize(("temperature_c", "pressure_pa"), ASHRAE_PA)
def test_saturation_is_that_of_the_ashrae_tables(temperature_c: float, pressure_pa: float) -> None:
    """Within 0.03 %, the tables' own rounding."""
    assert vapour_pressure_kpa(temperature_c, 100.0) == pytest.approx(pressure_pa / 1000.0, rel=3e-4)


@pytest.mark.parametrize("temperature_c", [0.02, 5.0, 10.0, 15.0, 20.0, 22.2222, 25.0, 29.4444, 35.0, 40.0])
def test_saturation_agrees_with_iapws_95(temperature_c: float) -> None:
    """Within 0.5 % of CoolProp from the triple point to 40 C."""
    expected_pa = PropsSI("P", "T", temperature_c + ZERO_C_K, "Q", 0, "Water")
    assert vapour_pressure_kpa(temperature_c, 100.0) == pytest.approx(expected_pa / 1000.0, rel=5e-3)


@pytest.mark.parametrize("row", ROWS)
def test_rows_reckoned_by_two_other_libraries(row: tuple[float, float, float, float, float]) -> None:
    """Dew point within 0.05 K of CoolProp and, with its own spread, of MetPy; the deficit within 0.013 kPa."""
    temperature_c, humidity_pct, dew_c, deficit_kpa, metpy_c = row
    assert dew_point_c(temperature_c, humidity_pct) == pytest.approx(dew_c, abs=0.05)
    assert dew_point_c(temperature_c, humidity_pct) == pytest.approx(metpy_c, abs=0.06)
    assert vapour_pressure_deficit_kpa(temperature_c, humidity_pct) == pytest.approx(deficit_kpa, abs=0.013)


@given(temperature_c=LIVING_C, humidity_pct=DAMP_PCT)
def test_dew_point_agrees_with_humid_air_at_sea_level(temperature_c: float, humidity_pct: float) -> None:
    """Within 0.05 K of CoolProp's real humid air, wherever dew and not frost forms."""
    expected_c = HAPropsSI("D", "T", temperature_c + ZERO_C_K, "R", humidity_pct / 100.0, "P", SEA_LEVEL_PA) - ZERO_C_K
    if expected_c > 0.1:
        assert dew_point_c(temperature_c, humidity_pct) == pytest.approx(expected_c, abs=0.05)


@given(temperature_c=LIVING_C, humidity_pct=DAMP_PCT)
def test_air_cooled_to_its_dew_point_is_saturated(temperature_c: float, humidity_pct: float) -> None:
    """And the deficit and the vapour together are saturation: the three say one thing."""
    dew_c = dew_point_c(temperature_c, humidity_pct)
    held_kpa = vapour_pressure_kpa(temperature_c, humidity_pct)
    assert dew_c is not None
    assert dew_c <= temperature_c
    assert vapour_pressure_kpa(dew_c, 100.0) == pytest.approx(held_kpa, rel=1e-4)
    missing_kpa = vapour_pressure_deficit_kpa(temperature_c, humidity_pct)
    assert held_kpa + missing_kpa == pytest.approx(vapour_pressure_kpa(temperature_c, 100.0))


def test_air_warmed_without_water_is_as_moist_and_dries_more() -> None:
    """26.67 C and 75 % warmed by 3 K: 62.98 % (by Magnus, WMO-No. 8), the same dew point, drier air."""
    before_c, after_c = dew_point_c(26.6667, 75.0), dew_point_c(29.6667, 62.98)
    assert before_c == pytest.approx(after_c, abs=0.05)
    assert vapour_pressure_deficit_kpa(29.6667, 62.98) > 1.5 * vapour_pressure_deficit_kpa(26.6667, 75.0)


@pytest.mark.parametrize("humidity_pct", [0.0, -3.0, 1e-9])
def test_air_without_vapour_has_no_dew_point(humidity_pct: float) -> None:
    """A probe that says 0 %, or less, gets None and the whole deficit, and no error."""
    assert dew_point_c(25.0, humidity_pct) is None
    assert vapour_pressure_deficit_kpa(25.0, humidity_pct) == pytest.approx(3.16992, rel=5e-3)  # CoolProp 8.0.0


@pytest.mark.parametrize("humidity_pct", [100.0, 100.4, 119.0])
def test_more_than_saturated_is_saturated(humidity_pct: float) -> None:
    """A wet probe says more than 100 %: the dew point is the air's temperature, the deficit is none."""
    assert dew_point_c(24.0, humidity_pct) == pytest.approx(24.0, abs=1e-9)
    assert vapour_pressure_deficit_kpa(24.0, humidity_pct) == 0.0


def test_under_freezing_the_dew_point_is_a_frost_point() -> None:
    """25 C at 5 %: frost at -15.46 C (CoolProp 8.0.0, over ice), where dew on water would form at -17.3 C."""
    assert dew_point_c(25.0, 5.0) == pytest.approx(-15.46, abs=0.05)
    assert dew_point_at_c(0.4, 25.0) == pytest.approx(-5.0, abs=0.2)  # 401.8 Pa over ice at -5 C: WMO-No. 8, by memory
    assert vapour_pressure_deficit_kpa(-10.0, 50.0) == pytest.approx(0.13, abs=0.01)  # 259.9 Pa over ice, by memory


def test_numba_is_not_loaded_because_it_is_installed() -> None:
    """With a numba to be found, the module imports without it, and whoever asks for it afterwards gets it."""
    script = (
        "import sys, types\n"
        "class Finder:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name == 'numba': asked.append(name)\n"
        "asked = []\n"
        "sys.meta_path.insert(0, Finder())\n"
        "import matwarden.core.moist_air as moist_air\n"
        "assert asked == [] and 'numpy' not in sys.modules and 'numba' not in sys.modules\n"
        "assert round(moist_air.dew_point_c(25.0, 50.0)) == 14\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
