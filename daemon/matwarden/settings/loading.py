"""One TOML file in, `Settings` or every problem out. Touches no device and writes nothing."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from matwarden.settings.assembly import assemble
from matwarden.settings.outcome import Outcome
from matwarden.settings.problems import Findings, Problem, SettingsError
from matwarden.settings.resolved import Settings

_MAX_BYTES = 1_000_000
_PLACE = re.compile(r"^(?P<what>.*?)\s*\(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$", re.S)


def load(path: Path) -> Settings:
    """The settings of a file.

    Raises:
        SettingsError: they cannot be used; it carries every problem.
    """
    outcome = check(path)
    if outcome.settings is None:
        raise SettingsError(path, outcome.problems)
    return outcome.settings


def check(path: Path) -> Outcome:
    """Judge a file; never raises for anything the file can say."""
    try:
        raw = read_toml(path)
    except SettingsError as error:
        return Outcome(None, error.problems, ())
    return judge(raw, path)


def judge(raw: Mapping[str, Any], path: Path) -> Outcome:
    """Judge the tables of a file that was read already."""
    findings = Findings()
    settings = assemble(raw, Path(os.path.abspath(path)), findings)
    problems = tuple(dict.fromkeys(findings.problems))
    return Outcome(None if problems else settings, problems, tuple(dict.fromkeys(findings.warnings)))


def read_toml(path: Path) -> dict[str, Any]:
    """The raw tables of a file.

    Raises:
        SettingsError: it cannot be read, or is no TOML.
    """
    data = _bytes(path)
    try:
        text = data.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        _stop(path, f"line {line}", f"byte 0x{data[error.start]:02x}", "UTF-8 text", "Save the file as UTF-8.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = _PLACE.match(str(error))
        where, what = "the file", str(error)
        if place is not None:
            what = place["what"]
            where = f"line {place['line']}, column {place['column']}" if place["line"] else "the end of the file"
        _stop(
            path,
            where,
            f"a slip ({what[:1].lower()}{what[1:]})",
            "TOML",
            "Look there and just before: a text needs quotes, a number a point, a table name its brackets.",
        )
    except (RecursionError, ValueError):
        # Lists inside lists without end, or a number of thousands of digits.
        _stop(path, "the file", "something no settings file needs", "TOML", "Start again from the example.")


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(_MAX_BYTES + 1)
    except FileNotFoundError:
        _stop(
            path,
            "the file",
            "nothing by this name",
            "a settings file",
            "Correct the path, or copy the example there.",
        )
    except IsADirectoryError:
        _stop(path, "the file", "a directory", "a settings file", "Name the file inside it.")
    except PermissionError:
        _stop(
            path,
            "the file",
            "a file this user may not read",
            "a readable file",
            "Run as the station's user, or give that user the right to read it.",
        )
    except (OSError, ValueError) as error:
        reason = os.strerror(error.errno) if isinstance(error, OSError) and error.errno else "not a path"
        _stop(path, "the file", f"an error ({reason})", "a readable file", "Look at the disk and at the path.")
    if len(data) > _MAX_BYTES:
        _stop(path, "the file", "more than a million bytes", "a settings file", "Name the right file.")
    return data


def _stop(path: Path, where: str, found: str, allowed: str, advice: str) -> NoReturn:
    raise SettingsError(path, (Problem(where, found, allowed, advice),))
