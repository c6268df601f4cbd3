"""What must not be forgotten, kept where a full disk cannot refuse it: a small file that is only ever written in place.

A trip, a relay fault or a hold whose commit fails (no room, a lock that somebody holds) is kept here until a commit
succeeds, so that the next start knows it whatever happens in between. The file has its full size, in written blocks,
from the first start: writing over them needs no room on a file system that writes in place (ext4; one that copies on
write, as btrfs does, may refuse). On a disk that has become read-only nothing can be kept.

Two slots take turns, each with a number and a checksum: of a write that is cut off the one before is left.
"""

from __future__ import annotations

import json
import os
import struct
import zlib
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

__all__ = ["LATCHES", "Latches", "kept_latches"]

LATCHES = "matwarden.latches"
# A guard's memory is some 250 bytes, and a board has fewer than 30 lines for relays.
_SLOT_BYTES = 32 * 1024
_HEAD = struct.Struct("<QII")  # number, length, CRC-32 of number and states


class Latches:
    """The file. Never raises: it is the last resort, and there is nobody left to tell.

    Args:
        power_safe: what `keep` has written outlives a power cut.
    """

    def __init__(self, path: Path, power_safe: bool) -> None:
        self._power_safe = power_safe
        self._file = _laid(path)
        self._slot, self._number, self._states = _newest(b"" if self._file is None else _content(self._file))

    @property
    def states(self) -> Mapping[str, str]:
        """What is kept: JSON texts by `Remember` key. Newer than what the record says."""
        return self._states

    def keep(self, states: Mapping[str, str]) -> bool:
        """Keep these instead, nothing for an empty mapping; False when that failed. Unchanged ones are not written."""
        if states == self._states:
            return True
        text = json.dumps(dict(states), separators=(",", ":")).encode()
        if self._file is None or len(text) > _SLOT_BYTES - _HEAD.size:
            return False
        number, slot = self._number + 1, 1 - self._slot
        content = _HEAD.pack(number, len(text), _checksum(number, text)) + text
        try:
            if os.pwrite(self._file, content, slot * _SLOT_BYTES) != len(content):
                return False
            if self._power_safe:
                os.fdatasync(self._file)
        except OSError:
            return False
        self._slot, self._number, self._states = slot, number, dict(states)
        return True

    def close(self) -> None:
        """Release the file. Safe to call twice."""
        if self._file is not None:
            os.close(self._file)
            self._file = None


def kept_latches(path: Path) -> dict[str, str]:
    """What is kept in the file, for whoever only reads; nothing when there is none."""
    with suppress(OSError):
        return _newest(path.read_bytes())[2]
    return {}


def _laid(path: Path) -> int | None:
    """Open the file, having written it to its full size; None when neither goes."""
    try:
        file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError:
        with suppress(OSError):
            return os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        return None
    try:
        missing = 2 * _SLOT_BYTES - os.fstat(file).st_size
        if missing > 0:
            # Written, not only reserved: the first write into a reserved block may need room for the disk's own books.
            os.pwrite(file, bytes(missing), 2 * _SLOT_BYTES - missing)
            os.fsync(file)
    except OSError:
        # A disk that is full already: what there is of the file may do.
        return file
    return file


def _content(file: int) -> bytes:
    with suppress(OSError):
        return os.pread(file, 2 * _SLOT_BYTES, 0)
    return b""


def _newest(content: bytes) -> tuple[int, int, dict[str, str]]:
    """Slot, number and states of the newest slot that is whole."""
    found: tuple[int, int, dict[str, str]] = (1, 0, {})
    for slot in (0, 1):
        part = content[slot * _SLOT_BYTES :][:_SLOT_BYTES]
        if len(part) < _HEAD.size:
            continue
        number, length, checksum = _HEAD.unpack_from(part)
        text = part[_HEAD.size : _HEAD.size + length]
        if number > found[1] and len(text) == length and checksum == _checksum(number, text):
            found = (slot, number, json.loads(text))
    return found


def _checksum(number: int, text: bytes) -> int:
    return zlib.crc32(text, zlib.crc32(number.to_bytes(8, "little")))
