"""The digest as a keeper reads it on a phone: exact lines."""

from __future__ import annotations

import pytest

from digest_examples import AMSTERDAM, HOUR_S, cold_spell, digest_of, line, steady
from matwarden.core.alarm_table import ALARMS, TUB_ALARMS
from matwarden.core.alarms import AlarmSpec
from matwarden.core.record import RefusalCount
from matwarden.report.digest_text import digest_text, first_line
from matwarden.terms import AlarmState, Quantity, Unit

S = AlarmState
OAK_AIR = ("oak-air", Quantity.TEMPERATURE)
ROWAN_AIR = ("rowan-air", Quantity.TEMPERATURE)
COLD_NIGHT = cold_spell(20.9, 17 * HOUR_S, 22 * HOUR_S + 600.0)
COLD_ALARM = [
    line("cold/oak", 18 * HOUR_S, S.UNACKNOWLEDGED, HOUR_S),
    line("cold/oak", 22 * HOUR_S + 900.0, S.NORMAL, 5 * HOUR_S + 600.0),
]


def test_a_quiet_night() -> None:
    """All well first; then the window with its zone, and a few lines for each tub."""
    assert digest_text(digest_of(), Unit.C, AMSTERDAM).splitlines() == [
        "All well",
        "14 Jan 08:00 to 15 Jan 08:00 (Europe/Amsterdam)",
        "Oak: 24.0 °C throughout, 100 % in band",
        "  wall 26.1 °C, substrate 23.5 °C, humidity moist 81 %",
        "  VPD 0.6 kPa, dew point 21 °C",
        "  heat 25 % of the time, switched on 2 times",
        "Rowan: 25.0 °C throughout, 100 % in band",
        "Room: 19.0 °C throughout",
    ]


def test_a_cold_night_and_a_silent_probe() -> None:
    """What was not well comes first, and whether it still is; the lines of the tub say when and how much."""
    digest = digest_of(
        {OAK_AIR: COLD_NIGHT, ROWAN_AIR: steady(25.0, 0.0, 20 * HOUR_S)},
        COLD_ALARM,
        standing=[line("blind/rowan", 20 * HOUR_S + 660.0, S.UNACKNOWLEDGED, 600.0, "rowan")],
        refusals=[RefusalCount("rowan-air", 1440, 2, "the probe does not answer")],
        restarts=1,
        clock_steps=(-3600.0,),
    )
    assert digest_text(digest, Unit.C, AMSTERDAM).splitlines() == [
        "Oak cold 5 h 10 min, Rowan not read for 3 h 59 min; 1 alarm still on",
        "14 Jan 08:00 to 15 Jan 08:00 (Europe/Amsterdam)",
        "Oak: 20.9 (01:00) to 24.0 °C (08:00), 78 % in band",
        "  wall 26.1 °C, substrate 23.5 °C, humidity moist 81 %",
        "  VPD 0.5, at most 0.6 kPa, dew point 18 to 21 °C",
        "  cold 5 h 10 min from 01:00 (6.7 °C·h in all)",
        "  heat 25 % of the time, switched on 2 times",
        "  night mean 22.7, day mean 24.0 °C",
        "Rowan: 25.0 °C throughout, 100 % in band",
        "  not read for 3 h 59 min",
        "  rowan-air: 1440 missing, 2 doubtful, 17 % of what was due (the probe does not answer)",
        "Room: 19.0 °C throughout",
        "The program started once",
        "Clock set back by 1 h",
    ]


def test_the_keepers_unit_is_used_throughout() -> None:
    """In Fahrenheit no Celsius is left, and degree-hours are a difference: 6.717 K.h x 1.8 = 12.1, no 32."""
    text = digest_text(digest_of({OAK_AIR: COLD_NIGHT}, COLD_ALARM), Unit.F, AMSTERDAM)
    assert "°C" not in text
    assert "Oak: 69.6 (01:00) to 75.2 °F (08:00), 78 % in band" in text
    assert "(12.1 °F·h in all)" in text


def test_a_brief_dip_without_an_alarm_is_all_well_but_told() -> None:
    """Brief excursions do no harm: the first line stays, the tub's line says it (common practice, no source)."""
    text = digest_text(digest_of({OAK_AIR: cold_spell(22.0, HOUR_S, HOUR_S + 900.0)}), Unit.C, AMSTERDAM)
    assert text.startswith("All well\n")
    assert "\n  cold 15 min from 09:00 (" in text
    assert ", 99 % in band" in text


def test_an_alarm_that_stands_is_told_with_its_whole_time() -> None:
    """Cold since two hours before the window and all through it: 26 h."""
    standing = [line("cold/oak", 0.0, S.UNACKNOWLEDGED, 2 * HOUR_S)]
    assert first_line(digest_of({OAK_AIR: steady(20.0)}, standing=standing)) == "Oak cold 26 h; 1 alarm still on"


@pytest.mark.parametrize("ahead_s", [0.0, 24 * HOUR_S, -30 * HOUR_S])
def test_an_alarm_that_stands_for_days_is_told_with_all_of_them(ahead_s: float) -> None:
    """Cold since two days before the window, told an hour later: 3 d 1 h, however wrong the clock was at its start."""
    told = line("cold/oak", -48 * HOUR_S, S.UNACKNOWLEDGED, HOUR_S)
    standing = [told._replace(wall_s=told.wall_s + ahead_s)]
    assert first_line(digest_of({OAK_AIR: steady(20.0)}, standing=standing)) == "Oak cold 3 d 1 h; 1 alarm still on"


def test_an_alarm_that_was_seen_meanwhile_is_not_counted_twice() -> None:
    """Cold from 9 h to the end at 24 h, told an hour later and acknowledged six hours after that: 15 h."""
    told = line("cold/oak", 10 * HOUR_S, S.UNACKNOWLEDGED, HOUR_S)
    seen = line("cold/oak", 16 * HOUR_S, S.ACKNOWLEDGED, 7 * HOUR_S)
    digest = digest_of({OAK_AIR: cold_spell(20.0, 9 * HOUR_S, 24 * HOUR_S)}, [told], standing=[seen])
    assert first_line(digest) == "Oak cold 15 h; 1 alarm still on"


def test_an_alarm_that_bridged_brief_returns_is_told_as_the_alarm_told_it() -> None:
    """Around the edge of the band the single spells are short; the alarm with its deadband stood for five hours."""
    alarms = [line("cold/oak", 9 * HOUR_S, S.NORMAL, 5 * HOUR_S)]
    assert first_line(digest_of({OAK_AIR: cold_spell(22.1, HOUR_S, HOUR_S + 600.0)}, alarms)) == "Oak cold 5 h"


@pytest.mark.parametrize(
    ("alarm", "told"),
    [
        ("hot/oak", "Oak hot 1 h"),
        ("cut-out/oak", "Oak heat tripped"),
        ("relay-fault/oak", "Oak relay does not obey"),
        ("blind/oak", "Oak probe silent"),
        ("blind-probe/oak-soil", "Oak probe silent"),
    ],
)
def test_every_alarm_has_its_words(alarm: str, told: str) -> None:
    """An alarm that came and went in the window is told by its tub's name."""
    assert first_line(digest_of(alarms=[line(alarm, HOUR_S, S.NORMAL, HOUR_S)])) == told


def test_a_silent_room_probe_is_told() -> None:
    """It belongs to no tub."""
    standing = [line("blind-probe/room", HOUR_S, S.UNACKNOWLEDGED, enclosure=None)]
    assert first_line(digest_of(standing=standing)) == "room probe silent; 1 alarm still on"


@pytest.mark.parametrize(
    ("alarm", "told"),
    [
        ("power-lost/house", "not running for a while"),
        ("storage-failing/house", "record failing"),
        ("clock-stepped/house", "clock set"),
    ],
)
def test_an_alarm_of_the_house_is_told_as_what_it_was(alarm: str, told: str) -> None:
    """Started in the night and over by the morning: named, and not taken for the room's probe."""
    started = line(alarm, HOUR_S, S.UNACKNOWLEDGED, enclosure=None)
    over = line(alarm, 2 * HOUR_S, S.NORMAL, HOUR_S, enclosure=None)
    assert first_line(digest_of(alarms=[started, over])) == told


@pytest.mark.parametrize("kind", ["cold", "hot"])
def test_tubs_told_together_are_told_in_the_morning_too(kind: str) -> None:
    """Their own alarms were suppressed, one that had rung before stands by itself: the house's is named first."""
    started = line(f"{kind}-together/house", HOUR_S, S.UNACKNOWLEDGED, enclosure=None)
    rowan = line(f"{kind}/rowan", HOUR_S, S.UNACKNOWLEDGED, enclosure="rowan")
    told = first_line(digest_of(alarms=[started, rowan], standing=[started, rowan]))
    assert told.startswith(f"many tubs {kind}, Rowan {kind} ")
    assert told.endswith("; 2 alarms still on")


def test_tubs_told_together_that_are_back_by_the_morning_are_told() -> None:
    """It began before this digest's time, and ended in it."""
    returned = line("blind-together/house", HOUR_S, S.NORMAL, HOUR_S, enclosure=None)
    assert first_line(digest_of(alarms=[returned])) == "many tubs not read"


def test_a_power_cut_is_one_trouble_and_not_one_for_each_tub() -> None:
    """No tub was read for the last six hours (a held minute less)."""
    until = {OAK_AIR: steady(24.0, 0.0, 18 * HOUR_S), ROWAN_AIR: steady(25.0, 0.0, 18 * HOUR_S)}
    assert first_line(digest_of(until)) == "No tub read for 5 h 59 min"


def test_nothing_read_is_never_all_well() -> None:
    """Without a single reading the digest says so, for the house and for each tub."""
    text = digest_text(digest_of({OAK_AIR: [], ROWAN_AIR: []}), Unit.C, AMSTERDAM)
    assert text.startswith("No tub read for 24 h\n")
    assert "\nOak: no good reading\n" in text


def test_over_99_percent_is_not_called_100() -> None:
    """One reading outside the band in a day is not "always"."""
    text = digest_text(digest_of({OAK_AIR: cold_spell(22.0, HOUR_S, HOUR_S + 10.0)}), Unit.C, AMSTERDAM)
    assert ", over 99 % in band" in text


@pytest.mark.parametrize("spec", ALARMS, ids=lambda spec: spec.condition)
def test_no_alarm_of_the_table_is_all_well(spec: AlarmSpec) -> None:
    """Whatever rang in the night and was over by the morning stands in the first line, in words of its own."""
    tub = "oak" if spec in TUB_ALARMS else None
    alarm = f"{spec.condition}/{tub or 'shelf'}"
    told = first_line(digest_of(alarms=[line(alarm, HOUR_S, S.UNACKNOWLEDGED, 0.0, tub)]))
    assert not told.startswith(("All well", "An alarm"))
    assert told.startswith("Oak ") == (tub is not None)
