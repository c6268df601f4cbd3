"""The shelf at a glance: what fits, what is wrong first."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from matwarden.report.follow_text import follow_lines
from matwarden.terms import Unit

_ZONE = ZoneInfo("Europe/Amsterdam")
_NOW_S = 1_768_633_385.0  # 2026-01-17T07:03:05Z


def _probe(role: str, celsius_c: float | None, age_s: float = 3.0) -> dict[str, Any]:
    return {"id": role, "role": role, "temperature_c": celsius_c, "age_s": age_s, "quality": "good", "why": ""}


def _tub(name: str, celsius_c: float | None, *alarms: str, age_s: float = 3.0, **heat: Any) -> dict[str, Any]:
    about = {"allowed": True, "reason": "below-setpoint", "tripped": False, "relay_fault": False, **heat}
    return {
        "id": name.lower(),
        "name": name,
        "band_c": [22.2, 27.8],
        "probes": [_probe("wall", 28.0), _probe("air", celsius_c, age_s)],
        "heat": about,
        "alarms": [{"id": alarm, "state": "unacknowledged", "active_s": 3720} for alarm in alarms],
    }


def _status(*tubs: dict[str, Any], running: bool = True) -> dict[str, Any]:
    return {
        "at": "2026-01-17T06:00:00Z",
        "running": running,
        "enclosures": list(tubs),
        "room": [_probe("room", 18.5)],
        "room_alarms": [],
        "silenced": [],
        "sinks": {},
    }


def _drawn(status: dict[str, Any] | None, columns: int = 80, rows: int = 24, unit: Unit = Unit.C) -> list[str]:
    return follow_lines(status, "Back room shelf", unit, _ZONE, _NOW_S, columns, rows)


def test_a_quiet_shelf_is_a_line_a_tub() -> None:
    """Name, inside, band, heat and why; the clock on top."""
    assert [
        line.split()
        for line in _drawn(_status(_tub("Oak", 24.6), _tub("Alder", 25.0, allowed=False, reason="warm-enough")))
    ] == [
        ["Back", "room", "shelf", "08:03"],
        ["all", "well"],
        ["Oak", "24.6", "°C", "in", "band", "heat", "on:", "below", "setpoint"],
        ["Alder", "25.0", "°C", "in", "band", "heat", "cut:", "warm", "enough"],
        ["Room", "18.5", "°C"],
    ]


def test_what_is_wrong_comes_first() -> None:
    """The tub with an alarm is on top, with how far it is out and for how long."""
    lines = _drawn(_status(_tub("Oak", 24.6), _tub("Alder", 20.1, "cold/alder")))
    assert lines[1] == "1 ALARM ON"
    assert lines[2].startswith("Alder   20.1 °C  COLD by 2.1 °C")
    assert lines[3] == "  ! cold/alder for 1 h 2 min"
    assert lines[4].startswith("Oak")


def test_a_trip_an_old_reading_and_a_silent_probe_are_said() -> None:
    """None looks like an ordinary number."""
    lines = _drawn(_status(_tub("Oak", 24.6, tripped=True), _tub("Alder", 24.0, age_s=600.0), _tub("Hazel", None)))
    assert lines[2].endswith("heat CUT: tripped")
    assert "(10 min ago)" in lines[3]
    assert "not read" in lines[4]


def test_a_station_that_is_gone_is_said_at_once() -> None:
    """With when it was last heard of; and when nothing is known at all."""
    assert (
        _drawn(_status(_tub("Oak", 24.6), running=False))[1]
        == "NOT RUNNING: all heat is cut. Last recorded 17 Jan 07:00"
    )
    assert _drawn(None)[1] == "NOT RUNNING, and nothing was recorded"


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (40, 20), (20, 5), (10, 2), (200, 60)])
def test_everything_fits_its_terminal(columns: int, rows: int) -> None:
    """Whatever its size; what does not fit is counted."""
    many = _status(*(_tub(f"Tub {n}", 20.0, f"cold/tub-{n}") for n in range(40)))
    lines = _drawn(many, columns, rows)
    assert len(lines) <= rows
    assert max(map(len, lines)) <= columns
    if columns >= 40 and rows < 60:
        assert lines[-1].startswith("and ")


def test_fahrenheit_is_shown_as_it_is_and_differences_without_the_32() -> None:
    """20.0 °C is 68.0 °F; 2.2 K under the band is 4.0 °F."""
    line = _drawn(_status(_tub("Oak", 20.0)), unit=Unit.F)[2]
    assert "68.0 °F  COLD by 4.0 °F" in line
