"""The outside of the program is documented: what a keeper can meet stands in the README."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import pytest

from matwarden.cli import parser
from matwarden.core.alarm_table import ALARMS
from matwarden.core.alarms import AlarmSpec
from matwarden.core.guard import RULES
from matwarden.exit_codes import Exit
from matwarden.sinks import homie
from matwarden.terms import (
    AlarmTimes,
    Band,
    Enclosure,
    MatTerms,
    Placement,
    ProbeTerms,
    Reason,
    Role,
    Side,
    Unit,
)

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _commands() -> list[str]:
    (subparsers,) = [a for a in parser()._actions if isinstance(a, argparse._SubParsersAction)]
    return list(subparsers.choices)


@pytest.mark.parametrize("command", _commands())
def test_every_command_is_in_the_readme(command: str) -> None:
    """A command nobody can read about does not exist."""
    assert f"`matwarden {command}" in README


@pytest.mark.parametrize("command", _commands())
def test_every_command_has_help_with_an_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`--help` of each command ends with a line that can be typed."""
    with pytest.raises(SystemExit) as left:
        parser().parse_args([command, "--help"])
    assert left.value.code == 0
    assert f"example: matwarden {command}" in capsys.readouterr().out


def test_every_exit_code_is_in_the_readme_by_number_and_name() -> None:
    """The table of exit codes is the enumeration, no more and no less."""
    told = dict(re.findall(r"^\| (\d+) \| ([A-Z_]+) \|", README, flags=re.M))
    assert told == {str(code.value): code.name for code in Exit}


def test_every_reason_of_a_verdict_is_in_the_readme() -> None:
    """Whatever `why` can name is explained."""
    assert [reason for reason in Reason if f"`{reason}`" not in README] == []


def test_the_rules_stand_in_the_readme_in_their_order() -> None:
    """The table of the README is the table of the guard."""
    told = re.findall(r"^\| (\d+) \| .* \| `([a-z-]+)` \|", README, flags=re.M)
    assert told == [(str(rule.number), rule.verdict.reason.value) for rule in RULES]


@pytest.mark.parametrize("spec", ALARMS, ids=lambda spec: spec.condition)
def test_every_alarm_is_in_the_readme(spec: AlarmSpec) -> None:
    """Each alarm has a row that says when it comes."""
    assert f"| `{spec.condition}` |" in README


def test_every_mqtt_property_is_in_the_readme() -> None:
    """Of a house with one of everything each node property stands in the topic table."""
    probes = tuple(
        ProbeTerms(f"p{n}", role, "oak", side, 10.0, 5.0, 60.0, 3.0, 0.0)
        for n, (role, side) in enumerate(
            [(Role.AIR, None), (Role.AIR, Side.MOIST), (Role.WALL, None), (Role.SUBSTRATE, Side.DRY)]
        )
    )
    mat = MatTerms(Placement.SIDE, 7.0, 25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0, 1800.0, 3, 100_000)
    oak = Enclosure("oak", "Oak", Band(22.2, 27.8), probes, mat, AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5))
    room = ProbeTerms("room", Role.ROOM, None, None, 10.0, 5.0, 60.0, 3.0, 0.0)
    device = homie.DeviceTerms("shelf", "Shelf", Unit.C, (oak,), (room,), frozenset({"p0", "p1", "p3"}))
    missing = [
        f"{node}/{name}"
        for node, properties in homie.layout(device).items()
        for name in properties
        if not re.search(rf"[`/]{name}`", README)
    ]
    # The room node has the same reading properties as a tub: they are explained once.
    assert missing == []


@pytest.mark.parametrize("topic", ["$state", "$description", "$alert/"])
def test_every_device_topic_is_in_the_readme(topic: str) -> None:
    """The attributes of the device stand in the topic table."""
    assert f"| `{topic}" in README


def test_the_readme_names_only_files_that_are_there() -> None:
    """No link of the four documents leads nowhere."""
    for document in ("README.md", "DEVELOPERS.md", "SAFETY.md", "CHANGELOG.md"):
        text = (ROOT / document).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (ROOT / target).exists(), f"{document} links to {target}"


def test_modules_stay_short() -> None:
    """No module of the two packages is longer than 500 lines: it would do more than one thing."""
    long = [
        f"{path.relative_to(ROOT)}: {lines}"
        for package in ("daemon", "hardware")
        for path in (ROOT / package).rglob("*.py")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 500
    ]
    assert long == []
