"""Every figure of a digest is that of pandas and NumPy over the raw rows of the record: tests/reckoned.py.

The heating that fails for 106 hours (tests/data/winter), New York's thermometers with their gaps (tests/data/weather),
and nights in which the clocks change, in three zones. A document rounds to a thousandth.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

import reckoned
from helpers_store import open_sink, refused, started
from matwarden.core.digest import night_digest
from matwarden.core.digest_document import to_document
from matwarden.events import Readings
from matwarden.night import night_so_far
from matwarden.settings import load
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import DATABASE
from matwarden.sinks.store_sums import sum_up
from matwarden.terms import AlarmTimes, At, Band, Enclosure, ProbeTerms, Quality, Reading, Role
from recorded_series import as_polls, new_york_c, new_york_hour
from winter import evidence
from winter.rehearse import DATA, TUBS, Winter, rehearse

LOW_C, HIGH_C, FRESH_S = (72.0 - 32.0) / 1.8, (82.0 - 32.0) / 1.8, 180.0
ZONE = "Europe/Amsterdam"
DAYS = 7
# Of each tub the air is silent for 40 minutes a day: gaps with refusals.
FAULTS = [(f"{tub}-air", 24.0 * day + 5.0 * n, 0.66) for day in range(DAYS) for n, tub in enumerate(TUBS)]


@pytest.fixture(scope="module")
def winter(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Winter]:
    """The first week of the recorded winter, read once a minute."""
    base = tmp_path_factory.mktemp("recomputed")
    rows = (DATA / "room.csv").read_text(encoding="utf-8").splitlines()[: DAYS * 24 + 2]
    (base / "room.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    text = (DATA / "winter.toml").read_text(encoding="utf-8")
    text = re.sub(r"\[alarms\]\n(.+\n)+", "[polling]\nevery_s = 60\nstale_after_s = 180\n", text)
    text = text.replace("step_s = 10\n", "step_s = 60\n").replace("days = 33\n", f"days = {DAYS}\n")
    for subject, at_h, for_h in FAULTS:
        text += f'\n[[fault]]\nkind = "probe-dead"\nsubject = "{subject}"\nat_h = {at_h}\nuntil_h = {at_h + for_h}\n'
    (base / "winter.toml").write_text(text, encoding="utf-8")
    yield rehearse(base / "run", file=base / "winter.toml")
    shutil.rmtree(base)


def windows(winter: Winter) -> list[tuple[dict[str, Any], float, float]]:
    """Each digest's document with the window it says."""
    found = [row.document for row in evidence.digests(winter.database)]
    assert len(found) == DAYS
    return [(document, reckoned.utc_s(document["from"]), reckoned.utc_s(document["to"])) for document in found]


def same_inside(told: dict[str, Any], expected: dict[str, Any]) -> None:
    """All of `inside`: extremes and spells with their times, shares, degree-hours, missing time."""
    for key in ("lowest", "highest"):
        assert (told[key]["value_c"], reckoned.utc_s(told[key]["at"])) == pytest.approx(expected[key], abs=1.0, rel=0)
        assert told[key]["value_c"] == pytest.approx(expected[key][0], abs=1e-3)
    for key in ("longest_cold", "longest_hot"):
        spell = told[key] and (reckoned.utc_s(told[key]["start"]), told[key]["lasts_s"])
        assert spell == (expected[key] and pytest.approx(expected[key], abs=1.0, rel=0))
    plain = [key for key in expected if key not in ("lowest", "highest", "longest_cold", "longest_hot")]
    assert {key: told[key] for key in plain} == pytest.approx({key: expected[key] for key in plain}, abs=2e-3)
    assert set(told) == set(expected)


def same_halves(told: dict[str, Any], expected: dict[str, tuple[float, float, float]]) -> None:
    """Night and day: lowest, mean, known time."""
    for name in ("night", "day"):
        half = told[name]
        if name not in expected:
            assert half == {"lowest": None, "mean_c": None, "known_s": 0.0}
        else:
            assert (half["lowest"]["value_c"], half["mean_c"], half["known_s"]) == (
                pytest.approx(expected[name], abs=2e-3)
            )


def test_the_failing_winters_temperatures(winter: Winter) -> None:
    """Of each tub on each of seven days: the inside, its halves and the extremes of every place."""
    series = evidence.series(winter.database)
    colds = missing = 0
    for document, from_s, to_s in windows(winter):
        for tub in document["enclosures"]:
            frame = reckoned.readings(series[f"{tub['id']}-air", "temperature"], from_s, to_s, FRESH_S)
            same_inside(tub["inside"], reckoned.inside(frame, from_s, to_s, FRESH_S, LOW_C, HIGH_C))
            same_halves(tub, reckoned.halves(frame, ZONE))
            for place in tub["climates"]:
                rows = series[f"{tub['id']}-{place['role']}", place["quantity"]]
                values = reckoned.readings(rows, from_s, to_s, FRESH_S).v
                unit = "c" if place["quantity"] == "temperature" else "pct"
                found = (place["lowest"][f"value_{unit}"], place["highest"][f"value_{unit}"])
                assert found == pytest.approx((values.min(), values.max()), abs=1e-3)
            colds += tub["inside"]["longest_cold"] is not None
            missing += tub["inside"]["missing_s"] > 0.0
    assert (colds > 4, missing > 20) == (True, True)


def test_the_failing_winters_heat(winter: Winter) -> None:
    """Share of heat, relay operations and life from the verdicts; captures missing of those that were due."""
    told = 0
    for document, from_s, to_s in windows(winter):
        for tub in document["enclosures"]:
            verdicts = reckoned.verdicts(winter.database, tub["id"])
            share, operations, life = reckoned.heat(verdicts, from_s, to_s)
            heat = tub["heat"]
            assert heat["allowed_share"] == pytest.approx(share, abs=1e-3)
            assert (heat["operations"], heat["relay"]["operations"]) == (operations, life)
            assert heat["relay"]["used_share"] == pytest.approx(life / heat["relay"]["rated_operations"], abs=1e-5)
            if operations and to_s - from_s >= 6 * 3600.0:
                left = (heat["relay"]["rated_operations"] - life) / operations * (to_s - from_s) / 86400.0 / 365.25
                assert heat["relay"]["left_years"] == pytest.approx(left, rel=1e-4)
            for probe in tub["unread"]:
                found = reckoned.unread(winter.database, probe["probe"], from_s, to_s)
                assert (probe["missing"], probe["doubtful"]) == found
                assert probe["due"] == round((to_s - from_s) / 60.0)
                assert probe["unread_share"] == pytest.approx(sum(found) / probe["due"], abs=1e-3)
                told += 1
    assert told >= DAYS * len(TUBS) - 2


def test_the_failing_winters_reserve(winter: Winter) -> None:
    """The room's coldest six hours, the air's rise in them, and what the mat had left: in the failure nothing."""
    series = evidence.series(winter.database)
    spares: list[float] = []
    fulls: list[float] = []
    for document, from_s, to_s in windows(winter):
        room = reckoned.readings(series["room", "temperature"], from_s, to_s, FRESH_S)
        for tub in document["enclosures"]:
            air = reckoned.readings(series[f"{tub['id']}-air", "temperature"], from_s, to_s, FRESH_S)
            verdicts = reckoned.verdicts(winter.database, tub["id"])
            expected = reckoned.reserve(room, air, verdicts, from_s, to_s)
            told = tub["heat"]["reserve"]
            assert (told is None) == (expected is None)
            if expected is not None:
                found = (told["from_s"], told["room_c"], told["rise_k"], told["heat_share"])
                assert found == pytest.approx(expected, abs=2e-3)
                if told["spare_k"] is not None:
                    assert told["spare_k"] == pytest.approx(expected[2] / expected[3] - expected[2], abs=2e-3)
                    spares.append(told["spare_k"])
                    fulls.append(told["spare_k"] + told["rise_k"])
                else:
                    assert not 0.15 <= expected[3] <= 0.98
    assert len(spares) > 4
    # The tubs' own physics (winter.toml): at full heat their air settles 5.9 to 6.1 K above the room.
    assert (min(fulls), max(fulls)) == pytest.approx((6.0, 6.0), abs=0.4)


def test_the_failing_winters_last_night_against_the_days_before_it(winter: Winter) -> None:
    """Of each tub the days' lowest, mean, share in band, degree-hours and heat, summed by the program, by pandas."""
    settings = load(winter.out.parent / "winter.toml")
    settings = replace(settings, store=replace(settings.store, directory=winter.out))
    zone = ZoneInfo(ZONE)
    sum_up(winter.out, zone, settings.enclosures, settings.room_probes)
    _, document = night_so_far(settings)
    series = evidence.series(winter.database)
    # The run begins at 01:00 on the 23rd; this night on the 29th at 08:00: six days, the first an hour short.
    starts = [datetime(2019, 12, day, tzinfo=zone).timestamp() for day in range(23, 30)]
    for tub in document["enclosures"]:
        verdicts = reckoned.verdicts(winter.database, tub["id"])
        rows = series[f"{tub['id']}-air", "temperature"]
        week = tub["against"][0]
        days = [reckoned.readings(rows, a, b, FRESH_S) for a, b in pairwise(starts)]
        every = pd.concat(days)
        usual = {
            "lowest_c": sum(day.v.min() for day in days) / len(days),
            "mean_c": float((every.v * every.dt).sum() / every.dt.sum()),
            "in_band_share": float(every.dt[every.v.between(LOW_C, HIGH_C)].sum() / every.dt.sum()),
            "below_kh": float(((LOW_C - every.v).clip(lower=0.0) * every.dt).sum() / 3600 / every.dt.sum() * 86400.0),
            "heat_share": sum(reckoned.heat(verdicts, a, b)[0] * (b - a) for a, b in pairwise(starts)) / every.dt.sum(),
        }
        told = {key: week["usual_per_day"][key] for key in usual}
        assert (week["days"], week["of_days"]) == (6, 7)
        assert told == pytest.approx(usual, abs=0.01)
        assert week["less_usual"]["lowest_k"] == pytest.approx(
            tub["inside"]["lowest"]["value_c"] - usual["lowest_c"], abs=0.01
        )
        assert week["less_usual"]["heat_share"] == pytest.approx(
            tub["heat"]["allowed_share"] - usual["heat_share"], abs=0.01
        )


AIR = ProbeTerms("oak-air", Role.AIR, "oak", None, 300.0, 150.0, 900.0, 3.0, 0.0)
OAK = Enclosure("oak", "Oak", Band(5.0, 15.0), (AIR,), None, AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5))


def store_of(directory: Path, polls: list[float | None], start_wall_s: float) -> Path:
    """A record of these polls, five minutes apart, as the daemon writes it."""
    sink = open_sink(directory, commit_every_s=1e6)
    sink.accept([started(At(0.0, start_wall_s))])
    for n, value_c in enumerate(polls, 1):
        now = At(300.0 * n, start_wall_s + 300.0 * n)
        if value_c is None:
            sink.accept([refused(now, "oak-air", Quality.MISSING, "the record has no value here")])
        else:
            sink.accept([Readings(now, (Reading("oak-air", now, value_c, None),))])
    sink.close()
    return directory


def document_of(directory: Path, zone: str) -> tuple[dict[str, Any], float, float]:
    """The digest of everything in the record."""
    recorded = Recorded(directory)
    window = recorded.window(None, recorded.mark())
    document = to_document(night_digest("2026-01-15", zone, window, (OAK,), (), ()))
    return document, reckoned.utc_s(document["from"]), reckoned.utc_s(document["to"])


def same_oak(directory: Path, zone: str) -> dict[str, Any]:
    document, from_s, to_s = document_of(directory, zone)
    oak: dict[str, Any] = document["enclosures"][0]
    rows = evidence.series(directory / DATABASE)["oak-air", "temperature"]
    frame = reckoned.readings(rows, from_s, to_s, 900.0)
    same_inside(oak["inside"], reckoned.inside(frame, from_s, to_s, 900.0, 5.0, 15.0))
    same_halves(oak, reckoned.halves(frame, zone))
    return oak


@pytest.mark.parametrize("station", ["EWR", "JFK", "LGA"])
def test_new_york_with_its_gaps(station: str, tmp_path: Path) -> None:
    """A month with gaps: every one of them is missing time, and each missing poll is counted."""
    first = new_york_hour("2013-09-20T00Z") if station == "JFK" else new_york_hour("2013-08-15T00Z")
    polls = list(as_polls(new_york_c(station)[first : first + 45 * 24], OAK.band).polls)
    oak = same_oak(store_of(tmp_path, polls, datetime.fromisoformat("2013-08-15T00:00:00Z").timestamp()), ZONE)
    missing = polls.count(None)
    assert missing > 0
    assert [each["missing"] for each in oak["unread"]] == [missing]
    assert oak["unread"][0]["unread_share"] == pytest.approx(missing / len(polls), abs=1e-3)
    assert oak["inside"]["missing_s"] > 0.0


# From 08:00 of a day to 08:00 of the next, between which the clocks change: IANA time zone database 2025b.
NIGHTS = [
    ("Europe/Amsterdam", "2026-03-28T08:00+01:00", 23.0),
    ("Europe/Amsterdam", "2026-10-24T08:00+02:00", 25.0),
    ("America/New_York", "2026-03-07T08:00-05:00", 23.0),
    ("America/New_York", "2026-10-31T08:00-04:00", 25.0),
    ("Australia/Sydney", "2026-10-03T08:00+10:00", 23.0),
    ("Australia/Sydney", "2026-04-04T08:00+11:00", 25.0),
    ("Australia/Lord_Howe", "2026-04-04T08:00+11:00", 24.5),
]


@pytest.mark.parametrize(("zone", "start", "hours"), NIGHTS)
def test_a_night_in_which_the_clocks_change(zone: str, start: str, hours: float, tmp_path: Path) -> None:
    """It lasts 23, 24.5 or 25 hours, the night of it an hour (or half) less or more than twelve; no figure is off."""
    start_s = datetime.fromisoformat(start).timestamp()
    polls = list(as_polls(new_york_c("EWR")[2000:2030], OAK.band).polls)[: round(hours * 12)]
    assert None not in polls
    oak = same_oak(store_of(tmp_path, polls, start_s), zone)
    assert oak["inside"]["missing_s"] == 0.0
    assert oak["night"]["known_s"] == pytest.approx((hours - 12.0) * 3600.0)
    assert oak["day"]["known_s"] == pytest.approx(12 * 3600.0, abs=300.0)
