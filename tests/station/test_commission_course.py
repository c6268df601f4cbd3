"""The experiment on the real station in simulated time: what it asks of it, what it stops at, how it is taken up again.

Its requests go to the station as the control socket hands them on; only the socket itself is left out.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from helpers_station import House, house
from matwarden.control import act_on
from matwarden.core.course import HOLD_S, MARGIN_K, PARTS, CourseTerms, Kind
from matwarden.course_file import CourseFile, CourseFileError
from matwarden.course_run import Ended, Progress, Result, conduct
from matwarden.events import AlarmChanged, PersonDid
from matwarden.status import status_document
from matwarden.terms import At, Reason

_ROOM = '\n[[probe]]\nid = "room"\nrole = "room"\ndriver = "twin"\nnoise = 0.02\n'
_STEP_S = 10.0
_HOUR_S = 3600.0


def fault(kind: str, subject: str, at_h: float, amount: float | None = None) -> str:
    """A fault of the simulated shelf from an hour on."""
    more = "" if amount is None else f"amount = {amount}\n"
    return f'\n[[fault]]\nkind = "{kind}"\nsubject = "{subject}"\nat_h = {at_h}\n{more}'


class Bench:
    """A simulated house, and a course whose verbs reach its station."""

    def __init__(self, directory: Path, **more: Any) -> None:
        more["more"] = _ROOM + more.get("more", "")
        self.house = House(house(directory, room=more.pop("room", "mean = 18.5\nswing = 2.0"), **more))
        self.settings = self.house.settings
        self.oak = self.settings.enclosures[0]
        self.terms = CourseTerms(self.oak.band.low_c)
        self.asked: list[dict[str, Any]] = []
        self.shown: list[Progress] = []
        self.gone = False
        self.before_wait: Callable[[float], None] = lambda now_s: None
        self._interrupted = threading.Event()
        self._wake = threading.Event()

    def course(self) -> Ended:
        """One process of it, up to its end."""
        file = CourseFile(self.settings.store.directory, "oak")
        self._interrupted.clear()
        with file.locked():
            return conduct(
                self.settings,
                self.oak,
                self.terms,
                file,
                self.ask,
                self,
                self._wake,
                self._interrupted.is_set,
                self.shown.append,
            )

    def interrupt(self) -> None:
        self._interrupted.set()

    def ask(self, request: Mapping[str, Any]) -> dict[str, Any] | None:
        """As the control socket does."""
        self.asked.append(dict(request))
        if self.gone:
            return None
        station = self.house.run.station
        if request["do"] == "status":
            return {"ok": True, "status": status_document(station, self.now(), {})}
        return self.person(str(request["do"]), **{key: value for key, value in request.items() if key != "do"})

    def person(self, verb: str, **request: Any) -> dict[str, Any]:
        """Somebody's verb, carried out between two cycles."""
        station, answers = self.house.run.station, [{"ok": False, "text": "never answered"}]

        def act(at: At) -> list[Any]:
            events, answers[0] = act_on(station.tubs["oak"], verb, {"enclosure": "oak", **request}, "keeper", at)
            return events

        station.call(act)
        self.house.pass_time(0.01)
        return answers[0]

    def now(self) -> At:
        return self.house.clock.now()

    def wait(self, until_s: float, wake: threading.Event) -> None:
        self.before_wait(until_s)
        self.house.run.run_until(until_s)

    @property
    def heat(self) -> dict[str, Any]:
        """What the station says of oak's heat now."""
        document = status_document(self.house.run.station, self.now(), {})
        found: dict[str, Any] = document["enclosures"][0]["heat"]
        return found

    def allowed_at(self, at_s: float) -> bool:
        """What oak's relay stood at."""
        levels = [allow for when_s, allow in self.house.relays["oak"].switched if when_s <= at_s]
        return bool(levels) and levels[-1]

    def verbs(self) -> set[str]:
        return {request["do"] for request in self.asked}


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Callable[..., Bench]]:
    made: list[Bench] = []

    def make(**more: Any) -> Bench:
        made.append(Bench(tmp_path / "store", **more))
        return made[-1]

    yield make
    for each in made:
        each.house.close()


def while_cooling(bench: Bench, deed: Callable[[], object]) -> None:
    """Have something done once, some minutes into the first cooling."""
    done: list[object] = []

    def look(until_s: float) -> None:
        cooling = [progress for progress in bench.shown if progress.part == "first cooling"]
        if len(cooling) > 60 and not done:
            done.append(None)
            deed()

    bench.before_wait = look


def test_a_whole_course_keeps_the_tub_over_its_band_and_rings_nothing(bench: Callable[..., Bench]) -> None:
    """In less than a day, with no verb but status, hold and release; heat is never allowed by it, only cut."""
    one = bench()
    one.house.pass_time(2 * _HOUR_S)
    ended = one.course()
    assert ended.result is Result.OVER
    assert 6 * _HOUR_S < ended.until_wall_s - ended.since_wall_s < 24 * _HOUR_S
    assert one.verbs() == {"status", "hold", "release"}
    assert {request["for_s"] for request in one.asked if request["do"] == "hold"} == {HOLD_S}
    assert one.house.told(AlarmChanged) == []
    assert [progress.number for progress in one.shown] == sorted(progress.number for progress in one.shown)
    assert {progress.number for progress in one.shown} == set(range(1, len(PARTS) + 1))
    coldest_c = min(progress.inside_c for progress in one.shown if progress.inside_c is not None)
    assert one.oak.band.low_c < coldest_c < one.oak.band.low_c + MARGIN_K + 0.2
    assert one.heat["hold_left_s"] is None
    # The relay's own record: each part of cooling is without heat, each part of heating has some.
    start_wall_s = one.now().wall_s - one.now().mono_s
    for number, part in enumerate(PARTS, 1):
        times = [progress.wall_s - start_wall_s for progress in one.shown if progress.number == number]
        # The first look of a part shows what was before it.
        had_heat = any(one.allowed_at(at_s) for at_s in times[2:])
        assert had_heat is (part.kind is not Kind.COOL), part.name
    lefts = [progress.left_s for progress in one.shown]
    assert all(later <= sooner for sooner, later in zip(lefts, lefts[1:], strict=False))


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (fault("probe-dead", "oak-air", 3.5), "not read"),
        (fault("probe-dead", "oak-wall", 3.5), "alarm"),
        (fault("probe-offset", "oak-wall", 4.2, 9.0), "tripped"),
        (fault("mat-unplugged", "oak", 3.0), "heat-not-arriving/oak"),
        (fault("relay-readback-wrong", "oak", 3.5), "fault"),
        (fault("relay-welded", "oak", 3.2), "heat-while-cut/oak"),
    ],
    ids=["blind", "wall silent", "trip", "mat unplugged", "relay fault", "welded"],
)
def test_it_stops_at_anything_unusual_and_holds_nothing_then(bench: Callable[..., Bench], more: str, said: str) -> None:
    """An alarm, a trip, a fault, a tub that is not read: the tub is left to the guard, and the keeper told why."""
    one = bench(more=more)
    one.house.pass_time(2 * _HOUR_S)
    ended = one.course()
    assert ended.result is Result.STOPPED
    assert said in ended.text
    assert one.heat["hold_left_s"] is None
    again = one.course()
    assert again.result is Result.STOPPED
    assert one.heat["hold_left_s"] is None


def test_a_course_that_was_ended_goes_on_in_the_same_part(bench: Callable[..., Bench]) -> None:
    """Its hold is released at once; the next process begins the part anew, and the record is of both."""
    one = bench()
    one.house.pass_time(2 * _HOUR_S)
    while_cooling(one, one.interrupt)
    first = one.course()
    assert (first.result, "first cooling" in first.text) == (Result.INTERRUPTED, True)
    assert one.heat["hold_left_s"] is None
    one.house.pass_time(3 * _HOUR_S)
    shown_n = len(one.shown)
    second = one.course()
    assert second.result is Result.OVER
    assert one.shown[shown_n].part == "first cooling"
    assert second.since_wall_s == first.since_wall_s


def test_a_process_that_dies_gives_the_heat_back_by_itself(bench: Callable[..., Bench]) -> None:
    """Within one short hold, with nobody left to release it; the next process knows its own hold again."""
    one = bench()
    one.house.pass_time(2 * _HOUR_S)

    class Died(Exception):  # noqa: N818 - as a kill: nothing of it runs any more
        pass

    def die() -> None:
        one.gone = True
        raise Died

    while_cooling(one, die)
    with pytest.raises(Died):
        one.course()
    one.gone = False
    assert one.heat["reason"] == Reason.HELD
    assert 0.0 < one.heat["hold_left_s"] <= HOLD_S
    # The next process knows that hold for its own, where a person's is refused.
    one.shown.clear()
    while_cooling(one, die)
    with pytest.raises(Died):
        one.course()
    assert one.shown
    one.gone, died_s = False, one.now().mono_s
    one.house.pass_time(HOLD_S + _STEP_S)
    assert one.heat["hold_left_s"] is None
    one.house.pass_time(2 * _HOUR_S)
    assert any(allow for at_s, allow in one.house.relays["oak"].switched if at_s > died_s)


def test_a_station_that_is_gone_ends_it_after_a_minute(bench: Callable[..., Bench]) -> None:
    """A restart within that minute does not; the hold that cannot be released is told of."""
    one = bench()
    one.house.pass_time(2 * _HOUR_S)

    def vanish() -> None:
        one.gone = True

    while_cooling(one, vanish)
    ended = one.course()
    assert ended.result is Result.NOT_RUNNING
    assert "ends by itself within" in ended.text
    assert 60.0 <= ended.until_wall_s - one.shown[-1].wall_s < 90.0
    one.gone = False
    one.shown.clear()
    while_cooling(one, one.house.restart)
    again = one.course()
    assert again.result is Result.OVER


@pytest.mark.parametrize(
    ("verb", "request_", "said"),
    [("hold", {"for_s": 7200.0}, "somebody else holds"), ("release", {}, "somebody ended")],
)
def test_a_person_has_the_last_word(
    bench: Callable[..., Bench], verb: str, request_: dict[str, Any], said: str
) -> None:
    """A hold or a release that somebody asks for meanwhile ends the course and stands as it was asked for."""
    one = bench()
    one.house.pass_time(2 * _HOUR_S)
    while_cooling(one, lambda: one.person(verb, **request_))
    ended = one.course()
    assert ended.result is Result.STOPPED
    assert said in ended.text
    left_s = one.heat["hold_left_s"]
    assert (left_s is None) if verb == "release" else (left_s > 7100.0)
    if verb == "hold":
        refused = one.course()
        assert "held by a person" in refused.text
        assert one.heat["hold_left_s"] > 7000.0


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"room": "mean = 25.1"}, "the room is at 25."),
        ({"more": fault("mat-unplugged", "oak", 0.0)}, "heat-not-arriving/oak"),
        ({"more": fault("probe-dead", "oak-air", 0.0)}, "oak"),
        ({"more": fault("probe-offset", "oak-wall", 1.9, 9.0)}, "tripped"),
    ],
    ids=["warm room", "alarm", "blind", "tripped"],
)
def test_it_does_not_begin_where_it_could_tell_nothing(
    bench: Callable[..., Bench], more: dict[str, Any], said: str
) -> None:
    """The reason is a sentence, nothing is asked of the station but its status, and nothing is kept."""
    one = bench(**more)
    one.house.pass_time(2 * _HOUR_S)
    ended = one.course()
    assert ended.result is Result.STOPPED
    assert not ended.begun
    assert said in ended.text
    assert one.verbs() == {"status"}
    assert CourseFile(one.settings.store.directory, "oak").kept() is None


def test_who_may_not_use_the_socket_is_told_and_begins_nothing(bench: Callable[..., Bench]) -> None:
    """What the asking end says of the socket is what the keeper reads; `asking.ask` makes it of a PermissionError."""
    one = bench()
    one.ask = lambda request: {"ok": False, "text": "this user may not use the socket"}  # type: ignore[method-assign]
    ended = one.course()
    assert (ended.result, ended.begun, ended.text) == (Result.STOPPED, False, "this user may not use the socket")


def test_a_house_without_a_room_probe_is_refused(tmp_path: Path) -> None:
    """What a mat does is measured against the room."""
    one = Bench.__new__(Bench)
    one.house = House(house(tmp_path / "store"))
    try:
        one.settings, one.oak = one.house.settings, one.house.settings.enclosures[0]
        one.terms, one.asked, one.shown, one.gone = CourseTerms(one.oak.band.low_c), [], [], False
        one.before_wait = lambda now_s: None
        one._interrupted, one._wake = threading.Event(), threading.Event()
        one.house.pass_time(_HOUR_S)
        assert "no room probe" in one.course().text
    finally:
        one.house.close()


def test_the_file_is_whole_locked_and_told_when_it_is_damaged(tmp_path: Path) -> None:
    """A second process is refused; a file that cannot be read is named with what to do."""
    file = CourseFile(tmp_path, "oak")
    with file.locked():
        assert file.kept() is None
        with pytest.raises(CourseFileError, match="another process"), CourseFile(tmp_path, "oak").locked():
            pass
    path = tmp_path / "commissioned" / "oak" / "course.json"
    for text in ("", "{}", "[1]", json.dumps({"form": 1, "enclosure": "oak", "part": -1, "held_until": None})):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(CourseFileError, match="--anew"):
            file.kept()
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(CourseFileError, match="sudo"), CourseFile(tmp_path / "file", "oak").locked():
        pass


def test_what_it_asked_for_is_among_the_deeds(bench: Callable[..., Bench]) -> None:
    """The station keeps each hold and release like a person's, through the same verbs."""
    one = bench()
    one.house.pass_time(2 * _HOUR_S)
    while_cooling(one, one.interrupt)
    one.course()
    assert one.verbs() == {"status", "hold", "release"}
    assert all(isinstance(each, PersonDid) for each in one.house.told(PersonDid))
