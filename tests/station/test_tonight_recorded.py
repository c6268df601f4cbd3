"""The coming night in the digests of a recorded month: expected, kept, scored by what came, and told once earned."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pandas as pd
import pytest

from helpers_station import MAT, house
from matwarden.events import DigestMade, Flush, Readings, Started
from matwarden.night import kept_night, night_so_far
from matwarden.night_child import summed_night
from matwarden.settings.resolved import Settings
from matwarden.sinks.store import StoreSink, open_store
from matwarden.terms import At, Band, Reading, Unit
from recorded_series import building_c
from winter import evidence

START_S = datetime(2019, 12, 23, tzinfo=UTC).timestamp()
POLL_S = 120.0
ROOM_PROBE = '[[probe]]\nid = "room"\nrole = "room"\ndriver = "twin"\n'
# From the tenth to the thirteenth nobody recorded anything: the machine was off.
OFF_DAYS = (17, 18, 19)


def _polls(day: int) -> Iterator[tuple[float, float]]:
    """Time and value of each poll from eight o'clock of the day before to eight o'clock."""
    return _between(max(0, day * 24 - 16), day * 24 + 8)


def _between(first_h: int, last_h: int) -> Iterator[tuple[float, float]]:
    hours = building_c()
    for n in range(first_h * 30, last_h * 30):
        hour, part = divmod(n, 30)
        yield n * POLL_S, round((hours[hour] + (hours[hour + 1] - hours[hour]) * part / 30) * 16) / 16


@pytest.fixture(scope="module")
def month(tmp_path_factory: pytest.TempPathFactory) -> tuple[Settings, dict[str, dict[str, Any]], dict[str, str]]:
    """A building's month as the room and as an unheated tub, with a digest each morning: documents and texts."""
    settings = house(tmp_path_factory.mktemp("month"), heated=(), unheated=("rowan",), step_s=POLL_S, more=ROOM_PROBE)
    settings = replace(settings, zone="UTC", unit=Unit.C)
    (tub,) = settings.enclosures
    air = tub.probes[0].id
    sink = StoreSink(open_store(settings.store.directory, START_S, power_safe=False), 1e9)
    sink.accept([Started(At(0.0, START_S), "0.1.0")])
    documents, texts = {}, {}

    def read(polls: Iterator[tuple[float, float]]) -> None:
        for mono_s, value_c in polls:
            now = At(mono_s, START_S + mono_s)
            sink.accept([Readings(now, (Reading("room", now, value_c, None), Reading(air, now, value_c + 1.0, None)))])

    for day in range(1, 32):
        if day in OFF_DAYS:
            continue
        read(_polls(day))
        made_at = At(day * 86400.0 + 8 * 3600.0, START_S + day * 86400.0 + 8 * 3600.0)
        date = datetime.fromtimestamp(made_at.wall_s, UTC).date().isoformat()
        sink.accept([Flush(made_at)])
        made = summed_night(settings, date)
        documents[date], texts[date] = json.loads(json.dumps(made.document)), made.text
        sink.accept([DigestMade(made_at, made.date, made.text, made.document), Flush(made_at)])
    # The day after the last digest, so that there is a night so far.
    read(_polls(32))
    sink.close()
    return settings, documents, texts


Month = tuple[Settings, dict[str, dict[str, Any]], dict[str, str]]


def test_every_night_that_was_expected_and_recorded_is_scored_by_what_came(month: Month) -> None:
    """Each once, the morning after, its lowest the one of pandas over the readings of 20:00 to 08:00."""
    settings, documents, _ = month
    rows = evidence.series(settings.store.directory / "matwarden.db")
    expected: dict[tuple[str, str], dict[str, Any]] = {}
    scored: dict[tuple[str, str], dict[str, Any]] = {}
    for document in documents.values():
        tonight = document["tonight"]
        for each in tonight["scored"]:
            assert (each["place"], each["night"]) not in scored
            scored[each["place"], each["night"]] = each
        for place in tonight["places"]:
            expected[place["place"], tonight["night"]] = place
    assert len(scored) > 25
    for (place, night), each in scored.items():
        probe = "room" if place == "(room)" else "rowan-air"
        frame = pd.DataFrame(rows[probe, "temperature"], columns=["t", "v"])
        evening = pd.Timestamp(f"{night}T20:00:00Z").timestamp()
        came_c = frame.v[(frame.t >= evening) & (frame.t < evening + 12 * 3600.0)].min()
        assert each["came_c"] == pytest.approx(came_c, abs=1e-3)
        told = expected[place, night]
        assert [each[name] for name in ("low_c", "high_c")] == [told["low_c"], told["high_c"]]
        assert each["held"] is bool(told["low_c"] <= came_c <= told["high_c"])
    newest = max(documents)
    missing = {night for place, night in expected if (place, night) not in scored and night < newest}
    # What was expected on the last morning before the machine was off: nobody read that night.
    assert missing == {"2020-01-08"}


def test_it_is_silent_until_it_has_earned_it_and_then_says_how_often_it_was_right(month: Month) -> None:
    """No line before fourteen scored nights; afterwards one, of the room, with the count that the scores give."""
    _, documents, texts = month
    seen: list[bool] = []
    told = 0
    for date, document in documents.items():
        seen += [each["held"] for each in document["tonight"]["scored"] if each["place"] == "(room)"]
        lines = [line for line in texts[date].splitlines() if line.startswith("Tonight")]
        room = [each for each in document["tonight"]["places"] if each["place"] == "(room)"]
        if room:
            assert (room[0]["held"], room[0]["nights"]) == (sum(seen[-28:]), len(seen[-28:]))
        if len(seen) < 14:
            assert lines == []
        elif lines:
            told += 1
            low, high = room[0]["low_c"], room[0]["high_c"]
            assert lines[0].startswith(f"Tonight, 20:00 to 08:00, lowest: room {low:.1f} to {high:.1f} °C")
    assert told >= 3


def test_a_tub_is_named_only_where_it_may_fall_under_its_band(month: Month) -> None:
    """The unheated tub, with a band from 15 °C: not named at 18 °C; with one from 25 °C it is."""
    settings, documents, texts = month
    last = max(texts)
    assert "Rowan" in next(line for line in texts[last].splitlines() if line.startswith("Tonight"))
    low = replace(settings, enclosures=tuple(replace(e, band=Band(10.0, 27.8)) for e in settings.enclosures))
    text, _ = night_so_far(low)
    assert "Rowan" not in next(line for line in text.splitlines() if line.startswith("Tonight"))


def test_what_was_kept_is_what_was_told(month: Month) -> None:
    """The store's document has the same forecast."""
    settings, documents, _ = month
    last = max(documents)
    kept = kept_night(settings, last)
    assert kept is not None
    assert kept[1]["tonight"] == documents[last]["tonight"]


def test_a_commissioned_tub_with_a_mat_has_an_interval_from_the_room_and_the_mat(month: Month) -> None:
    """The same tub, given both: under its band by as much as the room is under the coldest one that the mat holds."""
    settings, _, _ = month
    (tub,) = settings.enclosures
    _, before = night_so_far(replace(settings, enclosures=(replace(tub, mat=MAT),)))
    assert [each["place"] for each in before["tonight"]["places"]] == ["(room)"]

    home = settings.store.directory / "commissioned" / "rowan" / "2020-01-01T000000Z"
    home.mkdir(parents=True)
    found = {"band_c": [22.2, 27.8], "findings": {"coldest_room": {"low": 29.9, "high": 30.1}}}
    (home / "tub.json").write_text(json.dumps(found), encoding="utf-8")
    try:
        _, after = night_so_far(replace(settings, enclosures=(replace(tub, mat=MAT),)))
    finally:
        shutil.rmtree(home.parents[1])
    room, rowan = after["tonight"]["places"]
    assert rowan["low_c"] == pytest.approx(22.2 + room["low_c"] - 30.1, abs=0.11)
    assert rowan["high_c"] == pytest.approx(22.2 + room["high_c"] - 29.9, abs=0.11)
