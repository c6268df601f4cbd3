"""Asking the running station, and showing its answer."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from typing import Any

from matwarden.exit_codes import Exit
from matwarden.settings import Settings, load

__all__ = ["ask", "show", "span_s", "told"]


def told(asked: argparse.Namespace, request: Mapping[str, Any]) -> int:
    """Ask the running station and show its answer."""
    settings = load(asked.settings)
    answer = ask(settings, request)
    if answer is None:
        print(f"matwarden: not running: nobody answers at {settings.control.socket}", file=sys.stderr)
        return Exit.NOT_RUNNING
    return show(answer, asked.json)


def ask(settings: Settings, request: Mapping[str, Any]) -> dict[str, Any] | None:
    """The running station's answer; None when none runs."""
    from matwarden.control_client import NotRunningError
    from matwarden.control_client import ask as ask_socket

    try:
        return ask_socket(settings.control.socket, request)
    except NotRunningError:
        return None
    except PermissionError:
        text = f"this user may not use {settings.control.socket}; join the group that owns it, or use sudo"
        return {"ok": False, "text": text}


def show(answer: Mapping[str, Any], as_json: bool) -> int:
    if as_json:
        print(json.dumps(dict(answer), indent=2, ensure_ascii=False))
    else:
        print(answer["text"], file=sys.stdout if answer["ok"] else sys.stderr)
    if answer["ok"]:
        return Exit.OK
    return Exit.UNKNOWN if answer.get("unknown") else Exit.REFUSED


def span_s(text: str) -> float | None:
    """Seconds of a time such as 90s, 30min or 2h; None: it is none."""
    for ending, seconds in (("min", 60.0), ("h", 3600.0), ("s", 1.0)):
        if text.endswith(ending):
            try:
                value = float(text.removesuffix(ending))
            except ValueError:
                return None
            return value * seconds if 0.0 < value < float("inf") else None
    return None
