"""Recorded years through the real station: its pushes are those that the raw series call for, and no others.

How the series are fed, and why so: tests/recorded_series.py. Sources: tests/data/weather/README.md.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import pytest

from matwarden.events import Event, Refused
from matwarden.terms import Band, Quality
from recorded_series import (
    POLL_S,
    START_S,
    Course,
    as_polls,
    house_c,
    new_york_c,
    new_york_hour,
    pushed,
    run,
    typical_c,
)
from recorded_timeline import blind_timeline, cold_timeline, hot_timeline

_FALSE_HOUR = new_york_hour("2013-05-09T02:00Z")
# Wide enough that nine tenths of the year and more lie inside.
_OUTDOORS = Band(-4.5, 30.0)


class Year:
    """What was fed, and what was told."""

    def __init__(self, courses: Mapping[str, Course]) -> None:
        self.courses = courses
        self.told: Sequence[Event] = run(courses)


@pytest.fixture(scope="module")
def new_york() -> Year:
    """Three thermometers with their gaps; JFK with its false reading."""
    stations = {"ewr": [], "jfk": [_FALSE_HOUR], "lga": list[int]()}
    return Year({name: as_polls(new_york_c(name.upper()), _OUTDOORS, false) for name, false in stations.items()})


@pytest.fixture(scope="module")
def typical() -> Year:
    """Two typical years through an unheated house."""
    sand_point, greensboro = (house_c(typical_c(station), gain_k=4.0) for station in ("703165", "723170"))
    return Year({"alder": as_polls(sand_point, Band(0.5, 16.5)), "hazel": as_polls(greensboro, Band(1.5, 30.5))})


@pytest.fixture(params=["new_york", "typical"])
def year(request: pytest.FixtureRequest) -> Year:
    """Each of them."""
    found: Year = request.getfixturevalue(request.param)
    return found


def test_pushes_come_when_the_raw_series_say_so(year: Year) -> None:
    """Start, second call, second targets and return of cold and hot: those of an independent reckoning, to one poll."""
    for name, course in year.courses.items():
        told = pushed(year.told, name)
        for condition, due in {
            "cold": cold_timeline(course.polls, course.false, POLL_S, course.band.low_c),
            "hot": hot_timeline(course.polls, course.false, POLL_S, course.band.high_c),
            "blind": blind_timeline(course.polls, course.false, POLL_S),
        }.items():
            _same(told.get(condition, []), due, f"{condition} {name}")
        assert len(told["cold"]) > 20 or len(told["hot"]) > 20
        assert set(told) <= {"cold", "hot", "blind"}


def test_nothing_rings_while_the_true_temperature_is_in_band(year: Year) -> None:
    """At each call about cold or heat the true temperature is out of band."""
    for name, course in year.courses.items():
        assert sum(_is_out(course, n, 0.0) for n in range(len(course.polls))) < 0.12 * len(course.polls)
        for condition in ("cold", "hot"):
            told = [(round(at_s / POLL_S), what) for at_s, what in pushed(year.told, name).get(condition, [])]
            assert all(_is_out(course, n, 0.0) for n, what in told if what != "returns")


def test_each_gap_is_told_as_one(new_york: Year) -> None:
    """A thermometer that is silent for an hour and more: no reading, once a gap, and its return."""
    for name, course in new_york.courses.items():
        hours = [course.polls[n] for n in range(0, len(course.polls), round(3600 / POLL_S))]
        gaps = sum(before is not None and after is None for before, after in zip(hours, hours[1:], strict=False))
        told = [what for _, what in pushed(new_york.told, name)["blind"]]
        assert told.count("starts") == told.count("returns") == gaps > 10


def test_the_false_reading_at_jfk_rings_nothing(new_york: Year) -> None:
    """13.10 F between 57.02 and 57.20 F is refused for its rate, and no push is asked within a day around it."""
    false_s = _FALSE_HOUR * 3600.0
    refused = [e for e in new_york.told if isinstance(e, Refused) and e.quality is Quality.DOUBTFUL]
    assert [(e.probe, e.at.mono_s - START_S) for e in refused] == [("jfk-air", false_s)]
    assert "jumped" in refused[0].why
    told = [at_s for moments in pushed(new_york.told, "jfk").values() for at_s, _ in moments]
    assert [at_s for at_s in told if abs(at_s - false_s) < 86400.0] == []


def _held(polls: Sequence[float | None], at: int, samples: int) -> list[float | None]:
    return [*polls[:at], *[polls[at]] * samples, *polls[at + samples :]]


@pytest.mark.parametrize(("samples", "rings"), [(1, False), (2, False), (8, True)])
def test_a_false_value_is_believed_when_it_stays(new_york: Year, samples: int, rings: bool) -> None:
    """One or two samples of it are no temperature; half an hour of it is a moved probe, and far out: that rings."""
    jfk = new_york.courses["jfk"]
    at = next(iter(jfk.false))
    day = slice(at - 100, at + 100)
    course = Course(_held(jfk.polls, at, samples)[day], jfk.band)
    assert ("cold" in pushed(run({"jfk": course}), "jfk")) is rings


_BREAKS: dict[str, Callable[[Course], Course]] = {
    "a band that is 0.3 K narrower": lambda c: replace(c, band=Band(c.band.low_c + 0.3, c.band.high_c - 0.3)),
    "an hour left out": lambda c: replace(c, polls=[*c.polls[:5000], *c.polls[5012:]]),
}


@pytest.mark.parametrize("break_", _BREAKS.values(), ids=_BREAKS.keys())
def test_the_reckoning_would_see_a_difference(new_york: Year, break_: Callable[[Course], Course]) -> None:
    """The comparison above is no formality: with another band, or an hour shifted, it fails."""
    broken = break_(new_york.courses["lga"])
    due = hot_timeline(broken.polls, broken.false, POLL_S, broken.band.high_c)
    with pytest.raises(AssertionError):
        _same(pushed(new_york.told, "lga")["hot"], due, "hot lga")


def _same(told: Sequence[tuple[float, str]], due: Sequence[tuple[float, str]], which: str) -> None:
    assert [what for _, what in told] == [what for _, what in due], which
    late = [(a, b) for a, b in zip(told, due, strict=True) if abs(a[0] - b[0]) > POLL_S]
    assert late == [], which


def _is_out(course: Course, poll: int, by_k: float) -> bool:
    value_c = course.polls[poll]
    if value_c is None or poll in course.false:
        # In a gap the alarm goes on as it was: what was last known counts.
        known = (n for n in range(poll, -1, -1) if course.polls[n] is not None and n not in course.false)
        value_c = course.polls[next(known)]
    assert value_c is not None
    return value_c <= course.band.low_c + by_k or value_c >= course.band.high_c - by_k
