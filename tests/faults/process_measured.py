"""What one fault of a process, a disk or a service did: to the heat, to the keeper, to the record. And its bounds."""

from __future__ import annotations

import re
import time
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from faults.measured import CUT_OUT_C, LIMITER_C, PAST_CUT_OUT_K, TOLD_WITHIN_S, Told
from faults.stage import ALDER_W, Stage
from helpers_process import Level
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import StoreError
from matwarden_hardware.twin import TubPhysics

__all__ = ["ProcessRow", "allowed_at", "logged", "lost", "pushed", "wall_from_limiter_c"]

# The worst moment: wall and air just under what would cut, the room at its coldest.
_AT_THE_LIMITER_C = (LIMITER_C, 25.4, 24.5)
_ROOM_C = 17.0
_WORD = 60
# What differs from run to run must not change the table.
_PLAIN = ((r"127\.0\.0\.1:\d+", "the broker"), (r"damaged-\w+", "damaged-..."), (r"process \d+", "process ..."))
_AIR = ("alder-air", "temperature")


@dataclass(frozen=True, slots=True)
class ProcessRow:
    """One fault.

    Attributes:
        wall_c: what alder's true wall comes to when this strikes at the worst moment.
        allowed_s: how long its line went on allowing heat that was wrong.
        bound_s: how long it may, at the most.
        told: None: not told.
        lost: what the record lacks, in words; empty: nothing.
    """

    fault: str
    how: str
    wall_c: float
    allowed_s: float
    bound_s: float
    told: Told | None
    lost: str

    def failures(self) -> list[str]:
        """Which bounds it breaks, in words."""
        broken = []
        if self.wall_c > CUT_OUT_C + PAST_CUT_OUT_K:
            broken.append(f"wall {self.wall_c - CUT_OUT_C:.1f} K past the cut-out")
        if self.allowed_s > self.bound_s:
            broken.append(f"heat allowed for {self.allowed_s:.1f} s, {self.bound_s:g} s at the most")
        if self.told is None:
            broken.append("not told")
        elif self.told.after_s > TOLD_WITHIN_S:
            broken.append(f"told after {self.told.after_s / 60:.0f} min")
        return broken


def pushed(stage: Stage, words: str, struck_s: float) -> Told | None:
    """The first push about it. `words`: what its title must say; empty: any does."""
    titles = [title for title in stage.pushed() if words in title]
    return Told(time.monotonic() - struck_s, titles[0]) if titles else None


def logged(stage: Stage, words: str, struck_s: float) -> Told | None:
    """The first line of the log about it: better than nothing, but nobody is called."""
    for line in stage.log().splitlines():
        if words and words in line and not line.startswith("INFO push"):
            said = line.partition(" ")[2].replace(f"{stage.directory}/", "")
            for pattern, plain in _PLAIN:
                said = re.sub(pattern, plain, said)
            short = said if len(said) <= _WORD else said[: _WORD - 3].rstrip() + "..."
            return Told(time.monotonic() - struck_s, f"(log) {short}")
    return None


def lost(stage: Stage, struck_s: float) -> str:
    """The longest hole in alder's air readings, after everything was mended and the process has ended in order."""
    process = stage.daemon.process
    lasted_s = time.monotonic() - struck_s
    stopped_wall_s = time.time()
    code = stage.daemon.stop() if process.poll() is None else process.returncode
    words = [f"ended with code {end}" for end in dict.fromkeys([*stage.ends, code]) if end > 0]
    if not stage.database.exists():
        return ", ".join([*words, "nothing was recorded"])
    try:
        recorded = Recorded(stage.data)
        window = recorded.window(None, recorded.mark())
    except StoreError as error:
        return ", ".join([*words, f"record: {error}".replace(f"{stage.directory}/", "")[:_WORD]])
    found = [points for key, points in window.series.items() if (key[0], key[1].value) == _AIR]
    points = [point for each in found for point in each]
    if stage.clock_set:
        # On the record's own time line, which no set clock bends, but which skips the time between two runs.
        at_s = [point.elapsed_s for point in points if point.elapsed_s >= window.end_elapsed_s - lasted_s]
    else:
        began_wall_s = stopped_wall_s - lasted_s
        at_s = [point.wall_s for point in points if point.wall_s >= began_wall_s - 2.0] + [stopped_wall_s]
    hole_s = max((b - a for a, b in pairwise(at_s)), default=lasted_s)
    # One a second; a busy machine is late now and then.
    if hole_s > 2.5:
        words.append(f"{hole_s - 1.0:.0f} s of readings")
    return ", ".join(words)


def allowed_at(levels: Sequence[Level], at_s: float) -> bool:
    """What the line did at this moment."""
    before = [level for level in levels if level.at_s <= at_s]
    return bool(before) and before[-1].allow


def wall_from_limiter_c(allowed_s: float) -> float:
    """What the true wall comes to when it stands at the limiter and is heated for so long: by the twin's physics."""
    network = TubPhysics(mat_w=ALDER_W).network()
    return network.advance(_AT_THE_LIMITER_C, allowed_s, _ROOM_C, ALDER_W)[0] if allowed_s > 0.0 else LIMITER_C
