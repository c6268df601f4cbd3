"""Asking the running station something: the other end of the control socket, and what both ends may have to say."""

from __future__ import annotations

import json
import socket
import struct
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

__all__ = ["ANSWER_WITHIN_S", "NotRunningError", "ask", "no_mat_text", "unknown_text"]

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
        # A Unix socket with Python's own timeout does not wait for its turn when many ask at once; with this it does.
        line.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("ll", int(ANSWER_WITHIN_S), 0))
        try:
            line.connect(str(path))
            line.settimeout(ANSWER_WITHIN_S + 2.0)
            line.sendall(json.dumps(dict(request)).encode() + b"\n")
            answer = line.makefile("rb").readline()
            return dict(json.loads(answer))
        except PermissionError:
            raise
        except (TimeoutError, BlockingIOError):
            # Somebody listens there, silent or overrun: to say "not running" would be to say that heat is cut.
            text = f"matwarden runs, but did not answer at {path}; its log may say why, else restart it"
            return {"ok": False, "text": text}
        except (OSError, ValueError) as error:
            raise NotRunningError(f"nobody answers at {path} ({error})") from None


def unknown_text(known: Iterable[str]) -> str:
    """There is no such enclosure."""
    return f"there is no enclosure of that name; there are: {', '.join(known)}"


def no_mat_text(name: str) -> str:
    """A verb about heat was asked of a tub without any."""
    return f"{name} has no mat: there is nothing to decide"
