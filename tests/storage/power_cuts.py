"""The campaign of power cuts: a story is recorded once, and then ends at many moments in many ways."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from storage.disk import Call, Disk, Fate, calls_of
from storage.judge import Told, judge

__all__ = ["Campaign", "build_recorder", "cut_power", "tell_story"]

_HERE = Path(__file__).resolve().parent
# Of no use to the judge; or, the last, of a kind that need outlive nothing: SQLite makes the log's index anew.
_LEFT_OUT = frozenset({"acks", "phone.txt", "matwarden.toml", "matwarden.db-shm"})


@dataclass(slots=True)
class Campaign:
    """What so many cuts came to.

    Attributes:
        unsynced_n: cuts at a moment when something could be lost. lost_readings: the most that one cut cost.
        wrong: what should not be, each with its cut; empty when all is well.
    """

    fates: Counter[Fate] = field(default_factory=Counter)
    unsynced_n: int = 0
    cost_readings_n: int = 0
    lost_readings: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def cuts_n(self) -> int:
        return self.fates.total()


def build_recorder(directory: Path) -> Path | None:
    """Compile recorder.c; None where there is no compiler, or it is for another machine."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    library = directory / "recorder.so"
    if compiler is None:
        return None
    command = [compiler, "-shared", "-fPIC", "-O1", "-o", library, _HERE / "recorder.c", "-ldl", "-lpthread"]
    return library if subprocess.run(command, capture_output=True, check=False).returncode == 0 else None


def tell_story(recorder: Path, directory: Path, *, power_safe: bool = True) -> list[Call]:
    """Run the story to its end; every call by which it changed a file."""
    shelf = directory / "shelf"
    shelf.mkdir(parents=True)
    record = directory / "calls"
    told = {"LD_PRELOAD": str(recorder), "RECORD_ROOT": str(shelf), "RECORD_TO": str(record)}
    path = os.pathsep.join(each for each in sys.path if each)
    command = [sys.executable, _HERE / "story.py", shelf, "power-safe" if power_safe else "fast"]
    subprocess.run(command, check=True, env={**os.environ, **told, "PYTHONPATH": path})
    return list(calls_of(record))


def cut_power(calls: list[Call], cuts_n: int, directory: Path, seed: int) -> Campaign:
    """End the story at `cuts_n` random moments, spread over all fates, and judge what is left."""
    dice = random.Random(seed)
    told = Told(calls)
    # Only moments between two calls that reach the disk differ; acknowledgements and the mapped index do not.
    moments = [number for number, call in enumerate(calls) if call.path not in _LEFT_OUT]
    campaign = Campaign()
    disk = Disk()
    done = 0
    for cut in sorted(dice.choices(moments, k=cuts_n)):
        # After that call: before the next one.
        while done <= cut:
            disk.take(calls[done])
            done += 1
        # Scattered sectors are the hardest fate: half of all cuts.
        fate = dice.choice([Fate.ALL, Fate.NONE, Fate.FIRST, Fate.ANY, Fate.ANY, Fate.ANY])
        left = directory / "left"
        left.mkdir()
        disk.leave(left, fate, dice, _LEFT_OUT)
        if dice.random() < 0.5 and (left / "matwarden.db").exists():
            (left / "matwarden.db-shm").write_bytes(dice.randbytes(32768))
        found = judge(left, told.owed(done))
        campaign.fates[fate] += 1
        campaign.unsynced_n += disk.unsynced_n > 0
        campaign.cost_readings_n += found.lost_readings > 0
        campaign.lost_readings = max(campaign.lost_readings, found.lost_readings)
        campaign.wrong += [f"cut after call {cut}, {fate.value}: {text}" for text in found.wrong]
        shutil.rmtree(left)
    return campaign
