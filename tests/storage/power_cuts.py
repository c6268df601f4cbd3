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
from typing import NamedTuple

from matwarden.sinks.outbox import Outbox
from matwarden.sinks.store import StoreError, open_store
from storage.disk import Call, Disk, Fate, calls_of
from storage.judge import Told, judge

__all__ = ["Campaign", "Replaced", "build_recorder", "cut_power", "cut_replacing", "recorded", "tell_story"]

_HERE = Path(__file__).resolve().parent
# Of no use to the judge; or, the last, of a kind that need outlive nothing: SQLite makes the log's index anew.
_LEFT_OUT = frozenset({"acks", "phone.txt", "matwarden.toml", "matwarden.db-shm"})


@dataclass(slots=True)
class Campaign:
    """What so many cuts came to.

    Attributes:
        unsynced_n: cuts at a moment when the record's files had unsynced changes.
        cost_readings_n, lost_readings: cuts that cost accepted readings, and the most that one of them cost.
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
    command = [compiler, "-shared", "-fPIC", "-O1", "-o", str(library), str(_HERE / "recorder.c"), "-ldl", "-lpthread"]
    return library if subprocess.run(command, capture_output=True, check=False).returncode == 0 else None


def tell_story(recorder: Path, directory: Path, *, power_safe: bool = True) -> list[Call]:
    """Run the story to its end; every call by which it changed a file."""
    return recorded(recorder, directory, [str(_HERE / "story.py")], "power-safe" if power_safe else "fast")


def recorded(recorder: Path, directory: Path, python: list[str], *more: str) -> list[Call]:
    """Run Python with the arguments `python`, the directory `shelf` it is to write to, and `more`; what it changed."""
    shelf = directory / "shelf"
    shelf.mkdir(parents=True)
    record = directory / "calls"
    told = {"LD_PRELOAD": str(recorder), "RECORD_ROOT": str(shelf), "RECORD_TO": str(record)}
    path = os.pathsep.join(each for each in sys.path if each)
    subprocess.run(
        [sys.executable, *python, str(shelf), *more], check=True, env={**os.environ, **told, "PYTHONPATH": path}
    )
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
        campaign.unsynced_n += disk.unsynced_n("matwarden.db") > 0
        campaign.cost_readings_n += found.lost_readings > 0
        campaign.lost_readings = max(campaign.lost_readings, found.lost_readings)
        campaign.wrong += [f"cut after call {cut}, {fate.value}: {text}" for text in found.wrong]
        shutil.rmtree(left)
    return campaign


# A record with a trip in it is damaged elsewhere, and opened: the program sets it aside and begins a new one.
_REPLACING = """
import os, sys
from pathlib import Path
from helpers_store import at, open_sink, push, readings, remember, started
from matwarden.sinks.store import open_store
directory = Path(sys.argv[1])
sink = open_sink(directory, commit_every_s=0)
sink.accept([started(at(0)), remember(at(0), "guard/oak", {"tripped": True}, True), push(at(0), "trip/oak/1")])
sink.accept([readings(at(second), 25.0, 26.0, 27.0) for second in range(3000)])
sink.close()
file = os.open(directory / "matwarden.db", os.O_RDWR)
os.pwrite(file, b"Z" * 30_000, os.fstat(file).st_size - 30_000)
os.fsync(file)
# Else the log that was removed a moment ago may come back, and heals the damage.
os.fsync(os.open(directory, os.O_RDONLY))
acks = os.open(directory / "acks", os.O_WRONLY | os.O_CREAT)
os.write(acks, b"damaged")
open_store(directory, 1_826_300_000.0).close()
"""


class Replaced(NamedTuple):
    """Cuts while a damaged record was replaced, and what was wrong after some."""

    cuts_n: int
    wrong: list[str]


def cut_replacing(recorder: Path, directory: Path, seed: int, every: int = 1) -> Replaced:
    """End the replacing of a damaged record after every one of its calls, three times; its trip and push must stay.

    Args:
        every: 5: after every fifth call of those that write; after all that sync or rename all the same.
    """
    calls = recorded(recorder, directory, ["-c", _REPLACING])
    begins = next(number for number, call in enumerate(calls) if call.path == "acks" and call.what == "W")
    dice = random.Random(seed)
    disk = Disk()
    wrong = []
    cuts_n = 0
    for number, call in enumerate(calls):
        disk.take(call)
        if number < begins or (call.what == "W" and number % every):
            continue
        for fate in (Fate.NONE, Fate.ANY, Fate.ALL):
            left = directory / "left"
            left.mkdir()
            disk.leave(left, fate, dice, _LEFT_OUT)
            cuts_n += 1
            wrong += [f"cut after call {number}, {fate.value}: {text}" for text in _replaced(left)]
            shutil.rmtree(left)
    return Replaced(cuts_n, wrong)


def _replaced(directory: Path) -> list[str]:
    try:
        store = open_store(directory, 1_826_300_100.0)
    except StoreError as error:
        return [str(error)]
    remembered = store.remembered()
    store.close()
    wrong = [] if remembered == {"guard/oak": {"tripped": True}} else [f"it remembers {remembered}"]
    pushes = [push.key for push in Outbox(directory).undelivered()]
    wrong += [] if pushes == ["trip/oak/1"] else [f"pushes: {pushes}"]
    aside = [path for path in directory.glob("matwarden.db.damaged-*") if path.name.endswith("Z")]
    return wrong if aside else [*wrong, "the damaged file is gone"]
