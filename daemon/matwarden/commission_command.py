"""`matwarden commission`: what a tub can do, found by an experiment with the guard in charge, or from its record."""

from __future__ import annotations

import argparse
import contextlib
import json
import signal
import sys
import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from matwarden.asking import ask
from matwarden.exit_codes import Exit
from matwarden.settings import Settings, load
from matwarden.terms import Enclosure, Unit
from matwarden.time_range import RangeError, add_range_arguments, moment

if TYPE_CHECKING:
    from matwarden.course_file import CourseFile
    from matwarden.course_run import Ended

__all__ = ["add_arguments", "carry_out"]

_ROOM_C = (-20.0, 50.0)


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden commission`."""
    sub.add_argument("enclosure", metavar="ENCLOSURE", help="its id in the settings file")
    add_range_arguments(sub, "no history: an experiment of 10 to 24 h is made")
    sub.add_argument(
        "--room", type=float, metavar="DEGREES", help="a room to be told of beside those recorded, in your unit"
    )
    sub.add_argument("--anew", action="store_true", help="begin from the start, not where it was left")


def carry_out(asked: argparse.Namespace) -> int:
    """Make the experiment, or go on with it; then find, keep and print what it tells. Returns the exit code.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.control_client import no_mat_text, unknown_text

    settings = load(asked.settings)
    enclosure = next((each for each in settings.enclosures if each.id == asked.enclosure), None)
    if enclosure is None:
        return _said(unknown_text(each.id for each in settings.enclosures), Exit.UNKNOWN)
    if enclosure.mat is None:
        return _said(no_mat_text(enclosure.name), Exit.REFUSED)
    room_c = asked.room
    if room_c is not None and settings.unit is Unit.F:
        room_c = (room_c - 32.0) / 1.8
    if room_c is not None and not _ROOM_C[0] <= room_c <= _ROOM_C[1]:
        return _said(f"--room {asked.room:g} °{settings.unit.value} is no room", Exit.USAGE)
    try:
        # Now, and not after a day.
        import matwarden.commissioning  # noqa: F401
    except ModuleNotFoundError as error:
        text = f"{error.name} is missing: commission needs matwarden[analysis]: pip install 'matwarden[analysis]'"
        return _said(text, Exit.REFUSED)
    if asked.since is not None or asked.until is not None:
        return _of_history(asked, settings, enclosure, room_c)
    return _of_course(asked, settings, enclosure, room_c)


def _of_history(asked: argparse.Namespace, settings: Settings, enclosure: Enclosure, room_c: float | None) -> int:
    from matwarden.sinks.store_read import Recorded
    from matwarden.sinks.store_schema import StoreError

    zone = ZoneInfo(settings.zone)
    try:
        seen_s = Recorded(settings.store.directory).last_seen()
        if seen_s is None:
            return _said("nothing was ever recorded", Exit.STORE)
        until_s = seen_s if asked.until is None else moment(asked.until, zone, seen_s, end=True)
        since_s = None if asked.since is None else moment(asked.since, zone, seen_s)
    except RangeError as error:
        return _said(str(error), Exit.USAGE)
    except StoreError as error:
        return _said(str(error), Exit.STORE)
    if since_s is not None and until_s <= since_s:
        return _said("--to is not after --from", Exit.USAGE)
    return _told(asked, settings, enclosure, since_s, until_s, room_c)


def _of_course(asked: argparse.Namespace, settings: Settings, enclosure: Enclosure, room_c: float | None) -> int:
    from matwarden.course_file import CourseFile, CourseFileError
    from matwarden.course_run import Result

    file = CourseFile(settings.store.directory, enclosure.id)
    try:
        with file.locked():
            if asked.anew:
                file.drop()
            ended = _experiment(asked, settings, enclosure, file)
            if ended.result is not Result.OVER:
                return _not_over(enclosure, ended)
            code = _told(asked, settings, enclosure, ended.since_wall_s, ended.until_wall_s, room_c)
            if code in (Exit.OK, Exit.REFUSED):
                file.drop()
            return code
    except CourseFileError as error:
        return _said(str(error), Exit.STORE)


def _experiment(asked: argparse.Namespace, settings: Settings, enclosure: Enclosure, file: CourseFile) -> Ended:
    from matwarden.clocks import SystemClock
    from matwarden.core.course import CourseTerms
    from matwarden.course_run import conduct
    from matwarden.course_show import Shown

    # With --json standard output is for the result alone.
    out = sys.stderr if asked.json else sys.stdout
    shown = Shown(out, out.isatty(), settings.unit, ZoneInfo(settings.zone))
    with _signals() as (wake, interrupted):
        try:
            return conduct(
                settings,
                enclosure,
                CourseTerms(enclosure.band.low_c),
                file,
                lambda request: ask(settings, request),
                SystemClock(),
                wake,
                interrupted.is_set,
                shown,
            )
        finally:
            shown.close()


def _not_over(enclosure: Enclosure, ended: Ended) -> int:
    from matwarden.course_run import Result

    again = f"matwarden commission {enclosure.id}"
    if ended.result is Result.INTERRUPTED:
        return _said(f"ended; {ended.text}. To go on: {again}", Exit.INTERRUPTED)
    code = Exit.NOT_RUNNING if ended.result is Result.NOT_RUNNING else Exit.REFUSED
    return _said(f"{ended.text}.{' To go on: ' + again if ended.begun else ''}", code)


def _told(
    asked: argparse.Namespace,
    settings: Settings,
    enclosure: Enclosure,
    since_s: float | None,
    until_s: float | None,
    room_c: float | None,
) -> int:
    """Find, keep and print."""
    from matwarden.clocks import SystemClock
    from matwarden.commissioned import CommissionedError
    from matwarden.commissioning import kept_report, study
    from matwarden.sinks.store_schema import StoreError

    try:
        studied = study(settings, enclosure, since_s, until_s, room_c, SystemClock().now().wall_s)
        report = kept_report(settings, enclosure, studied)
    except (CommissionedError, StoreError) as error:
        return _said(str(error), Exit.STORE)
    if asked.json:
        print(json.dumps(report.document, indent=2, ensure_ascii=False))
    elif studied.refusals:
        print(report.text, file=sys.stderr)
    else:
        print(report.text)
    return Exit.REFUSED if studied.refusals else Exit.OK


@contextlib.contextmanager
def _signals() -> Iterator[tuple[threading.Event, threading.Event]]:
    """Whoever asks it to end is heard between two looks: a hold is never left half done."""
    wake, interrupted = threading.Event(), threading.Event()

    def end(*_: object) -> None:
        interrupted.set()
        wake.set()

    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = {number: signal.getsignal(number) for number in numbers}
    for number in numbers:
        # Under nohup it is to live on.
        if before[number] is not signal.SIG_IGN:
            signal.signal(number, end)
    try:
        yield wake, interrupted
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _said(text: str, code: int) -> int:
    print(f"matwarden: {text}", file=sys.stderr)
    return code
