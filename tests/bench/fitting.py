"""What finding out what a tub can do costs: a month of one tub, read from its record and fitted in a child process."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from bench.running import environment
from bench.table import Row
from bench.workload import settings_text
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load

__all__ = ["FIT", "month"]

DAYS = 30
_ROOM = """
[[probe]]
id = "room"
role = "room"
driver = "twin"
noise = 0.02
"""
# What a fit's own process does, the record being read: seconds of the whole, and the most memory in kB it ever had.
FIT = """
import resource, sys, time
began_s = time.monotonic()
from pathlib import Path
from matwarden.analysis.control import Control
from matwarden.analysis.telling import tell
from matwarden.settings import load
from matwarden.tub_record import lived_between
settings = load(Path(sys.argv[1]))
lived = lived_between(settings, settings.enclosures[0], None, None)
told = tell(lived, 7.0, Control(25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0), 22.2)
took_s = time.monotonic() - began_s
n = sum(len(series.t_s) for series in (*lived.wall, *lived.inside, *lived.room))
fitted = told.refusals[0].name.value if told.fit is None else "fitted"
print(took_s, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, n, fitted)
"""
_BARE = """
import numpy, resource, scipy.linalg, scipy.optimize, scipy.signal
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def month(days: float = DAYS) -> list[Row]:
    """From the simulated shelf through the real station and store; then fitted as a command does it."""
    with tempfile.TemporaryDirectory() as name:
        directory = Path(name)
        file = directory / "bench.toml"
        text = settings_text(directory, 1).replace("mean = 19.0", "mean = 19.0\nswing = 3.0") + _ROOM
        file.write_text(text, encoding="utf-8")
        run = Rehearsal(load(file), open_devices)
        run.run_until(days * 86_400.0)
        run.close()
        took_s, peak_kb, n, what = _child(FIT, str(file))
    (bare_kb,) = _child(_BARE)
    peak_mb, bare_mb = (int(kb) / 1024 for kb in (peak_kb, bare_kb))
    of_it = f"{days:g} days of one tub, {n} readings, {what}"
    return [
        Row(f"a tub's fit: {of_it}", f"{float(took_s):.1f} s", "–", "10 s", float(took_s) <= 10.0 and what == "fitted"),
        Row(
            "most memory of it",
            f"{peak_mb:.0f} MB in a child",
            f"numpy, scipy {bare_mb:.0f} MB",
            "200 MB",
            peak_mb <= 200.0,
        ),
    ]


def _child(program: str, *words: str) -> list[str]:
    command = [sys.executable, "-c", program, *words]
    return subprocess.run(command, env=environment(), capture_output=True, text=True, check=True).stdout.split()
