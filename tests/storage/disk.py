"""What a disk may hold after the power went: a model of one that keeps what was synced, and of the rest what it likes.

Fed with the calls a real program made (recorder.c). The rules are those of POSIX fsync, with sectors of 512 bytes that
are written whole or not at all (sqlite.org/atomiccommit.html, section 2.0, "Hardware Assumptions", and psow.html):

* what was written to a file before its last sync is there;
* of what was written later each sector is there or not, in any order; a file's size is any it had since its last sync;
* a sector never written, but inside the file, is zeros;
* a file made, renamed or removed is so for certain only once the directory was synced; before, the first so many of
  these changes have happened (file systems keep the order of their own journal).

It does not model a card that lies about syncs, nor one that damages sectors nobody was writing to.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import NamedTuple

__all__ = ["SECTOR", "Call", "Disk", "Fate", "calls_of"]

SECTOR = 512
_HEAD = struct.Struct("<cHQQ")


class Call(NamedTuple):
    """One recorded call; recorder.c says what the letters mean."""

    what: str
    path: str
    offset: int
    data: bytes


class Fate(Enum):
    """What becomes of that which was not synced."""

    ALL = "everything arrived, as when only the program is killed"
    NONE = "nothing arrived"
    FIRST = "the first so many calls arrived, the last of them in part"
    ANY = "any sector arrived or not"


def calls_of(record: Path) -> Iterator[Call]:
    """The calls written down in a file, in order; what a kill cut off at its end is left out."""
    content = record.read_bytes()
    at = 0
    while at + _HEAD.size <= len(content):
        what, path_n, offset, data_n = _HEAD.unpack_from(content, at)
        at += _HEAD.size
        if at + path_n + data_n > len(content):
            return
        path = content[at : at + path_n].decode()
        yield Call(what.decode(), path, offset, content[at + path_n : at + path_n + data_n])
        at += path_n + data_n


@dataclass(slots=True)
class _File:
    """A file's content that is safe, and the writes and sizes since."""

    safe: bytearray = field(default_factory=bytearray)
    later: list[Call] = field(default_factory=list)

    def sync(self) -> None:
        for call in self.later:
            _apply(self.safe, call)
        self.later.clear()

    def after(self, fate: Fate, dice: random.Random) -> bytes:
        """The content that may be found after the power went."""
        image = bytearray(self.safe)
        calls = self.later
        if fate is Fate.NONE:
            return bytes(image)
        if fate is Fate.FIRST:
            whole = dice.randint(0, len(calls))
            for call in calls[:whole]:
                _apply(image, call)
            if whole < len(calls) and calls[whole].what == "W":
                torn = calls[whole]
                first_end = SECTOR - torn.offset % SECTOR
                length = dice.choice([first_end + SECTOR * n for n in range(len(torn.data) // SECTOR + 1)])
                _apply(image, torn._replace(data=torn.data[:length]))
            return bytes(image)
        if fate is Fate.ALL:
            for call in calls:
                _apply(image, call)
            return bytes(image)
        return self._scattered(dice)

    def _scattered(self, dice: random.Random) -> bytes:
        # Every sector with a version of its own: as if each had been written back after any one of the calls.
        versions: dict[int, list[bytes]] = {}
        sizes = [len(self.safe)]
        newest = bytearray(self.safe)
        for call in self.later:
            _apply(newest, call)
            sizes.append(len(newest))
            if call.what != "W":
                continue
            for sector in range(call.offset // SECTOR, (call.offset + len(call.data) - 1) // SECTOR + 1):
                here = slice(sector * SECTOR, (sector + 1) * SECTOR)
                versions.setdefault(sector, [bytes(self.safe[here])]).append(bytes(newest[here]))
        image = bytearray(self.safe)
        image.extend(bytes(max(0, max(sizes) - len(image))))
        for sector, choices in versions.items():
            chosen = dice.choice(choices).ljust(SECTOR, b"\0")
            image[sector * SECTOR : (sector + 1) * SECTOR] = chosen
        return bytes(image[: dice.choice(sizes)])


class Disk:
    """A directory on a disk, as far as recorded calls have made it."""

    def __init__(self) -> None:
        self._files: dict[str, _File] = {}
        # The directory as it is for certain, and what happened in it since its last sync.
        self._safe_names: dict[str, _File] = {}
        self._later_names: list[tuple[Call, _File]] = []

    def unsynced_n(self, begins: str) -> int:
        """Calls whose effect a power cut may undo, on the files whose name begins so."""
        names = sum(call.path.startswith(begins) for call, _ in self._later_names)
        return names + sum(len(file.later) for path, file in self._files.items() if path.startswith(begins))

    def take(self, call: Call) -> None:
        """One call happened."""
        what, path = call.what, call.path
        if what in "WT":
            self._files[path].later.append(call)
        elif what == "S":
            self._files[path].sync()
        elif what == "D":
            self._sync_names()
        else:
            file = _File() if what == "C" else self._files[path]
            _rename(self._files, call, file)
            self._later_names.append((call, file))

    def leave(self, directory: Path, fate: Fate, dice: random.Random, but: frozenset[str] = frozenset()) -> None:
        """Lay out in an empty directory what may be left when the power goes now."""
        names = dict(self._safe_names)
        first = {Fate.ALL: len(self._later_names), Fate.NONE: 0}
        for call, file in self._later_names[: first.get(fate, dice.randint(0, len(self._later_names)))]:
            _rename(names, call, file)
        for path, file in names.items():
            if path not in but:
                (directory / path).parent.mkdir(parents=True, exist_ok=True)
                (directory / path).write_bytes(file.after(fate, dice))

    def _sync_names(self) -> None:
        for call, file in self._later_names:
            _rename(self._safe_names, call, file)
        self._later_names.clear()


def _rename(names: dict[str, _File], call: Call, file: _File) -> None:
    """Do one making, removing or renaming."""
    if call.what != "C":
        names.pop(call.path, None)
    if call.what != "U":
        names[call.path if call.what == "C" else call.data.decode()] = file


def _apply(content: bytearray, call: Call) -> None:
    """Do one write or change of size."""
    if call.what == "T":
        if call.offset < len(content):
            del content[call.offset :]
        content.extend(bytes(call.offset - len(content)))
        return
    if not call.data:
        return
    content.extend(bytes(max(0, call.offset - len(content))))
    content[call.offset : call.offset + len(call.data)] = call.data
