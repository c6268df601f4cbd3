"""When the digest of a local date is made: calendar arithmetic on a time zone's rules. Pure; the time is an argument.

The law: a local date has at most one digest, whatever the wall clock does, and exactly one when the clock runs
straight. A time of day that a change of offset skips means the first instant after the gap; one that comes twice means
its first occurrence; a date that the zone never had (it moved across the date line) has no digest.

Instants are UTC seconds since 1970. All arithmetic is done there: two local times of one zone subtract wrongly.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

__all__ = ["due_digest", "exists", "instant", "local_date", "newest_date", "next_digest"]

_DAY = timedelta(days=1)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MIDNIGHT = time(0, 0)


def instant(day: date, at: time, zone: ZoneInfo) -> float:
    """The instant at which the clocks of `zone` show `at` on `day` for the first time.

    In a gap: the gap's end, which may fall on the next date.
    """
    local = datetime.combine(day, at, tzinfo=zone)
    first_s = _utc_s(local)
    if _local(first_s, zone).replace(tzinfo=None) == local.replace(tzinfo=None):
        return first_s
    # In a gap the two readings of a local time lie on either side of the change: PEP 495.
    before_s, after_s = _utc_s(local.replace(fold=1)), first_s
    old = _local(before_s, zone).utcoffset()
    while after_s - before_s > 1.0:
        middle_s = float((before_s + after_s) // 2)
        if _local(middle_s, zone).utcoffset() == old:
            before_s = middle_s
        else:
            after_s = middle_s
    return after_s


def exists(day: date, zone: ZoneInfo) -> bool:
    """False for a date that `zone` left out altogether."""
    return instant(day, _MIDNIGHT, zone) < instant(day + _DAY, _MIDNIGHT, zone)


def local_date(wall_s: float, zone: ZoneInfo) -> date:
    """The date that the calendars of `zone` show at this instant."""
    return _local(wall_s, zone).date()


def newest_date(now_wall_s: float, at: time, zone: ZoneInfo) -> date:
    """The newest date whose digest time is not after `now_wall_s`."""
    # A digest time in a gap over midnight belongs to the date before: so today's may be over, or not yet begun.
    day = local_date(now_wall_s, zone) + _DAY
    while not (exists(day, zone) and instant(day, at, zone) <= now_wall_s):
        day -= _DAY
    return day


def next_digest(after_wall_s: float, at: time, zone: ZoneInfo, done: Collection[date] = ()) -> tuple[date, float]:
    """The next date to get a digest, and its instant, which is later than `after_wall_s`.

    Args:
        done: dates that have one already: they are passed over (a clock set back makes such dates come again).
    """
    day = newest_date(after_wall_s, at, zone) + _DAY
    while day in done or not exists(day, zone):
        day += _DAY
    return day, instant(day, at, zone)


def due_digest(
    now_wall_s: float, at: time, zone: ZoneInfo, done: Collection[date], straight_since_wall_s: float
) -> date | None:
    """The date whose digest is to be made now, or None.

    Of several dates that were missed only the newest is made: its digest covers everything since the last one.
    An answer must be added to `done`, and `done` must outlive a restart. A fresh installation asks once and takes the
    answer as done, or its first digest would cover seconds.

    Args:
        done: every date that has a digest.
        straight_since_wall_s: wall time at which the current straight run of the wall clock began (start of the
            program, or the last step of the clock, as the clock said right after it). A date older than the newest
            done one is only made when the clock has run over its digest time: after a clock that was far ahead has
            been put right the digests go on, and a board that wakes up in 1970 does not make one for 1969.
    """
    day = newest_date(now_wall_s, at, zone)
    if day in done:
        return None
    if not done or day > max(done) or instant(day, at, zone) > straight_since_wall_s:
        return day
    return None


def _utc_s(local: datetime) -> float:
    return (local.astimezone(UTC) - _EPOCH).total_seconds()


def _local(wall_s: float, zone: ZoneInfo) -> datetime:
    return (_EPOCH + timedelta(seconds=wall_s)).astimezone(zone)
