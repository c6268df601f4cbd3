"""The commands that change what is told of alarms: `ack`, `shelve`, `unshelve`, `service`."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

__all__ = ["add_arguments", "request_of"]

_ONE = "an alarm's id, such as cold/oak, or a tub's: all its alarms"


def add_arguments(name: str, sub: argparse.ArgumentParser) -> None:
    """The arguments of the command called `name`."""
    if name == "service":
        sub.add_argument("way", choices=("on", "off"), help="on: told again; off: not told until put back")
    more = "; all: every alarm" if name == "ack" else ""
    sub.add_argument("target", metavar="ALARM", help=_ONE + more)
    if name == "shelve":
        how = sub.add_mutually_exclusive_group(required=True)
        how.add_argument("--for", dest="span", metavar="TIME", help="how long: 90s, 30min or 4h")
        how.add_argument("--once", action="store_true", help="until this time, or the next, is over")


def request_of(asked: argparse.Namespace, span_s: Callable[[str], float | None]) -> dict[str, Any] | str:
    """What to ask of the station; a sentence if the command line cannot be understood.

    Args:
        span_s: seconds of a time as a person writes it, None if it is none.
    """
    request: dict[str, Any] = {"do": asked.verb, "target": asked.target}
    if asked.verb == "service":
        request["on"] = asked.way == "on"
    elif asked.verb == "shelve" and asked.once:
        request["once"] = True
    elif asked.verb == "shelve":
        for_s = span_s(asked.span)
        if for_s is None:
            return f"'{asked.span}' is not a time such as 90s, 30min or 4h"
        request["for_s"] = for_s
    return request
