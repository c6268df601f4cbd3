"""What each topic holds, without a broker: events in, payloads out."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers_homie import refusals
from helpers_mqtt import TEMPERATURES_C, alarm, all_values, at, readings, refused, shelf, verdict
from matwarden.events import DigestMade, Event, Started
from matwarden.sinks import homie
from matwarden.sinks.mqtt_picture import Inbox, Picture
from matwarden.terms import AlarmState, Quality, Reason, Unit

ROOT = "homie/5/shelf-1"


def told(picture: Picture, *events: Event) -> dict[str, str]:
    """Give the events to the picture; every value it then has, without the root. A deleted topic is ''."""
    inbox = Inbox()
    inbox.put(events)
    picture.take(inbox)
    return {v.topic.removeprefix(f"{ROOT}/"): v.payload.decode() for v in picture.all()}


def fresh() -> Picture:
    """A picture nothing was told to."""
    return Picture(shelf(), ROOT)


def test_several_probes_of_a_role_are_one_value() -> None:
    """The coldest air and soil, the hottest wall."""
    shown = told(fresh(), *all_values())
    assert shown["oak/air-temperature"] == "24.6"
    assert shown["oak/wall-temperature"] == "26.4"
    assert shown["oak/substrate-temperature"] == "24.0"


def test_temperatures_are_in_the_keepers_unit() -> None:
    """18 C in the room is 64.4 F."""
    shown = told(Picture(shelf(unit=Unit.F), ROOT), *all_values())
    assert shown["room/room-temperature"] == "64.4"
    assert shown["oak/band-low"] == "72.0"


def test_before_the_first_event_there_is_no_reading_and_no_heat() -> None:
    """Nothing is invented at the start: quality missing, temperatures absent, heat cut."""
    shown = told(fresh())
    assert shown["oak/air-temperature"] == shown["oak/last-reading"] == ""
    assert shown["oak/reading-quality"] == "missing"
    assert (shown["oak/heat-allowed"], shown["oak/heat-reason"]) == ("false", "starting")


def test_after_a_clean_stop_heat_is_shown_as_cut() -> None:
    """Nobody is there to allow it."""
    picture = fresh()
    told(picture, verdict(10, True, Reason.BELOW_SETPOINT))
    picture.stop()
    shown = told(picture)
    assert (shown["oak/heat-allowed"], shown["oak/heat-reason"]) == ("false", "stopped")


def test_one_missed_capture_leaves_the_value() -> None:
    """Within the probe's stale time the last good reading stands, and the quality says what happened."""
    shown = told(fresh(), readings(10), refused(20, "alder-air"))
    assert shown["alder/air-temperature"] == "23.5"
    assert shown["alder/reading-quality"] == "missing"
    assert shown["alder/last-reading"] == "2026-11-02T08:00:10Z"


def test_a_stale_value_is_deleted() -> None:
    """A reading older than stale_s (60 s) is no reading: never the last one for a missing one."""
    shown = told(fresh(), readings(10), refused(71, "alder-air"))
    assert shown["alder/air-temperature"] == shown["alder/humidity"] == ""


def test_a_probe_nobody_hears_of_grows_stale_too() -> None:
    """Without any event of its own, time told by the others is enough."""
    picture = fresh()
    told(picture, readings(10))
    inbox = Inbox()
    inbox.put([readings(100, {"room-air": 18.0})])
    picture.take(inbox)
    changed = {v.topic: v.payload for v in picture.changed()}
    assert changed[f"{ROOT}/alder/air-temperature"] == b""
    assert changed[f"{ROOT}/alder/reading-quality"] == b"missing"


def test_one_good_probe_keeps_its_role_good() -> None:
    """One of two air probes failing is no worse than good; both failing is missing."""
    one = told(fresh(), readings(10), refused(20, "oak-dry"))
    both = told(fresh(), readings(10), refused(20, "oak-dry"), refused(20, "oak-moist"))
    assert (one["oak/reading-quality"], both["oak/reading-quality"]) == ("good", "missing")


def test_doubt_is_told() -> None:
    """A doubtful capture shows as doubtful."""
    shown = told(fresh(), readings(10), refused(20, "alder-air", Quality.DOUBTFUL))
    assert shown["alder/reading-quality"] == "doubtful"


@pytest.mark.parametrize("state", list(AlarmState))
def test_an_alert_is_there_while_its_alarm_is_active(state: AlarmState) -> None:
    """Unacknowledged, acknowledged and latched alarms have an alert; every other state has none."""
    picture = fresh()
    told(picture, alarm(10, AlarmState.UNACKNOWLEDGED))
    shown = told(picture, alarm(20, state))
    active = state.value.removeprefix("latched-") in ("unacknowledged", "acknowledged")
    assert shown["$alert/oak-cold"] == ("Oak is cold" if active else "")
    assert shown["oak/cold-alarm"] == state.value


def test_an_alarm_of_a_probe_is_an_alert_only() -> None:
    """It has no property, and disturbs none."""
    shown = told(fresh(), alarm(10, AlarmState.UNACKNOWLEDGED, "no answer", "blind-probe/oak-dry"))
    assert shown["$alert/oak-dry-blind-probe"] == "no answer"
    assert shown["oak/blind-alarm"] == "normal"


def test_only_what_something_came_in_for_is_looked_at() -> None:
    """A reading of one tub does not format the others'; the house's own sign of life moves every ten seconds."""
    picture = fresh()
    told(picture, readings(10))
    inbox = Inbox()
    inbox.put([readings(19, {"alder-air": 23.0})])
    picture.take(inbox)
    assert {v.topic.split("/")[3] for v in picture.changed()} == {"alder"}


def test_the_digest_and_the_start_are_the_houses() -> None:
    """Document and text are published as they are."""
    made = DigestMade(at(20), "2026-11-02", "All well", {"oak": {"lowest_c": 22.9}})
    shown = told(fresh(), Started(at(0), "0.1.0"), made)
    assert shown["house/run-started"] == "2026-11-02T08:00:00Z"
    assert shown["house/digest"] == '{"oak":{"lowest_c":22.9}}'
    assert shown["house/digest-text"] == "All well"


def test_a_digest_that_is_not_json_takes_nothing_else_with_it() -> None:
    """The rest of what came in is in the picture."""
    picture, inbox = fresh(), Inbox()
    inbox.put([DigestMade(at(20), "2026-11-02", "", {"c": float("nan")}), readings(20)])
    with pytest.raises(homie.HomieError):
        picture.take(inbox)
    assert told(picture)["alder/air-temperature"] == "23.5"


def test_what_belongs_to_nobody_is_passed_over() -> None:
    """A probe, a tub or an alarm that is not in the settings makes no topic of a node."""
    stray = alarm(10, AlarmState.UNACKNOWLEDGED, name="cold/rowan")
    shown = told(fresh(), readings(10, {"rowan-air": 20.0}), stray)
    assert not [topic for topic in shown if topic.startswith("rowan")]


def test_the_inbox_grows_with_the_house_and_not_with_time() -> None:
    """Two thousand cycles that nobody fetched are one reading for each probe: the newest."""
    inbox = Inbox()
    for cycle in range(2_000):
        inbox.put([readings(cycle), verdict(cycle, True, Reason.COASTING, cycle)])
    assert set(inbox.readings) == set(TEMPERATURES_C)
    assert {r.at.mono_s for r in inbox.readings.values()} == {1999.0}
    assert inbox.verdicts["oak"].operations == 1999


def test_alarms_and_verdicts_are_urgent_and_readings_are_not() -> None:
    """The inbox says what should not wait."""
    inbox = Inbox()
    assert not inbox.put([readings(10), refused(10, "oak-dry")])
    assert inbox.put([verdict(10, False, Reason.HELD)])
    assert inbox.put([alarm(10, AlarmState.UNACKNOWLEDGED)])


_event = st.one_of(
    st.builds(
        lambda s, name, c: readings(s, {name: c}),
        st.floats(0, 500),
        st.sampled_from(sorted(TEMPERATURES_C)),
        st.floats(-55, 125),
    ),
    st.builds(
        refused,
        st.floats(0, 500),
        st.sampled_from(sorted(TEMPERATURES_C)),
        st.sampled_from(list(Quality)[1:]),
    ),
    st.builds(verdict, st.floats(0, 500), st.booleans(), st.sampled_from(list(Reason)), st.integers(0, 10**9)),
    st.builds(alarm, st.floats(0, 500), st.sampled_from(list(AlarmState)), st.text(max_size=20)),
)


@given(st.lists(_event, max_size=20), st.sampled_from(list(Unit)))
def test_whatever_happens_a_strict_controller_takes_the_picture(events: Sequence[Event], unit: Unit) -> None:
    """Any sequence of events gives payloads that the convention's rules allow (validator of helpers_homie)."""
    device = shelf(unit=unit)
    picture, inbox = Picture(device, ROOT), Inbox()
    inbox.put(events)
    picture.take(inbox)
    held = {v.topic: v.payload for v in picture.all() if v.payload}
    held |= {f"{ROOT}/$state": b"ready", f"{ROOT}/$description": homie.description(device).encode()}
    assert refusals(held, "shelf-1") == []
