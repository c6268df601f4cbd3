"""What is wrong with the settings or the devices is told in sentences, with a code of its own, and no traceback."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_process import command, settings_file, shelf_text
from matwarden.exit_codes import Exit

BROKEN = (
    shelf_text("oak")
    .replace('temperature_unit = "C"', 'temperature_unit = "K"')
    .replace('placement = "side"', 'placement = "below"')
    .replace('zone = "Europe/Amsterdam"', 'zone = "Europe/Atlantis"')
)
# A relay on a chip that no machine has, beside a probe that needs no device to be opened.
GPIO = """\
[house]
id = "shelf"
temperature_unit = "C"
zone = "Europe/Amsterdam"

[[enclosure]]
id = "oak"

[[probe]]
id = "oak-wall"
role = "wall"
enclosure = "oak"
driver = "one-wire"
address = "28-0123456789ab"

[[mat]]
enclosure = "oak"
placement = "side"
driver = "gpio"
chip = "/dev/gpiochip97"
line = 17
active = "high"

[store]
directory = "data"

[control]
socket = "control.sock"
"""


@pytest.mark.parametrize("words", [("check",), ("run", "-s"), ("status", "-s"), ("hold", "oak", "--for", "5min", "-s")])
def test_broken_settings_end_with_2_and_all_problems(tmp_path: Path, words: tuple[str, ...]) -> None:
    """Whatever is asked, all three problems are told at once."""
    ran = command(*words, settings_file(tmp_path, BROKEN))
    assert (ran.code, int(Exit.SETTINGS)) == (2, 2)
    assert "3 problems" in ran.err
    assert all(found in ran.err for found in ('"K"', '"below"', '"Europe/Atlantis"'))
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("words", [("check",), ("run", "-s"), ("status", "-s")])
def test_settings_that_are_not_there_end_with_2(tmp_path: Path, words: tuple[str, ...]) -> None:
    """A file by no such name is a problem of the settings like any other."""
    ran = command(*words, tmp_path / "none.toml")
    assert ran.code == Exit.SETTINGS
    assert "nothing by this name" in ran.err
    assert "Traceback" not in ran.err


def test_a_relay_that_cannot_be_opened_ends_with_3(tmp_path: Path) -> None:
    """No such GPIO chip: which relay, which chip, and never a fall-back to something else."""
    ran = command("run", "-s", settings_file(tmp_path, GPIO))
    assert (ran.code, int(Exit.DEVICE)) == (3, 3)
    assert "gpio" in ran.err
    assert "Traceback" not in ran.err
    assert not (tmp_path / "data").exists()


def test_without_the_gpio_library_it_says_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Settings with a GPIO relay, on a machine without gpiod: code 3, and what to install."""
    (tmp_path / "gpiod.py").write_text("raise ModuleNotFoundError(\"No module named 'gpiod'\")\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    ran = command("run", "-s", settings_file(tmp_path, GPIO))
    assert ran.code == Exit.DEVICE
    assert "needs the Python package gpiod" in ran.err
    assert "pip install" in ran.err
    assert "Traceback" not in ran.err


def test_a_simulated_device_that_cannot_be_opened_ends_with_3(tmp_path: Path) -> None:
    """A relay whose record cannot be written is not opened, and nothing runs without its relay."""
    text = shelf_text("oak").replace("relays.txt", "no-such-directory/relays.txt")
    ran = command("run", "-s", settings_file(tmp_path, text))
    assert ran.code == Exit.DEVICE
    assert "no-such-directory/relays.txt" in ran.err
    assert "Traceback" not in ran.err


def test_a_record_that_cannot_be_made_ends_with_5(tmp_path: Path) -> None:
    """The directory of the record lies under a file: which directory, and what to do."""
    (tmp_path / "file").touch()
    ran = command("run", "-s", settings_file(tmp_path, shelf_text("oak").replace('"data"', '"file/data"')))
    assert (ran.code, int(Exit.STORE)) == (5, 5)
    assert "choose a directory matwarden may write to" in ran.err
    assert "Traceback" not in ran.err


def test_a_socket_that_cannot_be_made_ends_with_2(tmp_path: Path) -> None:
    """The socket lies under a file: its path is in the settings, and is to be changed there."""
    (tmp_path / "file").touch()
    text = shelf_text("oak").replace("control.sock", "file/control.sock")
    ran = command("run", "-s", settings_file(tmp_path, text))
    assert ran.code == Exit.SETTINGS
    assert "cannot make the control socket" in ran.err
    assert "Traceback" not in ran.err
    assert (tmp_path / "relays.txt").read_text().split()[-2:] == ["cut", "oak"]


def test_check_shows_the_settings_as_they_will_be_used(tmp_path: Path) -> None:
    """Sound settings: code 0, one screen, no wider than 80 columns, and nothing is made or opened."""
    ran = command("check", settings_file(tmp_path, shelf_text("oak", fahrenheit=True)))
    assert ran.code == Exit.OK
    assert "SIMULATED" in ran.out
    assert "28.5 °C" in ran.out
    assert all(len(line) <= 80 for line in ran.out.splitlines() if not line.startswith(("file", "store", "control")))
    assert [path.name for path in tmp_path.iterdir()] == ["shelf.toml"]


def test_check_tells_scripts_the_same(tmp_path: Path) -> None:
    """`check --json`: usable or not, each problem with where, found, allowed and advice, and the warnings."""
    good = command("check", "--json", settings_file(tmp_path, shelf_text("oak")))
    assert good.json == {"usable": True, "problems": [], "warnings": []}
    bad = command("check", "--json", settings_file(tmp_path, BROKEN))
    assert (bad.code, bad.json["usable"], len(bad.json["problems"])) == (Exit.SETTINGS, False, 3)
    assert all(set(problem) == {"where", "found", "allowed", "advice"} for problem in bad.json["problems"])
