"""No traceback for a poor terminal, a full output, or a record that is no file."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from helpers_process import ROOT, command, environment, settings_file, shelf_text

EXAMPLE = ROOT / "config" / "matwarden.example.toml"


def test_a_terminal_without_a_degree_sign_shows_another_sign() -> None:
    """In a plain ASCII locale `check` prints and succeeds."""
    poor = {
        **environment(),
        "LC_ALL": "POSIX",
        "PYTHONUTF8": "0",
        "PYTHONCOERCECLOCALE": "0",
        "PYTHONIOENCODING": "ascii",
    }
    ran = subprocess.run(
        [sys.executable, "-m", "matwarden", "check", EXAMPLE], capture_output=True, text=True, env=poor, check=False
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "22.2 to 27.8 ?C" in ran.stdout


def test_an_output_that_takes_nothing_more_is_told() -> None:
    """/dev/full: a sentence and the code of what cannot be used."""
    full = os.open("/dev/full", os.O_WRONLY)
    ran = command("check", EXAMPLE, stdout=full)
    os.close(full)
    assert ran.code == 5
    assert "No space left on device" in ran.err
    assert "Traceback" not in ran.err


def test_a_record_that_is_a_directory_is_told(tmp_path: Path) -> None:
    """`status` with nothing running and no file to read."""
    (tmp_path / "data" / "matwarden.db").mkdir(parents=True)
    ran = command("status", "-s", settings_file(tmp_path, shelf_text("oak")))
    assert ran.code == 6
    assert "not running" in ran.err
    assert "Traceback" not in ran.err
