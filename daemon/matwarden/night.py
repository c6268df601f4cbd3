"""One night made into text, document, picture and page. Costly: the daemon lets a child process do it."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.alarm_history import history_of, quality_document, quality_of
from matwarden.core.alarm_quality import AlarmQuality
from matwarden.core.dates import local_date
from matwarden.core.digest import NightDigest, night_digest
from matwarden.core.digest_compare import SPANS_DAYS, days_before
from matwarden.core.digest_document import to_document
from matwarden.core.record import AlarmLine, Window
from matwarden.core.strips_of import strips_of
from matwarden.core.tonight import Tonight
from matwarden.core.tonight_document import tonight_document
from matwarden.report.alarm_quality_text import digest_lines
from matwarden.report.digest_text import digest_text, first_line
from matwarden.report.drift_text import drift_lines
from matwarden.report.night import DUE, Night
from matwarden.report.pages import PagesError, write_pages
from matwarden.report.tonight_text import tonight_lines
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_sums_read import Sums
from matwarden.sinks.store_time import Mark
from matwarden.tonight import tonight_of
from matwarden.upkeep import lines_of

__all__ = ["PICTURES", "Made", "kept_night", "make_night", "night_so_far"]

# Directory of the nights' pictures, in that of the record.
PICTURES = "pictures"
_PICTURE = re.compile(r"night-(\d{4}-\d\d-\d\d)\.png", re.ASCII)
# A push waits for 30 days at the most; then nobody asks for its picture any more.
_PICTURES_KEPT_DAYS = 31


@dataclass(frozen=True, slots=True)
class Made:
    """The digest of a date, ready to be told.

    Attributes:
        first_line: whether all is well, without the house's name.
        document: with `mark`, where in the record the night ends: the next one begins there.
        picture: path of its picture; None: none was asked for, or none was made.
        notes: what could not be made beside it, in words.
    """

    date: str
    first_line: str
    text: str
    document: dict[str, Any]
    picture: str | None = None
    notes: tuple[str, ...] = ()


def make_night(
    settings: Settings, day: str, words_only: bool = False, drifts: Sequence[Mapping[str, Any]] = ()
) -> Made:
    """Make the digest of everything since the last one. `day`: the local date it is of, `YYYY-MM-DD`.

    Args:
        words_only: leave out picture and page.
        drifts: what became of commissioned tubs, from `drifts_of`.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    seen = _see(settings, day)
    quality = quality_of(history_of(settings), settings)
    text = _text(seen, quality, settings, drifts)
    document = {**_document(seen, quality), "drift": list(drifts), "mark": str(seen.until)}
    notes: list[str] = []
    picture = None
    wanted = settings.digest
    if not words_only and (wanted.picture or wanted.pages is not None):
        night = _night(settings, seen, text)
        if wanted.picture:
            picture = _picture(night, settings.store.directory / PICTURES, notes)
        if wanted.pages is not None:
            _page(night, wanted.pages, notes)
    return Made(day, first_line(seen.digest), text, document, picture, tuple(notes))


def night_so_far(settings: Settings) -> tuple[str, dict[str, Any]]:
    """Text and document of everything since the last digest; made, but not kept, so that it is of no date.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    seen = _see(settings, "so far")
    quality = quality_of(history_of(settings), settings)
    return _text(seen, quality, settings), {**_document(seen, quality), "drift": [], "date": None}


def kept_night(settings: Settings, day: str) -> tuple[str, dict[str, Any]] | None:
    """Text and document of the digest of a date, `YYYY-MM-DD`; None when there is none.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    kept = Recorded(settings.store.directory).digest(day)
    return None if kept is None else (kept.text, kept.document)


@dataclass(frozen=True, slots=True)
class _Seen:
    """A window of the record, and its digest."""

    window: Window
    standing: list[AlarmLine]
    until: Mark
    digest: NightDigest
    due: tuple[str, ...]
    tonight: Tonight


def _see(settings: Settings, day: str) -> _Seen:
    recorded = Recorded(settings.store.directory)
    until = recorded.mark()
    since = recorded.digest_mark()
    window = recorded.window(since, until)
    standing = recorded.active_alarms(since)
    before = days_before(window.start_wall_s, max(SPANS_DAYS), ZoneInfo(settings.zone))
    sums = Sums(settings.store.directory)
    days = sums.tub_days(*before)
    digest = night_digest(day, settings.zone, window, settings.enclosures, settings.room_probes, standing, days)
    due = lines_of(settings, local_date(window.end_wall_s, ZoneInfo(settings.zone)))
    return _Seen(window, standing, until, digest, due, tonight_of(settings, window, recorded, sums))


def _night(settings: Settings, seen: _Seen, text: str) -> Night:
    strips = strips_of(seen.window, settings.enclosures, settings.room_probes, seen.standing)
    zone = ZoneInfo(settings.zone)
    return Night(settings.house_name, settings.unit, zone, seen.digest, strips, first_line(seen.digest), text, seen.due)


def _picture(night: Night, directory: Path, notes: list[str]) -> str | None:
    """Draw it and keep it for the push; the path, or None with a note."""
    try:
        from matwarden.report.picture import picture
    except ModuleNotFoundError as error:
        notes.append(f"no picture: a library is not installed ({error.name}): pip install 'matwarden[report]'")
        return None
    path = directory / f"night-{night.digest.date}.png"
    try:
        drawn = picture(night)
        directory.mkdir(exist_ok=True)
        _put(path, drawn)
        _drop_old(directory, night.digest.date)
    except OSError as error:
        notes.append(f"no picture: {path} cannot be written: {error.strerror or error}")
        return None
    except Exception as error:  # our bug, or the library's: the words are worth more
        notes.append(f"no picture: drawing failed: {error}")
        return None
    return str(path)


def _put(path: Path, content: bytes) -> None:
    """The file is whole or not there: a push may be reading it."""
    fresh = path.with_name(path.name + ".new")
    try:
        fresh.write_bytes(content)
        os.replace(fresh, path)
    except BaseException:
        with contextlib.suppress(OSError):
            fresh.unlink()
        raise


def _drop_old(directory: Path, day: str) -> None:
    first = (date.fromisoformat(day) - timedelta(days=_PICTURES_KEPT_DAYS)).isoformat()
    for path in directory.iterdir():
        found = _PICTURE.fullmatch(path.name)
        if found is not None and found[1] < first:
            path.unlink()


def _page(night: Night, directory: Path, notes: list[str]) -> None:
    try:
        write_pages(directory, night)
    except PagesError as error:
        notes.append(f"no page: {error}")
    except Exception as error:  # our bug, or the library's: the words are worth more
        notes.append(f"no page: writing it failed: {error}")


def _text(seen: _Seen, quality: AlarmQuality, settings: Settings, drifts: Sequence[Mapping[str, Any]] = ()) -> str:
    zone = ZoneInfo(settings.zone)
    words = digest_text(seen.digest, settings.unit, zone)
    more = [
        *drift_lines(drifts, settings.unit, zone),
        *tonight_lines(seen.tonight, settings.unit, zone),
    ]
    return "\n".join([words, *more, *(f"{DUE}{line}" for line in seen.due), *digest_lines(quality)])


def _document(seen: _Seen, quality: AlarmQuality) -> dict[str, Any]:
    return {
        **to_document(seen.digest),
        "alarm_quality": quality_document(quality),
        "due": list(seen.due),
        "tonight": tonight_document(seen.tonight),
    }
