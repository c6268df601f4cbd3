"""The command line explains itself."""

from __future__ import annotations

import argparse
import os

import pytest

from helpers_process import command
from matwarden.cli import parser
from matwarden.exit_codes import Exit


def commands() -> dict[str, argparse.ArgumentParser]:
    (subparsers,) = (action for action in parser()._actions if isinstance(action, argparse._SubParsersAction))
    return dict(subparsers.choices)


@pytest.mark.parametrize("name", sorted(commands()))
def test_every_command_has_help_with_an_example_that_parses(name: str) -> None:
    """`COMMAND --help` ends with an example, and the example is a command line that is understood."""
    epilog = commands()[name].epilog or ""
    assert epilog.startswith(f"example: matwarden {name}")
    assert parser().parse_args(epilog.removeprefix("example: matwarden ").split()).verb == name


@pytest.mark.parametrize("name", sorted(commands()))
def test_every_argument_says_what_it_is_for(name: str) -> None:
    """No argument is without a help text, and no help is wider than a terminal of 80 columns."""
    one = commands()[name]
    assert all(action.help for action in one._actions)
    assert all(len(line) <= 80 for line in one.format_help().splitlines())


def test_the_programs_own_help_names_every_command() -> None:
    """`matwarden --help` ends with code 0 and has a line for each command."""
    ran = command("--help")
    assert ran.code == 0
    assert all(f"\n    {name} " in ran.out or f"\n    {name}\n" in ran.out for name in commands())
    assert "example: " in ran.out


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("frobnicate",),
        ("status", "--yaml"),
        ("hold", "oak"),
        ("hold", "oak", "--for", "a while"),
        ("hold", "oak", "--for", "nanmin"),
        ("reset", "oak", "alder"),
    ],
    ids=" ".join,
)
def test_a_command_line_that_is_not_understood_ends_with_64(words: tuple[str, ...]) -> None:
    """Exit code 64 is EX_USAGE of sysexits.h; what was wrong is one sentence, with no traceback."""
    ran = command(*words)
    assert (ran.code, int(Exit.USAGE)) == (64, 64)
    assert ran.out == ""
    assert "matwarden" in ran.err
    assert "Traceback" not in ran.err


def test_whoever_stops_reading_is_no_error() -> None:
    """A reader that has gone, as of `matwarden check FILE | head -1`, is the end and no traceback."""
    reading, writing = os.pipe()
    os.close(reading)
    try:
        ran = command("check", "no-such-file.toml", "--json", stdout=writing)
    finally:
        os.close(writing)
    assert "Traceback" not in ran.err
    assert ran.code in (Exit.OK, Exit.SETTINGS)
