"""Who holds the record's lock, and ending it by force: for `matwarden cut`, so nothing but the standard library."""

from __future__ import annotations

import fcntl
import os
import select
import signal
from pathlib import Path

__all__ = ["LOCK", "end_by_force", "holder"]

LOCK = "matwarden.lock"
"""The file beside the record that a running station holds locked, with its process number in it."""

_DEAD_WITHIN_S = 5.0


def holder(lock: Path) -> int | None:
    """The process that holds the lock, as it wrote itself down; 0: it did not; None: nobody holds it."""
    try:
        file = os.open(lock, os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        written = os.pread(file, 20, 0).strip()
        return int(written) if written.isdigit() else 0
    except OSError:
        return None
    finally:
        os.close(file)
    return None


def end_by_force(lock: Path) -> str:
    """SIGKILL the process that holds the lock, and wait until it is gone.

    A number that a dead station left behind kills nobody: the process must have the lock's very file open.

    Returns:
        What was done or stood in the way, in words; empty when nobody holds the lock.
    """
    process = holder(lock)
    if process is None:
        return ""
    try:
        # A handle, not the number: the number could pass to another process between the look and the kill.
        handle = os.pidfd_open(process) if process else -1
    except OSError as error:
        return f"process {process}, which {lock} names, cannot be ended: {error.strerror}"
    if handle == -1:
        return f"{lock} is held, and does not say by which process"
    try:
        if not _has_open(process, lock):
            return f"process {process}, which {lock} names, is not seen to hold it (try as root); it was not ended"
        signal.pidfd_send_signal(handle, signal.SIGKILL)
        gone = select.poll()
        gone.register(handle, select.POLLIN)
        if not gone.poll(_DEAD_WITHIN_S * 1000):
            return f"process {process} was sent SIGKILL and is still there: the kernel holds it; restart the machine"
    except OSError as error:
        return f"process {process} cannot be ended: {error.strerror} (try as root)"
    finally:
        os.close(handle)
    return f"process {process} was ended by SIGKILL; a service manager starts it again, unless it is stopped there"


def _has_open(process: int, file: Path) -> bool:
    wanted = file.stat()
    for link in Path(f"/proc/{process}/fd").iterdir():
        try:
            found = link.stat()
        except OSError:
            continue
        if os.path.samestat(found, wanted):
            return True
    return False
