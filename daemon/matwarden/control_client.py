"""Asking the running station something: the other end of the control socket."""

from __future__ import annotations

import json
import socket
from collections.abc import Mapping
from pathlib import Path
from typing import Any

__all__ = ["ANSWER_WITHIN_S", "NotRunningError", "ask"]

# The station answers within a cycle; a driver or disk cannot hold it up.
ANSWER_WITHIN_S = 10.0


class NotRunningError(Exception):
    """Nobody answers at the socket."""


def ask(path: Path, request: Mapping[str, Any]) -> dict[str, Any]:
    """Send one request to the running station.

    Raises:
        NotRunningError: nobody answers there. The text says what was tried.
        PermissionError: this user may not talk to the station.
    """
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(ANSWER_WITHIN_S + 2.0)
        try:
            line.connect(str(path))
            line.sendall(json.dumps(dict(request)).encode() + b"\n")
            answer = line.makefile("rb").readline()
            return dict(json.loads(answer))
        except PermissionError:
            raise
        except (OSError, ValueError) as error:
            raise NotRunningError(f"nobody answers at {path} ({error})") from None
