"""One night made into text, document, picture and page. Costly: the daemon lets a child process do it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.alarm_history import history_of, quality_document, quality_of
from matwarden.core.alarm_quality import AlarmQuality
from matwarden.core.digest import NightDigest, night_digest
from matwarden.core.digest_document import to_document
from matwarden.report.alarm_quality_text import digest_lines
from matwarden.report.digest_text import digest_text, first_line
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_time import Mark

__all__ = ["Made", "kept_night", "make_night", "night_so_far"]


@dataclass(frozen=True, slots=True)
class Made:
    """The digest of a date, ready to be told.

    Attributes:
        first_line: whether all is well, without the house's name.
        document: with `mark`, where in the record the night ends: the next one begins there.
        notes: what could not be made beside it, in words.
    """

    date: str
    first_line: str
    text: str
    document: dict[str, Any]
    notes: tuple[str, ...] = ()


def make_night(settings: Settings, day: str) -> Made:
    """Make the digest of everything since the last one. `day`: the local date it is of, `YYYY-MM-DD`.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    night, until = _night(settings, day)
    quality = quality_of(history_of(settings), settings)
    document = {**_document(night, quality), "mark": str(until)}
    return Made(day, first_line(night), _text(night, quality, settings), document)


def night_so_far(settings: Settings) -> tuple[str, dict[str, Any]]:
    """Text and document of everything since the last digest; made, but not kept, so that it is of no date.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    night, _ = _night(settings, "so far")
    quality = quality_of(history_of(settings), settings)
    return _text(night, quality, settings), {**_document(night, quality), "date": None}


def kept_night(settings: Settings, day: str) -> tuple[str, dict[str, Any]] | None:
    """Text and document of the digest of a date, `YYYY-MM-DD`; None when there is none.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    kept = Recorded(settings.store.directory).digest(day)
    return None if kept is None else (kept.text, kept.document)


def _text(night: NightDigest, quality: AlarmQuality, settings: Settings) -> str:
    return "\n".join([digest_text(night, settings.unit, ZoneInfo(settings.zone)), *digest_lines(quality)])


def _document(night: NightDigest, quality: AlarmQuality) -> dict[str, Any]:
    return {**to_document(night), "alarm_quality": quality_document(quality)}


def _night(settings: Settings, day: str) -> tuple[NightDigest, Mark]:
    recorded = Recorded(settings.store.directory)
    until = recorded.mark()
    since = recorded.digest_mark()
    window = recorded.window(since, until)
    standing = recorded.active_alarms(since)
    night = night_digest(day, settings.zone, window, settings.enclosures, settings.room_probes, standing)
    return night, until
