"""What the digest says of a night whose every value was chosen."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from digest_examples import (
    HEAT,
    HOUR_S,
    LENGTH_S,
    OAK,
    START_S,
    cold_spell,
    digest_of,
    line,
    probe,
    steady,
)
from matwarden.core.digest import Climate, HeatUse, Unread, alarms_of, night_digest
from matwarden.core.digest_document import to_document
from matwarden.core.exposure import Extreme, Spell
from matwarden.core.record import AlarmLine, Point, RefusalCount, Window
from matwarden.terms import AlarmState, Quantity, Role, Side

S = AlarmState
AIR = ("oak-air", Quantity.TEMPERATURE)


def test_every_place_has_its_extremes_with_their_times() -> None:
    """Air and humidity of the moist side, the wall, the substrate: each lowest and highest, first time read."""
    oak = digest_of({AIR: cold_spell(21.0, 2 * HOUR_S, 3 * HOUR_S)}).enclosures[0]
    assert oak.climates[0] == Climate(
        Role.AIR, Side.MOIST, Quantity.TEMPERATURE, Extreme(21.0, START_S + 2 * HOUR_S), Extreme(24.0, START_S)
    )
    assert [(each.role, each.quantity) for each in oak.climates[1:]] == [
        (Role.WALL, Quantity.TEMPERATURE),
        (Role.SUBSTRATE, Quantity.TEMPERATURE),
        (Role.AIR, Quantity.HUMIDITY),
    ]


def test_exposure_is_of_the_inside_temperature() -> None:
    """Six cold hours of 24 at 2.2 K under the band: three quarters in band, 13.2 K.h, one spell."""
    oak = digest_of({AIR: cold_spell(20.0, 2 * HOUR_S, 8 * HOUR_S)}).enclosures[0]
    assert oak.in_band_share == 0.75
    assert oak.inside.below_kh == pytest.approx(6 * 2.2)
    assert oak.inside.longest_below == Spell(START_S + 2 * HOUR_S, 6 * HOUR_S)


def test_of_two_air_probes_the_cold_one_tells_cold_and_the_hot_one_heat() -> None:
    """One side at 21 C and the other at 29 C: the tub is below its band and above it at the same time."""
    both = replace(OAK, probes=(probe("left", Role.AIR, "oak", Side.MOIST), probe("right", Role.AIR, "oak", Side.DRY)))
    series = {("left", Quantity.TEMPERATURE): steady(21.0), ("right", Quantity.TEMPERATURE): steady(29.0)}
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, series, (), (), (), 0, ())
    night = night_digest("2026-01-15", "Europe/Amsterdam", window, (both,), (), ()).enclosures[0]
    assert (night.inside.below_s, night.inside.above_s, night.inside.in_band_s) == (LENGTH_S, LENGTH_S, 0.0)
    assert [each.side for each in night.climates] == [Side.MOIST, Side.DRY]


def test_of_two_air_probes_missing_time_is_when_both_are_silent() -> None:
    """One dies at hour 12 and the other at hour 18: six hours (a held minute less) are missing, the rest is in band."""
    both = replace(OAK, probes=(probe("left", Role.AIR, "oak"), probe("right", Role.AIR, "oak")))
    left, right = steady(24.0, 0.0, 12 * HOUR_S), steady(25.0, 0.0, 18 * HOUR_S)
    series = {("left", Quantity.TEMPERATURE): left, ("right", Quantity.TEMPERATURE): right}
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, series, (), (), (), 0, ())
    night = night_digest("2026-01-15", "Europe/Amsterdam", window, (both,), (), ()).enclosures[0]
    assert night.inside.missing_s == 6 * HOUR_S - 50.0
    assert night.inside.in_band_s == 18 * HOUR_S + 50.0
    assert night.inside.mean == pytest.approx((24.5 * 12 + 25.0 * 6) / 18, abs=1e-3)


def test_time_above_the_band_counts_as_read() -> None:
    """A quarter of the night too hot leaves three quarters in band."""
    hot = [*steady(24.0, 0.0, 18 * HOUR_S), *steady(29.0, 18 * HOUR_S)]
    assert digest_of({AIR: hot}).enclosures[0].in_band_share == 0.75


def test_heat_is_the_share_of_time_it_was_allowed_and_the_switchings_in_the_window() -> None:
    """Allowed for six of 24 hours, operations from 40 to 42; a tub without a mat has no heat line."""
    digest = digest_of()
    assert digest.enclosures[0].heat == HeatUse(0.25, 2)
    assert digest.enclosures[1].heat is None


def test_heat_that_stays_allowed_counts_to_the_end() -> None:
    """The state in force at the window's end lasts until there."""
    window = Window(0.0, LENGTH_S, START_S, START_S + LENGTH_S, {}, HEAT[:2], (), (), 0, ())
    night = night_digest("2026-01-15", "UTC", window, (OAK,), (), ()).enclosures[0]
    assert night.heat == HeatUse(0.75, 1)


def test_what_could_not_be_read_is_counted_per_probe() -> None:
    """Refusals go to the tub of their probe, and those of the room to the room."""
    counts = [RefusalCount("oak-air", 3, 1, "bad checksum"), RefusalCount("room", 2, 0, "gone")]
    digest = digest_of(refusals=counts)
    assert digest.enclosures[0].unread == (Unread("oak-air", 3, 1, "bad checksum", 8640),)
    assert digest.room_unread == (Unread("room", 2, 0, "gone", 8640),)
    assert digest.enclosures[1].unread == ()


def test_a_silent_probe_is_missing_time_and_not_a_value() -> None:
    """Silent for the last four hours: a minute is held, the rest is missing, and the share is of what was read."""
    rowan = digest_of({("rowan-air", Quantity.TEMPERATURE): steady(25.0, 0.0, 20 * HOUR_S)}).enclosures[1]
    assert rowan.inside.missing_s == 4 * HOUR_S - 50.0
    assert rowan.in_band_share == 1.0


@pytest.mark.parametrize(("first_s", "missing_s"), [(0.0, 0.0), (9.0, 0.0), (60.0, 0.0), (61.0, 61.0), (900.0, 900.0)])
def test_the_wait_for_the_first_reading_is_missing_only_when_it_is_long(first_s: float, missing_s: float) -> None:
    """Stale is 60 s: up to there nothing was missed at the start, and nothing is made up for it either."""
    points = [Point(first_s + n * 10.0, START_S + first_s + n * 10.0, 25.0) for n in range(1000)]
    window = Window(0.0, first_s + 10_000.0, START_S, 0.0, {AIR: points}, (), (), (), 0, ())
    inside = night_digest("2026-01-15", "UTC", window, (OAK,), (), ()).enclosures[0].inside
    assert (inside.missing_s, inside.in_band_s) == (missing_s, 10_000.0)


def test_with_two_probes_the_wait_is_that_for_the_first_of_them() -> None:
    """One answers after 5 s and the other after an hour: the tub is read from the 5 s on."""
    both = replace(OAK, probes=(probe("left", Role.AIR, "oak"), probe("right", Role.AIR, "oak")))
    left = [Point(5.0 + n * 10.0, START_S, 24.0) for n in range(720)]
    right = [point for point in left if point.elapsed_s >= HOUR_S]
    series = {("left", Quantity.TEMPERATURE): left, ("right", Quantity.TEMPERATURE): right}
    window = Window(0.0, 7205.0, START_S, 0.0, series, (), (), (), 0, ())
    inside = night_digest("2026-01-15", "UTC", window, (both,), (), ()).enclosures[0].inside
    assert (inside.missing_s, inside.in_band_s) == (0.0, 7200.0)


def test_a_night_without_any_reading_says_that_nothing_is_known() -> None:
    """No extreme, no share, no heat: None everywhere, and the whole window missing."""
    window = Window(0.0, 100.0, 0.0, 100.0, {}, (), (), (), 0, ())
    night = night_digest("2026-01-15", "UTC", window, (OAK,), (), ()).enclosures[0]
    assert (night.inside.lowest, night.inside.mean, night.in_band_share) == (None, None, None)
    assert night.heat == HeatUse(None, 0)
    assert night.inside.missing_s == 100.0


def test_alarms_are_told_as_started_returned_and_standing() -> None:
    """Each goes to its tub, those of no tub to the house."""
    cold, blind = line("cold/oak", HOUR_S, S.UNACKNOWLEDGED), line("blind/oak", 2 * HOUR_S, S.UNACKNOWLEDGED)
    over = line("cold/oak", 5 * HOUR_S, S.NORMAL, 4 * HOUR_S)
    room = line("blind-probe/room", HOUR_S, S.UNACKNOWLEDGED, enclosure=None)
    digest = digest_of(alarms=[cold, room, blind, over], standing=[blind, room])
    oak = digest.enclosures[0]
    assert (oak.started, oak.returned, oak.standing) == ((cold, blind), (over,), (blind,))
    assert (digest.started, digest.returned, digest.standing) == ((room,), (), (room,))


@pytest.mark.parametrize("state", [S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE, S.RETURNED_UNACKNOWLEDGED])
def test_an_alarm_that_is_not_shown_as_active_is_not_still_on(state: AlarmState) -> None:
    """A suppressed follower of a blind tub must not make it two alarms."""
    assert digest_of(standing=[line("blind-probe/oak-air", HOUR_S, state)]).enclosures[0].standing == ()


@pytest.mark.parametrize(
    ("previous", "state", "kind"),
    [
        (S.NORMAL, S.UNACKNOWLEDGED, "started"),
        (S.SUPPRESSED, S.UNACKNOWLEDGED, "started"),
        (S.UNACKNOWLEDGED, S.NORMAL, "returned"),
        (S.ACKNOWLEDGED, S.NORMAL, "returned"),
        (S.ACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED, "returned"),
        (S.UNACKNOWLEDGED, S.ACKNOWLEDGED, "neither"),
        (S.UNACKNOWLEDGED, S.SUPPRESSED, "neither"),
        (S.SUPPRESSED, S.NORMAL, "neither"),
        (S.RETURNED_UNACKNOWLEDGED, S.NORMAL, "neither"),
    ],
)
def test_which_transitions_are_starts_and_returns(previous: AlarmState, state: AlarmState, kind: str) -> None:
    """A start announces, a return ends what was shown as active; the rest is neither."""
    change = AlarmLine(0.0, 0.0, "cold/oak", "oak", previous, state, "", 0.0)
    started, returned = alarms_of([change])
    assert (bool(started), bool(returned)) == (kind == "started", kind == "returned")


class TestDocument:
    DIGEST = digest_of(
        {AIR: cold_spell(21.0, 2 * HOUR_S, 3 * HOUR_S)},
        alarms=[line("cold/oak", 3 * HOUR_S, S.UNACKNOWLEDGED)],
        refusals=[RefusalCount("oak-air", 3, 1, "bad checksum")],
        restarts=1,
        clock_steps=(-3600.0,),
    )

    def test_it_is_json_and_says_the_window_in_utc(self) -> None:
        """08:00 to 08:00 in Amsterdam in winter is 07:00Z to 07:00Z; the zone is named beside it."""
        document = json.loads(json.dumps(to_document(self.DIGEST), allow_nan=False))
        assert (document["from"], document["to"]) == ("2026-01-14T07:00:00Z", "2026-01-15T07:00:00Z")
        assert (document["date"], document["zone"]) == ("2026-01-15", "Europe/Amsterdam")

    def test_every_instant_is_rfc_3339_in_utc(self) -> None:
        """Whatever stands under `at`, `from`, `to` or `start` follows the grammar of RFC 3339 section 5.6, with Z."""
        instants = [value for key, value in leaves(to_document(self.DIGEST)) if key in {"at", "from", "to", "start"}]
        assert len(instants) > 10
        assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", instant) for instant in instants)

    def test_every_number_with_a_unit_has_it_in_its_name(self) -> None:
        """What is not a bare count ends in its SI unit or is a share."""
        counts = {"restarts", "missing", "doubtful", "due", "operations", "rated_operations", "days", "of_days"}
        numbers = {key for key, value in leaves(to_document(self.DIGEST)) if isinstance(value, (int, float))}
        assert {
            key
            for key in numbers - counts
            if not key.endswith(("_s", "_c", "_k", "_years", "_pct", "_kh", "_kpa", "_share"))
        } == set()

    def test_its_alarms_are_those_of_the_whole_house(self) -> None:
        """Tubs' and the house's in the order they came, each with its tub; and each tub's own with the tub."""
        cold = line("cold/oak", 3 * HOUR_S, S.UNACKNOWLEDGED)
        silent = line("blind/rowan", 2 * HOUR_S, S.UNACKNOWLEDGED, enclosure="rowan")
        power = line("power-lost/house", HOUR_S, S.UNACKNOWLEDGED, enclosure=None)
        document = to_document(digest_of(alarms=[power, silent, cold], standing=[silent]))
        told = [(each["alarm"], each["enclosure"]) for each in document["alarms"]["started"]]
        assert told == [("power-lost/house", None), ("blind/rowan", "rowan"), ("cold/oak", "oak")]
        assert [each["alarm"] for each in document["alarms"]["standing"]] == ["blind/rowan"]
        assert [each["alarm"] for each in document["enclosures"][0]["alarms"]["started"]] == ["cold/oak"]

    def test_the_values_of_a_tub(self) -> None:
        """An hour at 1.2 K under the band is told as 3600 s and 1.2 K.h."""
        inside = to_document(self.DIGEST)["enclosures"][0]["inside"]
        assert (inside["below_s"], inside["below_kh"]) == (3600.0, 1.2)
        assert inside["longest_cold"] == {"start": "2026-01-14T09:00:00Z", "lasts_s": 3600.0}
        assert inside["lowest"] == {"value_c": 21.0, "at": "2026-01-14T09:00:00Z"}


def leaves(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a document that is no container, with the key it stands under."""
    if isinstance(value, dict):
        for name, each in value.items():
            yield from leaves(each, name)
    elif isinstance(value, list):
        for each in value:
            yield from leaves(each, key)
    else:
        yield key, value


def test_the_series_of_other_tubs_do_not_matter() -> None:
    """A tub's part of the digest is the same whatever its neighbours did."""
    strange = {("rowan-air", Quantity.TEMPERATURE): steady(5.0)}
    assert digest_of(strange).enclosures[0] == digest_of().enclosures[0]
    assert digest_of(strange).enclosures[1] != digest_of().enclosures[1]
