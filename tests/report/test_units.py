"""Numbers and instants as text. Temperatures: the definition C = (F - 32) x 5/9; instants: RFC 3339 section 5.6."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.report.units import (
    difference_text,
    difference_value,
    duration_text,
    local_clock,
    local_day_and_clock,
    parse_rfc3339,
    rfc3339_z,
    temperature_text,
    temperature_value,
)
from matwarden.terms import Unit

# RFC 3339 section 5.6, rule for rule; the grammar is from memory of the RFC. `time-offset` is Z or a numeric one.
DATE = r"\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])"
TIME = r"(?:[01]\d|2[0-3]):[0-5]\d:(?:[0-5]\d|60)(?:\.\d+)?"
OFFSET = r"(?:[Zz]|[+-](?:[01]\d|2[0-3]):[0-5]\d)"
RFC_3339 = re.compile(f"{DATE}[Tt]{TIME}{OFFSET}", re.ASCII)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius_c"),
    [
        (-40, -40),
        (32, 0),
        (68, 20),
        (70, 21.1111),
        (72, 22.2222),
        (75, 23.8889),
        (77, 25),
        (80, 26.6667),
        (82, 27.7778),
        (85, 29.4444),
        (86, 30),
        (98.6, 37),
        (212, 100),
    ],
)
def test_temperatures_convert_by_the_definition(fahrenheit: float, celsius_c: float) -> None:
    """The fixed points of both scales and the temperatures keepers speak of."""
    assert temperature_value(celsius_c, Unit.F) == pytest.approx(fahrenheit, abs=1e-4)
    assert temperature_value(celsius_c, Unit.C) == celsius_c


@pytest.mark.parametrize(
    ("kelvin_k", "fahrenheit"), [(0.5, 0.9), (0.5556, 1.0), (1.1111, 2.0), (0.0, 0.0), (-1.0, -1.8)]
)
def test_a_difference_has_no_32_in_it(kelvin_k: float, fahrenheit: float) -> None:
    """Half a kelvin is nine tenths of a degree Fahrenheit."""
    assert difference_value(kelvin_k, Unit.F) == pytest.approx(fahrenheit, abs=1e-3)


@pytest.mark.parametrize(
    ("celsius_c", "unit", "text"),
    [
        (21.34, Unit.C, "21.3 °C"),
        (22.2222, Unit.F, "72.0 °F"),
        (-0.04, Unit.C, "0.0 °C"),
        (-17.8, Unit.F, "0.0 °F"),
        (-5.0, Unit.C, "-5.0 °C"),
    ],
)
def test_a_temperature_is_shown_to_a_tenth_with_its_unit(celsius_c: float, unit: Unit, text: str) -> None:
    """72 F kept in Celsius comes back as 72.0, and nothing is ever minus zero."""
    assert temperature_text(celsius_c, unit) == text


def test_a_difference_is_shown_with_its_unit() -> None:
    """The deadband of half a kelvin in both units."""
    assert (difference_text(0.5, Unit.C), difference_text(0.5, Unit.F)) == ("0.5 °C", "0.9 °F")


@pytest.mark.parametrize(
    ("seconds_s", "text"),
    [
        (0.0, "0 s"),
        (59.9, "59 s"),
        (60.0, "1 min"),
        (3599.0, "59 min"),
        (3599.9999999, "1 h"),
        (3600.0, "1 h"),
        (18_600.0, "5 h 10 min"),
        (86_400.0, "24 h"),
        (172_800.0, "2 d"),
        (273_600.0, "3 d 4 h"),
    ],
)
def test_a_duration_has_at_most_two_units(seconds_s: float, text: str) -> None:
    """Short, cut down, and never a minute that has not passed."""
    assert duration_text(seconds_s) == text


@pytest.mark.parametrize("seconds_s", [-1.0, float("nan"), float("inf")])
def test_what_is_no_duration_is_refused(seconds_s: float) -> None:
    """Negative, endless or no number."""
    with pytest.raises(ValueError, match="a duration is zero or more seconds"):
        duration_text(seconds_s)


def test_local_times_are_those_of_the_zone() -> None:
    """The same clock time before and after the change from summer time in Amsterdam (IANA: 2026-10-25 01:00Z)."""
    amsterdam = ZoneInfo("Europe/Amsterdam")
    before_s = datetime(2026, 10, 25, 0, 30, tzinfo=UTC).timestamp()
    assert [local_clock(before_s + by_s, amsterdam) for by_s in (0, 3600, 7200)] == ["02:30", "02:30", "03:30"]
    assert local_day_and_clock(before_s, amsterdam) == "25 Oct 02:30"


class TestRfc3339:
    @given(st.integers(-62_135_596_800, 253_402_300_799))
    def test_what_is_written_follows_the_grammar_and_reads_back(self, wall_s: int) -> None:
        """Any second of the years 0001 to 9999: the RFC's grammar, Python's own reading, and ours."""
        text = rfc3339_z(float(wall_s))
        assert RFC_3339.fullmatch(text)
        assert text.endswith("Z")
        assert parse_rfc3339(text) == wall_s
        assert (datetime.fromisoformat(text) - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() == wall_s

    def test_known_instants(self) -> None:
        """2 to the power of 28 seconds is 1978-07-04T21:24:16Z; the parts of a second are cut."""
        assert rfc3339_z(2.0**28) == "1978-07-04T21:24:16Z"
        assert rfc3339_z(2.0**28 + 0.999) == "1978-07-04T21:24:16Z"
        assert rfc3339_z(-0.5) == "1969-12-31T23:59:59Z"

    # The first four are the examples of RFC 3339 section 5.8, from memory of the RFC.
    @pytest.mark.parametrize(
        ("text", "same"),
        [
            ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50Z"),
            ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
            ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"),
            ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00Z"),
            ("2026-01-15t06:30:00z", "2026-01-15T06:30:00Z"),
            ("2026-01-15T06:30:00-00:00", "2026-01-15T06:30:00Z"),
        ],
    )
    def test_the_examples_of_the_rfc_are_read(self, text: str, same: str) -> None:
        """Fractions, offsets, lower case and leap seconds."""
        assert rfc3339_z(parse_rfc3339(text)) == same

    @pytest.mark.parametrize(
        "text",
        [
            "2026-01-15",
            "2026-01-15 06:30:00Z",
            "2026-01-15T06:30:00",
            "2026-01-15T06:30Z",
            "20260115T063000Z",
            "2026-W03-4T06:30:00Z",
            "2026-02-30T06:30:00Z",
            "2026-01-15T24:00:00Z",
            "2026-01-15T06:30:60Z",
            "2026-01-15T06:30:61Z",
            "2026-01-15T06:30:00+24:00",
            "2026-01-15T06:30:00Z\n",
            "２０２６-01-15T06:30:00Z",
            "",
        ],
    )
    def test_what_is_not_rfc_3339_is_refused(self, text: str) -> None:
        """ISO 8601 allows much more; a person is told what is meant."""
        with pytest.raises(ValueError, match="is not a time such as 2026-01-15T06:30:00Z"):
            parse_rfc3339(text)

    @pytest.mark.parametrize("wall_s", [1e12, -1e12, float("inf"), float("nan")])
    def test_an_instant_outside_four_digit_years_is_refused(self, wall_s: float) -> None:
        """RFC 3339 has no way to write it."""
        with pytest.raises(ValueError, match="RFC 3339 can write"):
            rfc3339_z(wall_s)

    @given(st.from_regex(RFC_3339, fullmatch=True))
    def test_whatever_follows_the_grammar_is_read_or_names_no_real_day(self, text: str) -> None:
        """Only a date or a leap second that never was is refused; Python's own parser agrees on the rest."""
        try:
            ours = parse_rfc3339(text)
        except ValueError:
            leap = text[17:19] == "60"
            assert leap or not _is_real(text)
        else:
            if text[17:19] != "60":
                # A float of the year 9999 counts in steps of 31 microseconds.
                assert ours == pytest.approx(_standard(text), abs=1e-4)


def _standard(text: str) -> float:
    """Python's own reading of it, without what lies beyond microseconds."""
    text = re.sub(r"\.(\d{1,6})\d*", lambda found: "." + found[1].ljust(6, "0"), text.upper())
    local = datetime.fromisoformat(re.sub(r"(Z|[+-]\d\d:\d\d)$", "", text))
    sign, hours, minutes = re.fullmatch(r".*?(?:Z|([+-])(\d\d):(\d\d))", text).groups()  # type: ignore[union-attr]
    offset_s = 0 if sign is None else (int(hours) * 3600 + int(minutes) * 60) * (-1 if sign == "-" else 1)
    return (local - datetime(1970, 1, 1)).total_seconds() - offset_s  # noqa: DTZ001


def _is_real(text: str) -> bool:
    try:
        datetime.fromisoformat(text[:10])
    except ValueError:
        return False
    return True
