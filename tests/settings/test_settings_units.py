"""Temperatures and differences of temperatures in both units, and what stands for a key that is left out."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers_settings import FAHRENHEIT, REAL, TWIN, checked, edited
from matwarden.settings import Settings
from matwarden.settings.scale import Scale, c_from_f, plain
from matwarden.terms import CUT_OUT_CEILING_C, Band, Unit

# Temperature conversion by its definition, NIST SP 811 (2008) appendix B.8: t/C = (t/F - 32)/1.8.
# Pairs worked out by hand from it, to four decimals.
SAME_TEMPERATURES = [
    (-40, -40),
    (32, 0),
    (68, 20),
    (72, 22.2222),
    (77, 25),
    (78, 25.5556),
    (82, 27.7778),
    (85, 29.4444),
    (86, 30),
    (98.6, 37),
    (212, 100),
]
# A difference is divided by 1.8 alone: the same appendix, "degree Fahrenheit to kelvin, for an interval".
SAME_DIFFERENCES = [(1, 0.5556), (2, 1.1111), (0.9, 0.5), (1.8, 1), (5.4, 3), (10, 5.5556)]


def sound(tmp_path: Path, text: str) -> Settings:
    """The settings of a text that must be sound."""
    outcome = checked(tmp_path, text)
    assert outcome.problems == ()
    assert outcome.settings is not None
    return outcome.settings


@pytest.mark.parametrize(("fahrenheit", "celsius"), SAME_TEMPERATURES)
def test_temperatures_convert_by_definition(fahrenheit: float, celsius: float) -> None:
    """A temperature of an F file is the one of the table, within its last digit."""
    assert Scale(Unit.F).c(fahrenheit) == pytest.approx(celsius, abs=5e-5)


@pytest.mark.parametrize(("fahrenheit", "kelvin"), SAME_DIFFERENCES)
def test_differences_convert_without_the_32(fahrenheit: float, kelvin: float) -> None:
    """A difference of an F file is the one of the table, within its last digit."""
    assert Scale(Unit.F).k(fahrenheit) == pytest.approx(kelvin, abs=5e-5)


@given(st.integers(min_value=-400, max_value=2120).map(lambda tenths: tenths / 10))
def test_a_temperature_comes_back_as_it_was_written(value: float) -> None:
    """Any tenth of a degree, read from a file and shown again, is the same text: 72 F is 72, never 71.96."""
    for unit in Unit:
        scale = Scale(unit)
        assert scale.show(scale.c(value)) == f"{plain(value)} °{unit}"
        assert scale.show_difference(scale.k(value)) == f"{plain(value)} °{unit}"


def test_a_fahrenheit_file_means_the_same_shelf(tmp_path: Path) -> None:
    """The same shelf written in F gives the same SI values as in C, each within a millionth of a kelvin."""
    celsius, fahrenheit = sound(tmp_path, REAL), sound(tmp_path, FAHRENHEIT)
    for one, other in zip(celsius.enclosures, fahrenheit.enclosures, strict=True):
        assert (one.band.low_c, one.band.high_c) == pytest.approx((other.band.low_c, other.band.high_c), abs=1e-6)
        assert one.alarms.deadband_k == pytest.approx(other.alarms.deadband_k, abs=1e-6)
        for a, b in zip(one.probes, other.probes, strict=True):
            assert (a.offset_k, a.max_rate_k_per_min) == pytest.approx((b.offset_k, b.max_rate_k_per_min), abs=1e-6)
    mat, same = celsius.enclosures[0].mat, fahrenheit.enclosures[0].mat
    assert mat is not None
    assert same is not None
    for key in ("setpoint_c", "hysteresis_k", "limiter_c", "cut_out_c", "differential_k"):
        assert getattr(mat, key) == pytest.approx(getattr(same, key), abs=1e-6)


def test_a_band_of_72_to_82_is_the_default_in_both_units(tmp_path: Path) -> None:
    """A band left out is 72 to 82 F to the last bit, whatever the unit (common practice, no source)."""
    for text in (REAL, FAHRENHEIT):
        rowan = sound(tmp_path, text).enclosures[1]
        assert rowan.band == Band(c_from_f(72.0), c_from_f(82.0))


def test_a_setpoint_at_the_edge_of_what_is_told_is_allowed(tmp_path: Path) -> None:
    """The bound that a message tells, written into the file, is accepted: 22.72 C for the default band and 1 C."""
    text = edited(REAL, ("band_low = 22.0\nband_high = 28.0\n", ""), ("setpoint = 25.0", "setpoint = 22.72"))

    assert sound(tmp_path, text).enclosures[0].mat is not None


def test_a_cut_out_at_the_ceiling_is_allowed_in_both_units(tmp_path: Path) -> None:
    """31 C and 87.8 F are the ceiling itself, and allowed."""
    for text in (
        edited(REAL, ("cut_out = 30.0", "cut_out = 31")),
        edited(FAHRENHEIT, ("cut_out = 86", "cut_out = 87.8")),
    ):
        mat = sound(tmp_path, text).enclosures[0].mat
        assert mat is not None
        assert mat.cut_out_c == pytest.approx(CUT_OUT_CEILING_C, abs=1e-9)


def test_minutes_and_hours_become_seconds(tmp_path: Path) -> None:
    """Keys in minutes and hours are seconds in the settings in use."""
    settings = sound(tmp_path, edited(REAL, ("minimum_off_s = 180", "memory_min = 20")))
    mat = settings.enclosures[0].mat

    assert mat is not None
    assert mat.memory_s == 1200.0
    assert settings.enclosures[0].alarms.cold_after_s == 3600.0
    assert settings.push is not None
    assert settings.push.give_up_after_s == 259_200.0


def test_an_alarm_key_of_a_tub_stands_over_that_of_the_house(tmp_path: Path) -> None:
    """A tub's own delay replaces the house's for that tub only; what it leaves out stays the house's."""
    text = edited(
        REAL,
        ("cold_after_min = 60", "cold_after_min = 90"),
        ('[[enclosure]]\nid = "rowan"', '[[enclosure]]\nid = "rowan"\ncold_after_min = 0\nhot_after_min = 5'),
    )
    oak, rowan = (tub.alarms for tub in sound(tmp_path, text).enclosures)

    assert (oak.cold_after_s, oak.hot_after_s, oak.blind_after_s) == (5400.0, 3600.0, 600.0)
    assert (rowan.cold_after_s, rowan.hot_after_s, rowan.blind_after_s) == (0.0, 300.0, 600.0)


def test_amounts_of_faults_convert_by_their_kind(tmp_path: Path) -> None:
    """In an F file an offset is a difference, and a factor is left as it is."""
    text = edited(
        TWIN,
        ('temperature_unit = "C"', 'temperature_unit = "F"'),
        ("mean = 18.0", "mean = 64.4"),
        ("amount = 2.0", 'amount = 3.6\n\n[[fault]]\nkind = "lid-off"\nsubject = "oak"\nat_h = 1\namount = 4'),
    )
    simulation = sound(tmp_path, text).simulation

    assert simulation is not None
    assert [fault.amount for fault in simulation.faults] == pytest.approx([2.0, 4.0])
    assert [fault.at_s for fault in simulation.faults] == [36_000.0, 3600.0]


@pytest.mark.parametrize(
    ("tls", "port"), [("", 1883), ("tls = true\n", 8883), ("port = 1884\n", 1884), ("tls = true\nport = 8884\n", 8884)]
)
def test_the_broker_s_port_follows_tls(tls: str, port: int, tmp_path: Path) -> None:
    """The port left out is that registered with IANA for MQTT: 1883, or 8883 for secure-mqtt."""
    settings = sound(tmp_path, edited(REAL, ('host = "localhost"\n', f'host = "localhost"\n{tls}')))

    assert settings.mqtt is not None
    assert settings.mqtt.port == port


def test_readings_expire_after_five_polls(tmp_path: Path) -> None:
    """The expiry of readings at the broker follows every_s unless it is given."""
    settings = sound(tmp_path, edited(REAL, ("every_s = 10", "every_s = 12")))

    assert settings.mqtt is not None
    assert settings.mqtt.expire_after_s == 60
