"""Making the digest of a date: from the record, kept in the record, told to everybody. Never in the control thread."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.alarm_history import history_of, quality_document, quality_of
from matwarden.core.alarm_quality import AlarmQuality
from matwarden.core.digest import NightDigest, night_digest
from matwarden.core.digest_document import to_document
from matwarden.events import DigestMade, Event, Flush, Notice, PushAsked
from matwarden.report.alarm_quality_text import digest_lines
from matwarden.report.digest_text import digest_text, first_line
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import StoreError
from matwarden.sinks.store_time import Mark
from matwarden.terms import At, Priority

__all__ = ["Digests", "digest_since", "kept_digest"]

FLUSH_WITHIN_S = 30.0


class Digests:
    """Makes digests.

    Args:
        drained: waits until the store has taken what it was told so far; False: not in time.
        tell: takes the finished digest.
        now: this instant.
    """

    def __init__(
        self,
        settings: Settings,
        drained: Callable[[float], bool],
        tell: Callable[[Sequence[Event]], None],
        now: Callable[[], At],
    ) -> None:
        self._settings = settings
        self._drained = drained
        self._tell = tell
        self._now = now

    def make(self, day: date) -> bool:
        """Make the digest of `day`, over everything since the last one; False: it must be tried again."""
        at = self._now()
        self._tell([Flush(at)])
        if not self._drained(FLUSH_WITHIN_S):
            self._tell([Notice(at, f"digest of {day}: the store is too slow; trying again later", warning=True)])
            return False
        try:
            events = self._sum_up(day, at)
        except StoreError as error:
            self._tell([Notice(at, f"digest of {day}: {error}; trying again later", warning=True)])
            return False
        self._tell(events)
        return True

    def _sum_up(self, day: date, at: At) -> list[Event]:
        night, until = _night(self._settings, day.isoformat())
        quality = quality_of(history_of(self._settings), self._settings)
        text = _text(night, quality, self._settings)
        title = f"{self._settings.house_name}: {first_line(night)}"
        document = {**_document(night, quality), "mark": str(until)}
        return [
            DigestMade(at, night.date, text, document),
            PushAsked(at, f"digest/{night.date}", title, text.partition("\n")[2], Priority.LOW),
        ]


def digest_since(settings: Settings) -> tuple[str, dict[str, Any]]:
    """Text and document of everything since the last digest; made, but not kept, so that it is of no date.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    night, _ = _night(settings, "so far")
    quality = quality_of(history_of(settings), settings)
    return _text(night, quality, settings), {**_document(night, quality), "date": None}


def kept_digest(settings: Settings, day: str) -> tuple[str, dict[str, Any]] | None:
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
