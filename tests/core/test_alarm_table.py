"""The alarms there are and the words a keeper reads. The limit of 40 characters is common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.alarm_table import (
    ALARMS,
    BLIND,
    BLIND_PROBE,
    COLD,
    CUT_OUT,
    HEAT_NOT_ARRIVING,
    HEAT_WHILE_CUT,
    HOT,
    POWER_LOST,
    PROBES_DISAGREE,
    RELAY_FAULT,
    RELAY_WEAR,
    STORAGE_FAILING,
    UNSTEADY_PROBE,
    alarm_id,
    delays,
)
from matwarden.core.alarm_words import TITLE_LENGTH, Facts, push, text
from matwarden.core.alarms import AlarmSpec, Change
from matwarden.terms import AlarmState, AlarmTimes, Band, Unit

BAND = Band(22.2222, 27.7778)
OAK = Facts("Oak", Unit.C, BAND, 21.3, "oak-air", "")


def starts(active_s: float, worst: float | None = None) -> Change:
    return Change(AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, active_s, worst)


def ends(active_s: float, worst: float | None = None) -> Change:
    return Change(AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL, active_s, worst)


def test_every_alarm_says_what_it_leads_to_and_what_to_do() -> None:
    """Twenty-two alarms, each with a consequence and a response of at least one whole sentence."""
    assert [spec.condition for spec in ALARMS] == [
        "cold",
        "hot",
        "cut-out",
        "relay-fault",
        "blind",
        "blind-probe",
        "unsteady-probe",
        "heat-not-arriving",
        "heat-while-cut",
        "probes-disagree",
        "relay-wear",
        "too-dry",
        "cold-together",
        "hot-together",
        "blind-together",
        "storage-failing",
        "clock-stepped",
        "power-lost",
        "peer-lost",
        "peer-silent",
        "no-digest",
        "peers-unseen",
    ]
    assert all(spec.response.endswith(".") and spec.consequence.endswith(".") for spec in ALARMS)


def test_what_a_keeper_should_find_on_coming_home_waits_for_an_acknowledgement() -> None:
    """Cold, heat and a lost power stay until they were seen; a welded relay even until it is reset; faults do not."""
    waiting = {spec.condition for spec in ALARMS if not spec.auto_acknowledge_on_return}
    assert waiting == {"cold", "hot", "cold-together", "hot-together", "heat-while-cut", "power-lost"}
    assert {spec.condition for spec in ALARMS if spec.latching} == {"heat-while-cut"}


def test_no_advice_says_what_harms_the_animals() -> None:
    """No lamp and no heat from below (common practice, no source): named in the advice against the cold, as a no."""
    assert "No lamp, and no heat under the tub." in COLD.response


def test_ids_and_delays_follow_the_settings() -> None:
    """Cold, hot and blind wait as the keeper set it; a trip and a relay fault are told at once."""
    times = AlarmTimes(3600.0, 1800.0, 600.0, 300.0, 0.5)
    assert alarm_id(COLD, "oak") == "cold/oak"
    assert [delays(spec, times) for spec in ALARMS] == [
        (3600.0, 300.0),
        (1800.0, 300.0),
        (0.0, 0.0),
        (0.0, 0.0),
        (600.0, 300.0),
        (600.0, 300.0),
        (0.0, 300.0),
        (300.0, 300.0),
        (60.0, 300.0),
        (3600.0, 300.0),
        (0.0, 0.0),
        (21_600.0, 300.0),
        (0.0, 300.0),
        (0.0, 300.0),
        (0.0, 300.0),
        (120.0, 0.0),
        (0.0, 0.0),
        (0.0, 0.0),
        (300.0, 60.0),
        (0.0, 0.0),
        (0.0, 0.0),
        (300.0, 0.0),
    ]


@pytest.mark.parametrize(
    ("spec", "change", "facts", "title", "sentence"),
    [
        (
            COLD,
            starts(3600.0, 20.94),
            OAK,
            "Oak: cold for 1 h, now 21.3 °C",
            "Oak is cold: at or under 22.2 °C for 1 h, coldest 20.9 °C, now 21.3 °C.",
        ),
        (
            COLD,
            ends(18_600.0, 20.9),
            OAK._replace(now_c=22.8),
            "Oak: back in band after 5 h 10 min",
            "Oak is back in its band after 5 h 10 min; coldest 20.9 °C, now 22.8 °C.",
        ),
        (
            HOT,
            starts(5400.0, 30.0),
            OAK._replace(unit=Unit.F, now_c=29.4444),
            "Oak: hot for 1 h 30 min, now 85.0 °F",
            "Oak is hot: at or over 82.0 °F for 1 h 30 min, hottest 86.0 °F, now 85.0 °F.",
        ),
        (
            HOT,
            ends(5400.0, 30.0),
            OAK._replace(now_c=21.0),
            "Oak: no longer hot after 1 h 30 min",
            "Oak is no longer hot after 1 h 30 min; hottest 30.0 °C, now 21.0 °C.",
        ),
        (
            CUT_OUT,
            starts(0.0),
            OAK._replace(why="31.3 °C at the wall"),
            "Oak: heat tripped, look now",
            "Oak: the software cut-out tripped and heat stays cut (31.3 °C at the wall).",
        ),
        (
            RELAY_FAULT,
            starts(0.0),
            OAK,
            "Oak: relay does not obey, unplug mat",
            "Oak: the relay does not do what it is told; heat is cut by command.",
        ),
        (
            BLIND,
            starts(600.0),
            OAK._replace(now_c=None),
            "Oak: no good reading for 10 min",
            "Oak has had no good reading for 10 min.",
        ),
        (
            BLIND,
            starts(600.0),
            OAK,
            "Oak: no good wall reading for 10 min",
            "Oak has had no good wall reading for 10 min, now 21.3 °C.",
        ),
        (
            BLIND_PROBE,
            starts(600.0),
            OAK,
            "Oak: probe silent, oak-air",
            "Oak: probe oak-air has had no good reading for 10 min, now 21.3 °C.",
        ),
        (
            UNSTEADY_PROBE,
            starts(0.0),
            OAK,
            "Oak: probe unsteady, oak-air",
            "Oak: probe oak-air jumps again and again, more than a tub can, now 21.3 °C.",
        ),
        (
            UNSTEADY_PROBE,
            ends(7200.0),
            OAK,
            "Oak: probe steady, oak-air",
            "Oak: probe oak-air is steady again after 2 h, now 21.3 °C.",
        ),
        (
            HEAT_NOT_ARRIVING,
            starts(300.0),
            OAK._replace(now_c=None, why="wall 22.9 °C, air 22.8 °C"),
            "Oak: no heat arrives",
            "Oak: heat is allowed, but the wall does not show it (wall 22.9 °C, air 22.8 °C).",
        ),
        (
            HEAT_WHILE_CUT,
            starts(60.0),
            OAK._replace(now_c=None, why="wall 29.9 °C, air 26.0 °C"),
            "Oak: hot with heat cut, pull plug",
            "Oak: heat is cut, but the wall stays hot: the relay may be welded (wall 29.9 °C, air 26.0 °C).",
        ),
        (
            PROBES_DISAGREE,
            ends(7200.0),
            OAK._replace(now_c=None),
            "Oak: its probes agree again",
            "Oak: its probes agree again after 2 h.",
        ),
        (
            RELAY_WEAR,
            starts(0.0),
            OAK._replace(now_c=None, why="80000 of 100000 operations"),
            "Oak: relay nearly worn out",
            "Oak: the relay has done most of its rated life (80000 of 100000 operations).",
        ),
        (
            STORAGE_FAILING,
            ends(900.0),
            Facts("Shelf", Unit.C),
            "Shelf: everything is recorded again",
            "Shelf: everything is recorded again after 15 min.",
        ),
        (
            POWER_LOST,
            starts(0.0),
            Facts("Shelf", Unit.C, why="from about 22:00 to 06:30"),
            "Shelf: was off",
            "Shelf: it did not run, so no tub was watched or heated (from about 22:00 to 06:30).",
        ),
    ],
)
def test_what_a_keeper_reads(spec: AlarmSpec, change: Change, facts: Facts, title: str, sentence: str) -> None:
    """The tub first, then what, how long and what it is now, in the keeper's unit; a start ends with what to do."""
    told = push(spec, change, facts)
    assert told is not None
    assert told.title == title
    assert text(spec, change, facts) == sentence
    assert told.body == (f"{sentence} {spec.response}" if change.starts else sentence)


def test_a_reset_by_a_person_at_the_tub_is_not_pushed() -> None:
    """They were there; the sentence is still recorded."""
    assert push(CUT_OUT, ends(7200.0), OAK) is None
    assert text(CUT_OUT, ends(7200.0), OAK) == "Oak: the trip was reset after 2 h."
    assert text(RELAY_FAULT, ends(7200.0), OAK) == "Oak: the relay fault was reset after 2 h."


def test_a_change_that_nobody_must_know_is_only_recorded() -> None:
    """Suppression is a line in the record and not a push."""
    change = Change(AlarmState.NORMAL, AlarmState.SUPPRESSED, 0.0, None)
    assert push(BLIND_PROBE, change, OAK) is None
    assert text(BLIND_PROBE, change, OAK) == "Oak: the alarm 'probe silent' is now suppressed-by-design."


@given(
    st.sampled_from(ALARMS),
    st.booleans(),
    st.floats(0.0, 3e7),
    st.floats(-40.0, 125.0),
    st.text(alphabet="abcde xyz", min_size=1, max_size=80),
    st.text(alphabet="abc-", min_size=1, max_size=80),
)
def test_a_title_always_fits_and_starts_with_the_tub(
    spec: AlarmSpec, start: bool, active_s: float, now_c: float, tub: str, probe: str
) -> None:
    """However long the names, the title keeps to its line, begins with the tub and leaves the tub recognisable."""
    facts = Facts(tub, Unit.F, BAND, now_c, probe)
    told = push(spec, starts(active_s) if start else ends(active_s), facts)
    if told is None:
        return
    assert len(told.title) <= TITLE_LENGTH
    assert told.title.startswith(tub[:7].rstrip())
