"""`matwarden` with an ear on everything the interpreter does (PEP 578, audit hooks): python watched.py FILE ARGUMENTS

Whatever leaves the process or writes is written down, one JSON line each, when it has ended.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

_HEARD: list[tuple[str, list[str]]] = []
_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
# Of the standard library's table of audit events: what connects, starts, changes files or opens a database.
_TOLD = (
    "socket.",
    "subprocess.",
    "os.exec",
    "os.fork",
    "os.posix_spawn",
    "os.spawn",
    "os.system",
    "os.startfile",
    "os.remove",
    "os.rename",
    "os.rmdir",
    "os.mkdir",
    "os.link",
    "os.symlink",
    "os.truncate",
    "os.chmod",
    "os.chown",
    "os.utime",
    "os.kill",
    "shutil.",
    "sqlite3.connect",
    "ftplib.",
    "http.",
    "urllib.",
    "smtplib.",
    "ctypes.dlopen",
)


def _hear(event: str, arguments: tuple[Any, ...]) -> None:
    if event == "open":
        path, mode, flags = arguments
        # Device files and what the kernel shows of buses are told even when they are only read.
        looked_at = isinstance(path, str) and path.startswith(("/dev/", "/sys/"))
        writes = isinstance(flags, int) and bool(flags & _WRITES)
        if (writes or looked_at) and isinstance(path, str | bytes | os.PathLike):
            _HEARD.append(("open", [os.fsdecode(path), str(mode)]))
    elif event == "import":
        if arguments[0] in ("gpiod", "adafruit_dht", "board"):
            _HEARD.append(("import", [str(arguments[0])]))
    elif event.startswith(_TOLD):
        _HEARD.append((event, [str(argument) for argument in arguments]))


def _main() -> int:
    file, words = sys.argv[1], sys.argv[2:]
    sys.dont_write_bytecode = True
    sys.addaudithook(_hear)
    from matwarden.main import main

    code = main(words)
    heard = list(_HEARD)
    with open(file, "w", encoding="utf-8") as told:
        told.writelines(json.dumps(each) + "\n" for each in heard)
    return code


if __name__ == "__main__":
    sys.exit(_main())
