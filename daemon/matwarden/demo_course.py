"""A tub commissioned in the demo: the real course on simulated time, and its report."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TextIO

from matwarden.core.course import CourseTerms
from matwarden.core.units import duration_text
from matwarden.course_file import CourseFile
from matwarden.course_run import Ended, Progress, Result, conduct
from matwarden.rehearsal import Rehearsal
from matwarden.terms import At, Enclosure

__all__ = ["BEGINS_S", "course_of", "tell_found"]

# 19:00 of the first evening.
BEGINS_S = 2 * 3600.0


class _Passing:
    """A clock on which waiting lets the rehearsal's time pass."""

    def __init__(self, run: Rehearsal, after_cycle: Callable[[float], None]) -> None:
        self._run, self._after_cycle = run, after_cycle

    def now(self) -> At:
        return self._run.clock.now()

    def wait(self, until_s: float, wake: threading.Event) -> None:
        self._run.run_until(until_s, self._after_cycle)


def course_of(
    run: Rehearsal,
    enclosure: Enclosure,
    until_s: float,
    after_cycle: Callable[[float], None],
    say: Callable[[str], None],
) -> Ended:
    """Take one tub through its course, and return when it is over; at `until_s` at the latest.

    Args:
        after_cycle: as of `Rehearsal.run_until`. say: is told of each part as it begins.
    """
    clock, told = _Passing(run, after_cycle), 0

    def show(progress: Progress) -> None:
        nonlocal told
        if progress.number != told:
            told = progress.number
            left = duration_text(progress.left_s)
            say(f"{enclosure.name}, part {progress.number} of {progress.parts_n}: {progress.part}; {left} left at most")

    file = CourseFile(run.settings.store.directory, enclosure.id)
    terms = CourseTerms(enclosure.band.low_c)
    with file.locked():
        ended = conduct(
            run.settings,
            enclosure,
            terms,
            file,
            run.ask,
            clock,
            threading.Event(),
            lambda: clock.now().mono_s >= until_s,
            show,
        )
        file.drop()
    return ended


def tell_found(run: Rehearsal, enclosure: Enclosure, ended: Ended, out: TextIO) -> Path | None:
    """Print what the course has found; where it is kept, None: nothing was found, and why is printed."""
    if ended.result is not Result.OVER:
        print(f"\n{enclosure.name} is not commissioned: {ended.text}", file=out)
        return None
    try:
        from matwarden.commissioning import kept_report, study
    except ModuleNotFoundError as error:
        print(f"\n{enclosure.name} is not commissioned: {error.name} is missing: matwarden[analysis]", file=out)
        return None
    settings, now_s = run.settings, run.clock.now().wall_s
    studied = study(settings, enclosure, ended.since_wall_s, ended.until_wall_s, None, now_s)
    report = kept_report(settings, enclosure, studied)
    print(f"\n--- {enclosure.name}, commissioned in the first night ---\n{report.text}", file=out)
    return report.home
