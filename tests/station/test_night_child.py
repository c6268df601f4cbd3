"""The digest is made in a child process: the same as in this one, and its death or silence costs no words."""

from __future__ import annotations

import shutil
import sys
import threading
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from helpers_station import House, house
from matwarden.digests import Digests
from matwarden.events import DigestMade, Event, Notice, PushAsked
from matwarden.night import PICTURES, Made, make_night
from matwarden.night_child import NightChild, NightError
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_schema import StoreError
from matwarden.sinks.store_sums_read import Sums
from matwarden.terms import At

_DAY = "2026-01-17"
_AT = At(7200.0, 1_768_633_200.0)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Two hours of a shelf, recorded."""
    shelf = House(house(tmp_path_factory.mktemp("shelf"), unheated=("rowan",)))
    shelf.pass_time(7200.0)
    shelf.close()
    return shelf.settings


def _digests(settings: Settings, make: object) -> tuple[Digests, list[Event]]:
    told: list[Event] = []

    def tell(events: Sequence[Event]) -> None:
        told.extend(events)

    return Digests(settings, lambda _: True, tell, lambda: _AT, make), told  # type: ignore[arg-type]


def test_a_child_process_makes_the_same_night_as_this_one(recorded: Settings) -> None:
    """Text, document and first line are equal."""
    assert NightChild().make(recorded, _DAY) == make_night(recorded, _DAY)


def test_the_child_sums_up_the_days_that_are_over(tmp_path: Path) -> None:
    """Asked for sums alone, or for a night: afterwards the days before it are there, of every tub."""
    shelf = House(house(tmp_path))
    shelf.pass_time(30 * 3600.0)
    shelf.close()
    NightChild().sum_up(shelf.settings)
    sums = Sums(shelf.settings.store.directory)
    days = sums.tub_days(0.0, 1e11)
    assert set(days) == {each.id for each in shelf.settings.enclosures}
    made = NightChild().make(shelf.settings, _DAY)
    assert made.notes == ()
    assert sums.tub_days(0.0, 1e11) == days


def test_a_record_that_cannot_be_read_is_told_in_the_records_own_words(tmp_path: Path) -> None:
    """What the child meets is what its parent hears."""
    with pytest.raises(StoreError, match="nothing is recorded in"):
        NightChild().make(house(tmp_path), _DAY)


def test_a_child_that_hangs_is_ended(recorded: Settings) -> None:
    """A night that takes too long is an error, and nothing is left running."""
    with pytest.raises(NightError, match="not made within"):
        NightChild(limit_s=0.01).make(recorded, _DAY)


def test_a_program_that_ends_waits_for_no_night(recorded: Settings) -> None:
    """After a stop nothing is made, and what is being made ends at once."""
    child = NightChild()
    outcome: list[Exception] = []

    def make() -> None:
        try:
            while True:
                child.make(recorded, _DAY)
        except NightError as error:
            outcome.append(error)

    maker = threading.Thread(target=make)
    maker.start()
    child.stop()
    maker.join(30.0)
    assert not maker.is_alive()
    assert outcome


def test_an_interpreter_that_cannot_be_started_is_no_crash(recorded: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full process table or a Python that was just upgraded: told, and tried again."""
    monkeypatch.setattr(sys, "executable", "/nowhere/python3")
    with pytest.raises(NightError, match="cannot be started"):
        NightChild().make(recorded, _DAY)


def _with_both(settings: Settings, pages: Path) -> Settings:
    return replace(settings, digest=replace(settings.digest, picture=True, pages=pages))


def test_picture_and_page_are_made_beside_the_words(recorded: Settings, tmp_path: Path) -> None:
    """The child writes both; the picture goes with the push."""
    settings = _with_both(recorded, tmp_path / "pages")
    digests, told = _digests(settings, NightChild().make)
    assert digests.make(date.fromisoformat(_DAY))
    asked = next(event for event in told if isinstance(event, PushAsked))
    assert asked.attachment is not None
    assert asked.attachment.read_bytes().startswith(b"\x89PNG")
    assert _DAY in (tmp_path / "pages" / "index.html").read_text(encoding="utf-8")
    assert (tmp_path / "pages" / f"night-{_DAY}.html").is_file()
    assert not [event for event in told if isinstance(event, Notice)]


def test_a_place_that_takes_no_picture_and_no_page_costs_no_words(recorded: Settings, tmp_path: Path) -> None:
    """What could not be made is told, the digest all the same."""
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    blocked = recorded.store.directory / PICTURES
    settings = _with_both(recorded, tmp_path / "file" / "pages")
    shutil.rmtree(blocked, ignore_errors=True)
    blocked.write_text("in the way", encoding="utf-8")
    try:
        made = make_night(settings, _DAY)
    finally:
        blocked.unlink()
    assert made.text == make_night(recorded, _DAY).text
    assert made.picture is None
    assert [note.partition(":")[0] for note in made.notes] == ["no picture", "no page"]


@pytest.mark.parametrize("lacks", ["matplotlib", "jinja2"])
def test_a_library_that_is_not_installed_costs_no_words(
    recorded: Settings, tmp_path: Path, lacks: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The note says what to install."""
    for name in [
        name for name in sys.modules if name.partition(".")[0] == lacks or name.startswith("matwarden.report.p")
    ]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, lacks, None)
    made = make_night(_with_both(recorded, tmp_path / "pages"), _DAY)
    assert len(made.notes) == 1
    assert lacks in made.notes[0]
    assert "pip install 'matwarden[report]'" in made.notes[0]


def test_pictures_that_nobody_waits_for_any_more_are_dropped(recorded: Settings) -> None:
    """A month of them stays; what is not ours stays for ever."""
    settings = replace(recorded, digest=replace(recorded.digest, picture=True))
    kept = settings.store.directory / PICTURES
    kept.mkdir(exist_ok=True)
    for name in ("night-2025-12-16.png", "night-2025-12-17.png", "holiday.png"):
        (kept / name).write_bytes(b"")
    make_night(settings, _DAY)
    assert sorted(path.name for path in kept.glob("*.png")) == [
        "holiday.png",
        "night-2025-12-17.png",
        f"night-{_DAY}.png",
    ]


def test_where_the_child_comes_to_nothing_the_next_try_does_without(recorded: Settings) -> None:
    """A picture that the memory does not allow must not cost the keeper the words."""

    def never(settings: Settings, day: str) -> Made:
        raise NightError("its program ended with code -9: no word")

    digests, told = _digests(recorded, never)
    assert not digests.make(date.fromisoformat(_DAY))
    assert [event.text for event in told if isinstance(event, Notice)] == [
        f"digest of {_DAY}: its program ended with code -9: no word; trying again later"
    ]
    assert digests.make(date.fromisoformat(_DAY))
    assert [event.date for event in told if isinstance(event, DigestMade)] == [_DAY]
    assert [event.key for event in told if isinstance(event, PushAsked)] == [f"digest/{_DAY}"]
