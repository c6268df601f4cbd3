"""`matwarden status --follow`: the shelf on a terminal, drawn anew every few seconds until somebody ends it."""

from __future__ import annotations

import shutil
import signal
import sys
import threading
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.asking import ask
from matwarden.clocks import SystemClock
from matwarden.exit_codes import Exit
from matwarden.recorded import recorded_status
from matwarden.report.follow_text import follow_lines
from matwarden.settings import Settings
from matwarden.sinks.store_schema import StoreError

__all__ = ["follow"]

EVERY_S = 2.0
# In a pipe a line a minute is plenty.
_LINE_EVERY_S = 60.0
# Alternate screen, no cursor; and back: xterm's private modes 1049 and 25, which every terminal here knows.
_ENTER, _LEAVE = "\x1b[?1049h\x1b[?25l", "\x1b[?25h\x1b[?1049l"
# ECMA-48: to the corner; erase to the line's end; erase below.
_HOME, _REST_OF_LINE, _BELOW = "\x1b[H", "\x1b[K", "\x1b[J"


class _Ended(Exception):  # noqa: N818 - no error
    """Somebody asked it to end."""


def follow(settings: Settings, every_s: float = EVERY_S) -> int:
    """Draw until Ctrl-C or a signal; the terminal is left as it was found."""
    if not sys.stdout.isatty():
        return _lines(settings)
    numbers = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
    before = {number: signal.signal(number, _end) for number in numbers}
    wait = threading.Event()
    try:
        sys.stdout.write(_ENTER)
        while True:
            size = shutil.get_terminal_size((80, 24))
            # One write a frame: nothing is ever seen half drawn.
            sys.stdout.write(_frame(settings, size.columns, size.lines))
            sys.stdout.flush()
            wait.wait(every_s)
    except _Ended:
        return Exit.OK
    finally:
        for number in numbers:
            signal.signal(number, signal.SIG_IGN)
        sys.stdout.write(_LEAVE)
        sys.stdout.flush()
        for number, handler in before.items():
            signal.signal(number, handler)


def _end(*_: object) -> None:
    raise _Ended


def _frame(settings: Settings, columns: int, rows: int) -> str:
    lines = _seen(settings, columns, rows)
    return _HOME + f"{_REST_OF_LINE}\r\n".join(lines) + _REST_OF_LINE + _BELOW


def _lines(settings: Settings) -> int:
    wait = threading.Event()
    while True:
        print(" | ".join(line.strip() for line in _seen(settings, 1000, 1000)), flush=True)
        wait.wait(_LINE_EVERY_S)


def _seen(settings: Settings, columns: int, rows: int) -> list[str]:
    now_s = SystemClock().now().wall_s
    zone = ZoneInfo(settings.zone)
    return follow_lines(_status(settings, now_s), settings.house_name, settings.unit, zone, now_s, columns, rows)


def _status(settings: Settings, now_wall_s: float) -> dict[str, Any] | None:
    """Of the running station; of the record when none runs; None: nothing is known."""
    answer = ask(settings, {"do": "status"})
    if answer is not None and "status" in answer:
        found: dict[str, Any] = answer["status"]
        return found
    try:
        return recorded_status(settings, now_wall_s)
    except StoreError:
        return None
