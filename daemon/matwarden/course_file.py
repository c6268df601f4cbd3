"""How far a tub's experiment has come, kept beside the record, so that the same command goes on after anything."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from matwarden.core.units import parse_rfc3339, rfc3339_z

__all__ = ["CourseFile", "CourseFileError", "KeptCourse"]

# Beside what was found of the tub: see commissioned.py.
_DIRECTORY, _FILE, _LOCK = "commissioned", "course.json", "course.lock"
_FORM = 1


class CourseFileError(Exception):
    """It cannot be kept, read or locked. The text says where, why, and what to do."""


@dataclass(frozen=True, slots=True)
class KeptCourse:
    """A course as it stood.

    Attributes:
        part: number of the part it is in. since_wall_s: when it began. seen_wall_s: when it was last kept.
        held_until_wall_s: end of the hold that it asked for; None: it holds nothing.
    """

    part: int
    since_wall_s: float
    seen_wall_s: float
    held_until_wall_s: float | None


class CourseFile:
    """The file of one tub, locked against a second course of the same tub.

    Args:
        store: directory of the record.
    """

    def __init__(self, store: Path, enclosure: str) -> None:
        self._home = store / _DIRECTORY / enclosure
        self._path = self._home / _FILE
        self._enclosure = enclosure

    @contextlib.contextmanager
    def locked(self) -> Iterator[None]:
        """Alone with it.

        Raises:
            CourseFileError: it cannot be written there, or another process has it.
        """
        try:
            self._home.mkdir(parents=True, exist_ok=True)
            lock = os.open(self._home / _LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise CourseFileError(self._refused(error)) from error
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if not os.access(self._home, os.W_OK):
                raise CourseFileError(f"{self._home} cannot be written to; use the user matwarden runs as, or sudo")
            yield
        except BlockingIOError:
            raise CourseFileError(f"{self._enclosure} is being commissioned by another process already") from None
        finally:
            os.close(lock)

    def kept(self) -> KeptCourse | None:
        """What was kept; None: there is no course.

        Raises:
            CourseFileError: it is there and cannot be read.
        """
        try:
            document = json.loads(self._path.read_text(encoding="utf-8"))
            if document["form"] != _FORM or document["enclosure"] != self._enclosure:
                raise ValueError("it is of another tub or version")
            until = document["held_until"]
            part = int(document["part"])
            if part < 0:
                raise ValueError(f"part {part}")
            return KeptCourse(
                part,
                parse_rfc3339(document["since"]),
                parse_rfc3339(document["seen"]),
                None if until is None else parse_rfc3339(until),
            )
        except FileNotFoundError:
            return None
        except OSError as error:
            raise CourseFileError(self._refused(error)) from error
        except (KeyError, TypeError, ValueError) as error:
            text = f"{self._path} is damaged ({error}); begin from the start with --anew"
            raise CourseFileError(text) from error

    def keep(self, course: KeptCourse) -> None:
        """Keep this instead: whole or not at all.

        Raises:
            CourseFileError: it cannot be written.
        """
        until_s = course.held_until_wall_s
        document = {
            "form": _FORM,
            "enclosure": self._enclosure,
            "part": course.part,
            "since": rfc3339_z(course.since_wall_s),
            "seen": rfc3339_z(course.seen_wall_s),
            "held_until": None if until_s is None else rfc3339_z(until_s),
        }
        fresh = self._path.with_name(f"{_FILE}.new")
        try:
            fresh.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
            os.replace(fresh, self._path)
        except OSError as error:
            raise CourseFileError(self._refused(error)) from error

    def drop(self) -> None:
        """The course is over, or not wanted."""
        with contextlib.suppress(OSError):
            self._path.unlink(missing_ok=True)

    def _refused(self, error: OSError) -> str:
        return f"{self._home}: {error.strerror or error}; use the user matwarden runs as, or sudo"
