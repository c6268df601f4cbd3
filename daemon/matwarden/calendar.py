"""What happens at a time of day: the digest and the clean-up. Apart from control, on the wall clock, in UTC.

`Calendar` decides what is due, for any clock; `CalendarThread` wakes it through APScheduler. There is only ever one
job, for one instant: after a step of the clock an APScheduler interval either stops or replays everything it missed,
while a single date is simply worked out anew.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Collection
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.date import DateTrigger

from matwarden.core.dates import due_digest, next_digest

__all__ = ["Calendar", "CalendarThread"]

_log = logging.getLogger(__name__)

CLEAN_UP_EVERY_S = 86400.0
# A start has better things to do.
CLEAN_UP_AFTER_START_S = 900.0
# After a digest that failed (a full disk, say): try again, but do not hammer.
RETRY_AFTER_S = 600.0


class Calendar:
    """Decides what is due. One thread at a time may use it.

    Args:
        digest_at: local time of day; None: no digests.
        done: every date that has a digest. Empty: a fresh installation, whose first digest is that of the next date.
        make_digest: makes the digest of a date; False: it failed, and is tried again later.
        clean_up: drops what is too old.
        cleaned_wall_s: when that last succeeded, in this run or one before; None: never. A machine that is restarted
            every day must not put it off for ever.
    """

    def __init__(
        self,
        digest_at: time | None,
        zone: ZoneInfo,
        done: Collection[date],
        make_digest: Callable[[date], bool],
        clean_up: Callable[[], None],
        now_wall_s: float,
        cleaned_wall_s: float | None = None,
    ) -> None:
        self._at = digest_at
        self._zone = zone
        self._make_digest = make_digest
        self._clean_up = clean_up
        self._done = set(done)
        self._straight_since_s = now_wall_s
        self._not_before_s = now_wall_s
        self._clean_due_s = now_wall_s + CLEAN_UP_AFTER_START_S
        if cleaned_wall_s is not None and cleaned_wall_s <= now_wall_s:
            self._clean_due_s = max(self._clean_due_s, cleaned_wall_s + CLEAN_UP_EVERY_S)
        if digest_at is not None and not self._done:
            fresh = self._due(now_wall_s)
            if fresh is not None:
                self._done.add(fresh)

    def clock_stepped(self, now_wall_s: float) -> None:
        """The wall clock has just been set, and says this now."""
        self._straight_since_s = now_wall_s

    def run_due(self, now_wall_s: float) -> None:
        """Do everything that is due at this wall time, each thing once."""
        if not self._waiting(now_wall_s):
            due = self._due(now_wall_s)
            if due is not None:
                # Beforehand, so that a digest that raises is not made again every second.
                self._not_before_s = now_wall_s + RETRY_AFTER_S
                if self._make_digest(due):
                    self._done.add(due)
                    self._not_before_s = now_wall_s
        # So far away only after the clock was set back.
        if not 0.0 < self._clean_due_s - now_wall_s <= 2 * CLEAN_UP_EVERY_S:
            self._clean_due_s = now_wall_s + CLEAN_UP_EVERY_S
            self._clean_up()

    def next_wall_s(self, now_wall_s: float) -> float:
        """When to look again."""
        times = [self._clean_due_s]
        if self._at is not None:
            if self._due(now_wall_s) is not None:
                times.append(self._not_before_s)
            times.append(next_digest(now_wall_s, self._at, self._zone, self._done)[1])
        return max(now_wall_s + 1.0, min(times))

    def _due(self, now_wall_s: float) -> date | None:
        if self._at is None:
            return None
        return due_digest(now_wall_s, self._at, self._zone, self._done, self._straight_since_s)

    def _waiting(self, now_wall_s: float) -> bool:
        # A clock that was set back in between must not make the wait any longer than it was meant to be.
        return 0.0 < self._not_before_s - now_wall_s <= RETRY_AFTER_S


class CalendarThread:
    """Wakes a calendar at the right instants, on the machine's clock."""

    def __init__(self, calendar: Calendar, wall_s: Callable[[], float]) -> None:
        self._calendar = calendar
        self._wall_s = wall_s
        self._lock = threading.Lock()
        self._closing = False
        self._scheduler = BackgroundScheduler(timezone="UTC")
        self._scheduler.start()
        self._look_now()

    def look(self) -> None:
        """Do what is due and set the next instant. Called again after every step of the clock."""
        with self._lock:
            if self._closing:
                return
            try:
                self._calendar.run_due(self._wall_s())
            except Exception:  # our bug; the calendar must come back for the next digest all the same
                _log.exception("calendar: internal error")
            when = datetime.fromtimestamp(self._calendar.next_wall_s(self._wall_s()), UTC)
            self._scheduler.add_job(
                self.look,
                DateTrigger(when),
                id="calendar",
                replace_existing=True,
                misfire_grace_time=None,  # late is always better than never
                coalesce=True,
            )

    def clock_stepped(self, now_wall_s: float) -> None:
        """The wall clock was set: work the next instant out anew. Returns at once."""
        self._calendar.clock_stepped(now_wall_s)
        self._look_now()

    def _look_now(self) -> None:
        # In the scheduler's thread: whoever starts or steps must not wait for a digest. And a job of its own: a look
        # that is under way may have read the old time, and would put its next instant in this one's place.
        self._scheduler.add_job(self.look, id="calendar-now", replace_existing=True, misfire_grace_time=None)

    def close(self) -> None:
        """Stop; a digest that is being made is finished first."""
        self._closing = True
        with self._lock:
            # The scheduler's own shutdown waits for a running look with a lock held that the look needs to set its
            # next instant: it would wait for ever. So the look must be over before.
            pass
        self._scheduler.shutdown(wait=True)
