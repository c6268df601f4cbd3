"""Sending one push to one target: the part that meets the network.

The notification library runs in a child process of its own, once per push: it would cost the daemon some 35 MB for
good, and a service that never answers is ended with the child. The address goes to the child over its standard input,
so that no list of processes shows it. An address `file:/absolute/path` needs neither: a line is appended to that file.

As a program (`python -m matwarden.sinks.push_send`) this module is that child.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import unquote

from matwarden.sinks.push_terms import PushTarget

__all__ = ["PICTURE_LINE", "SEND_LIMIT_S", "Sender", "address_of", "redact", "send"]

# The library gives up a silent service after some seconds itself; its start takes seconds too on the smallest board.
SEND_LIMIT_S = 30.0

# With a picture less: the words alone must still have their time, and the alarms behind them.
_PICTURE_LIMIT_S = 20.0

PICTURE_LINE = "  picture: "
"""By this a line of a `file:` target tells where the picture of the line before it is."""

# (target, title, body, priority, UTC seconds, picture) -> None when it was delivered, else why not, without any secret.
Sender = Callable[[PushTarget, str, str, str, float, Path | None], str | None]


def send(
    target: PushTarget, title: str, body: str, priority: str, wall_s: float, attachment: Path | None = None
) -> str | None:
    """Deliver one push. None, or in one clause why it was not delivered.

    Blocks for `SEND_LIMIT_S` at most, with a picture 20 s longer. Where the picture is gone or not taken the words go
    alone, so that a target may rarely get them twice rather than not at all.
    """
    try:
        address = address_of(target)
    except ValueError as error:
        return str(error)
    if address.startswith("file:"):
        path = Path(address.removeprefix("file:").removeprefix("//"))
        return _append(path, title, body, wall_s, attachment if _readable(attachment) else None)
    order = {"url": address, "title": title, "body": body, "priority": priority}
    if _readable(attachment) and _hand_over({**order, "picture": str(attachment)}, _PICTURE_LIMIT_S) is None:
        return None
    return _hand_over(order, SEND_LIMIT_S)


def _readable(attachment: Path | None) -> bool:
    return attachment is not None and os.path.isfile(attachment) and os.access(attachment, os.R_OK)


def _hand_over(order: dict[str, str], limit_s: float) -> str | None:
    command = [sys.executable, "-P", "-m", "matwarden.sinks.push_send"]
    try:
        child = subprocess.run(
            command,
            input=json.dumps(order),
            capture_output=True,
            text=True,
            errors="replace",
            timeout=limit_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return f"no answer within {limit_s:.0f} s"
    except OSError as error:
        return f"the sending program cannot be started: {error.strerror}"
    if child.returncode == 0:
        return None
    told = child.stdout.strip().splitlines()
    return redact(told[-1], order["url"]) if told else f"the sending program ended with code {child.returncode}"


def address_of(target: PushTarget) -> str:
    """The target's address, from its file when it has one.

    Raises:
        ValueError: the file cannot be read or holds no address; the text says so without its contents.
    """
    if target.url is not None:
        return target.url
    try:
        lines = Path(target.url_file or "").read_text(encoding="utf-8").strip().splitlines()
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise ValueError(f"the address cannot be read from {target.url_file}: {why}") from error
    if not lines or ":" not in lines[0]:
        raise ValueError(f"{target.url_file} holds no address in its first line")
    return lines[0].strip()


def redact(text: str, address: str) -> str:
    """`text` with every part of `address` but its scheme made unreadable: any of them may be the secret."""
    rest = address.split(":", 1)[-1]
    parts = {part for part in re.split(r"[/:@?&=,;#]+", rest) if len(part) >= 3}
    for part in sorted(parts | {unquote(part) for part in parts} | {rest}, key=len, reverse=True):
        text = text.replace(part, "***")
    return text


def _append(path: Path, title: str, body: str, wall_s: float, attachment: Path | None) -> str | None:
    moment = datetime.fromtimestamp(wall_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    one_line = " / ".join(line.strip() for line in body.splitlines() if line.strip())
    try:
        with path.open("a", encoding="utf-8") as file:
            file.write(f"{moment}  {title}  {one_line}\n")
            if attachment is not None:
                file.write(f"{moment}  {title}{PICTURE_LINE}{attachment}\n")
    except OSError as error:
        return f"cannot append to {path}: {error.strerror}"
    return None


def _child() -> int:
    """Read one order from standard input, carry it out; the last line printed says what went wrong."""
    import logging

    import apprise
    from apprise.attachment.file import AttachFile

    order = json.load(sys.stdin)
    kinds = {"high": apprise.NotifyType.FAILURE, "medium": apprise.NotifyType.WARNING}
    told: list[str] = []

    class Ear(logging.Handler):
        """Keeps what the library says about a failure: its return value tells only that there was one."""

        def emit(self, record: logging.LogRecord) -> None:
            told.append(" ".join(record.getMessage().split()))

    ear = Ear(level=logging.WARNING)
    logging.getLogger("apprise").addHandler(ear)
    service = apprise.Apprise()
    if not service.add(order["url"]):
        print("its address is not one of a known service")
        return 1
    kind = kinds.get(order["priority"], apprise.NotifyType.INFO)
    text = apprise.NotifyFormat.TEXT
    picture = AttachFile(order["picture"]) if "picture" in order else None  # type: ignore[no-untyped-call]
    if service.notify(title=order["title"], body=order["body"], notify_type=kind, body_format=text, attach=picture):
        return 0
    print(redact(told[-1] if told else "the service did not take it", order["url"]))
    return 1


if __name__ == "__main__":
    sys.exit(_child())
