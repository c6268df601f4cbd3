"""Kills in the middle of recording. `make powercuts` does a thousand of them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path


def test_no_kill_loses_what_was_said_to_be_kept(tmp_path: Path) -> None:
    """A process killed 25 times at random moments has lost nothing it had acknowledged; no alarm lacks its push."""
    script = Path(__file__).with_name("kills.py")
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(each for each in sys.path if each)}
    command = [sys.executable, str(script), str(tmp_path), "25", "1"]
    came_to = json.loads(subprocess.run(command, env=env, capture_output=True, check=True, text=True).stdout)
    assert came_to["wrong"] == []
    assert came_to["while it recorded"] >= 5
