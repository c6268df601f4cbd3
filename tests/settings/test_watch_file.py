"""The file of `matwarden watch`: what it takes, and what it says of what it does not take."""

from __future__ import annotations

from pathlib import Path

import pytest

from matwarden.core.peers import Peer
from matwarden.settings.loading import check
from matwarden.settings.problems import SettingsError
from matwarden.settings.watching import load_watch

EXAMPLE = Path(__file__).resolve().parents[2] / "config" / "watch.example.toml"
STATION = EXAMPLE.with_name("matwarden.example.toml")


def problems(directory: Path, text: str) -> list[str]:
    """What is said of this file, a line each."""
    path = directory / "watch.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as told:
        load_watch(path)
    return [problem.line() for problem in told.value.problems]


def test_the_example_is_sound() -> None:
    """It watches one station with the defaults, and keeps its record apart from a station's."""
    settings = load_watch(EXAMPLE)
    assert settings.watched == (Peer("shelf-1", "Back room shelf", 300.0, 900.0, 93_600.0),)
    assert settings.store.directory == Path("/var/lib/matwarden-watch")
    assert settings.house_name == "Lookout"


def test_a_station_takes_the_same_table(tmp_path: Path) -> None:
    """[[watch]] means the same in a station's file, and its own id is refused there as well."""
    text = EXAMPLE.read_text(encoding="utf-8")
    more = text[text.index("[mqtt]") : text.index("[push]")]
    path = tmp_path / "station.toml"
    own = STATION.read_text(encoding="utf-8")
    path.write_text(f"{own}\n{more}".replace('id = "shelf-1"                   # its', 'id = "shelf-2" # its'))
    outcome = check(path)
    assert outcome.settings is not None
    assert [peer.id for peer in outcome.settings.watched] == ["shelf-2"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('id = "shelf-1"', 'id = "lookout"', "watch lookout: id: found 'lookout', which is this house's own id"),
        ("[[watch]]", "[[wach]]", "the file: wach: found a key that means nothing here"),
        ("[push]", "[[probe]]\nid = 'x'\n[push]", "probe: found a table of a station; allowed: of house,"),
        ('host = "broker.example"', "", "mqtt: host: found nothing"),
        ("[[watch]]", "[[watch]]\nlost_after_min = 0.01", "watch shelf-1: lost_after_min: found 0.01"),
        ("[mqtt]", "#", "watch: found no [mqtt]"),
    ],
)
def test_a_slip_is_told_with_what_to_do(old: str, new: str, said: str, tmp_path: Path) -> None:
    """Where, what was found, what is allowed: like in a station's file."""
    found = problems(tmp_path, EXAMPLE.read_text(encoding="utf-8").replace(old, new))
    assert any(line.startswith(said) for line in found), found


def test_a_watcher_that_can_call_nobody_is_warned_of(tmp_path: Path) -> None:
    """Without [push] it may run, for the log alone; that is said."""
    text = EXAMPLE.read_text(encoding="utf-8")
    path = tmp_path / "watch.toml"
    path.write_text(text[: text.index("[push]")], encoding="utf-8")
    assert load_watch(path).warnings == ("push: nothing is pushed: whoever dies is only in the log.",)
