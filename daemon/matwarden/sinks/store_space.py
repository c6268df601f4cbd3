"""How much room the disk has left, and what that means for the record. Never for warming."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

__all__ = ["FLOOR_BYTES", "Room", "free_bytes", "has_room"]

_MB = 1_000_000
# Under this single readings are not written any more: what is left is for trips, alarms and their pushes (a few kB
# each) and for whatever else runs on the machine. Our own choice.
FLOOR_BYTES = 50 * _MB
# So much above the floor there is room again, so that a log that is rotated does not switch it every minute.
_MARGIN_BYTES = 10 * _MB


def has_room(free: int, had_room: bool) -> bool:
    """Whether single readings may be written, with `free` bytes left on the disk."""
    return free >= FLOOR_BYTES + (0 if had_room else _MARGIN_BYTES)


def free_bytes(directory: Path) -> int:
    """What this process may still write on the disk of `directory`.

    Raises:
        OSError: it cannot be told.
    """
    disk = os.statvfs(directory)
    return disk.f_bavail * disk.f_frsize


class Room:
    """Remembers whether there was room.

    Args:
        free: tells the bytes left; an OSError of it counts as room: the write itself will tell.

    Attributes:
        left: bytes left when last asked.
    """

    def __init__(self, free: Callable[[], int]) -> None:
        self._free = free
        self._had_room = True
        self.left = 0

    def __call__(self) -> bool:
        """Whether single readings may be written now."""
        try:
            self.left = self._free()
        except OSError:
            return True
        self._had_room = has_room(self.left, self._had_room)
        return self._had_room
