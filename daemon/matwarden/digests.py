"""Telling the digest of a date: made from the record, kept in the record, pushed. Never in the control thread."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

from matwarden.events import DigestMade, Event, Flush, Notice, PushAsked
from matwarden.night import Made, make_night
from matwarden.night_child import NightError
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_schema import StoreError
from matwarden.terms import At, Priority

__all__ = ["Digests"]

FLUSH_WITHIN_S = 30.0


class Digests:
    """Makes digests and tells them.

    Args:
        drained: waits until the store has taken what it was told so far; False: not in time.
        tell: takes the finished digest.
        now: this instant.
        make: makes the night of a date; where a child process does it and comes to nothing, the next try is without.
    """

    def __init__(
        self,
        settings: Settings,
        drained: Callable[[float], bool],
        tell: Callable[[Sequence[Event]], None],
        now: Callable[[], At],
        make: Callable[[Settings, str], Made] = make_night,
    ) -> None:
        self._settings = settings
        self._drained = drained
        self._tell = tell
        self._now = now
        self._make = make
        self._came_to_nothing: date | None = None

    def make(self, day: date) -> bool:
        """Make the digest of `day`, over everything since the last one; False: it must be tried again."""
        at = self._now()
        self._tell([Flush(at)])
        if not self._drained(FLUSH_WITHIN_S):
            self._tell([Notice(at, f"digest of {day}: the store is too slow; trying again later", warning=True)])
            return False
        try:
            if self._came_to_nothing == day:
                # A picture that no memory is left for must not cost the keeper the words.
                made = make_night(self._settings, day.isoformat(), words_only=True)
            else:
                made = self._make(self._settings, day.isoformat())
        except NightError as error:
            self._came_to_nothing = day
            self._tell([Notice(at, f"digest of {day}: {error}; trying again later", warning=True)])
            return False
        except StoreError as error:
            self._tell([Notice(at, f"digest of {day}: {error}; trying again later", warning=True)])
            return False
        self._tell(self._events(made, self._now()))
        return True

    def _events(self, made: Made, at: At) -> list[Event]:
        title = f"{self._settings.house_name}: {made.first_line}"
        body = made.text.partition("\n")[2]
        picture = None if made.picture is None else Path(made.picture)
        return [
            DigestMade(at, made.date, made.text, made.document),
            PushAsked(at, f"digest/{made.date}", title, body, Priority.LOW, attachment=picture),
            *(Notice(at, f"digest of {made.date}: {note}", warning=True) for note in made.notes),
        ]
