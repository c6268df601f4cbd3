"""Playing a scene and measuring it, in real time; scenes can be played side by side.

Oak and alder ask for heat. The trouble begins once both are heated; then, in the middle of it, alder's wall reads 8 K
hotter: heat is wrong from that reading on, and what is measured is how long its line still allows it. Where the process
itself dies or freezes, that is counted from then.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from faults.measured import LIMITER_C, Told
from faults.process_measured import ProcessRow, allowed_at, logged, lost, pushed, wall_from_limiter_c
from faults.spoiler import NoCompilerError
from faults.stage import HOT_AT_S, Scene, Stage, TooSlowError, staged
from helpers_process import eventually

__all__ = ["play", "play_all"]

# Between the trouble and the hot wall at least so much, so that it strikes in the middle of it.
_IN_BETWEEN_S = 4.0
_TRIES = 3
# A machine may be slow to start a second process.
_START_S = 60.0
# What is in the log is pushed within so much, or not at all. And readings go on for so long after all is mended.
_PUSH_WITHIN_S = 6.0
_SETTLED_S = 3.0


def play(scene: Scene, directory: Path) -> ProcessRow:
    """Play one scene; again, with the hot wall later, where the machine was too slow.

    Raises:
        NoCompilerError: it needs a C compiler.
    """
    for number in range(_TRIES):
        with staged(scene, directory.with_name(f"{directory.name}-{number}")) as stage:
            try:
                return _played(scene, stage, HOT_AT_S * (number + 1))
            except TooSlowError:
                continue
    raise AssertionError(f"{scene.name}: this machine is too busy to play it")


def play_all(scenes: Sequence[Scene], directory: Path, at_once: int) -> list[ProcessRow]:
    """Play scenes side by side, so many at a time. One that this machine cannot play is left out."""

    def one(scene: Scene) -> ProcessRow | None:
        try:
            row = play(scene, directory / scene.name.replace(" ", "-").replace(",", ""))
        except NoCompilerError:
            return None
        print(
            f"{row.fault}: {row.allowed_s:.1f} s, {row.told}, {row.lost} {'! ' if row.failures() else ''}", flush=True
        )
        return row

    with ThreadPoolExecutor(at_once) as stages:
        return [row for row in stages.map(one, scenes) if row is not None]


def _played(scene: Scene, stage: Stage, hot_at_s: float) -> ProcessRow:
    began_s = time.monotonic()
    stage.start(None if scene.kills or scene.never else hot_at_s)
    if scene.never:
        return _never(scene, stage, began_s)
    stage.daemon.until_allowed("oak", "alder")
    # The shelf's own time begins a little before its relays are first cut.
    hot_s = stage.levels()[0].at_s + hot_at_s
    if not scene.kills and time.monotonic() > hot_s - _IN_BETWEEN_S:
        raise TooSlowError
    struck_s = time.monotonic()
    scene.trouble(stage)
    wrong_s = struck_s if scene.kills else hot_s
    heard = _watch(scene, stage, struck_s, wrong_s)
    levels = stage.levels()
    cut_s = min((level.at_s for level in levels if level.at_s >= wrong_s and not level.allow), default=time.monotonic())
    allowed_s = cut_s - wrong_s if allowed_at(levels, wrong_s) else 0.0
    wall_c = wall_from_limiter_c(allowed_s + scene.unit_adds_s)
    return ProcessRow(scene.name, scene.how, wall_c, allowed_s, scene.bound_s, heard, lost(stage, struck_s))


def _watch(scene: Scene, stage: Stage, struck_s: float, wrong_s: float) -> Told | None:
    """Until heat is cut, the keeper is told and everything is mended; what was told first, a push if there was one."""
    mended_s: float | None = None
    push: Told | None = None
    log: Told | None = None
    while True:
        stage.attend()
        push = push or pushed(stage, scene.words, struck_s if scene.words else wrong_s)
        log = log or logged(stage, scene.words, struck_s)
        now_s = time.monotonic()
        late = now_s > wrong_s + scene.watched_s
        is_cut = now_s > wrong_s and not allowed_at(stage.levels(), now_s)
        in_log = log is not None and now_s > wrong_s + _PUSH_WITHIN_S
        is_told = push is not None or in_log
        if mended_s is None and (late or (is_cut and (is_told or scene.mend_first))):
            scene.mend(stage)
            mended_s = now_s
        if mended_s is not None and now_s > mended_s + _SETTLED_S and (late or is_told):
            return push or log
        time.sleep(0.05)


def _never(scene: Scene, stage: Stage, began_s: float) -> ProcessRow:
    """A program that cannot start: tried twice, as the service manager would."""
    heard: Told | None = None
    for _ in range(2):
        process = stage.daemon.process
        eventually(lambda running=process: running.poll() is not None, f"its end: {stage.log()}", _START_S)  # type: ignore[misc]
        heard = heard or logged(stage, scene.words, began_s)
        stage.attend()
    assert not any(level.allow for level in stage.levels()), "it allowed heat"
    return ProcessRow(scene.name, scene.how, LIMITER_C, 0.0, scene.bound_s, heard, lost(stage, began_s))
