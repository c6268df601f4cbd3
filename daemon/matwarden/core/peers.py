"""Is another station dead? From what the broker tells of it to conditions of its alarms. Pure.

The law: our own blindness is not the other's death. While our link to the broker is down everything is unknown (None),
and for a moment after it is up again, in which the broker says what it holds and the others come back to it, nobody
counts as lost. Life and freshness are judged by what changes at this end, on a clock that is never set: the other's
clock may be wrong. Only the age of a digest, counted in hours, is taken from times as told.

`$state` and its will are those of the Homie convention v5.0.0 (CC BY 4.0), homieiot.github.io.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["ALIVE", "GRACE_S", "UNHEARD", "Heard", "Peer", "has_no_digest", "is_lost", "is_silent", "next_heard"]

# A connected station: `init` is one that has just come (back). `sleeping` is none of ours.
ALIVE = ("init", "ready")
# After a restart of the broker each station is back within some five seconds.
GRACE_S = 10.0


class Peer(NamedTuple):
    """One station (or watcher) that is watched from here.

    Attributes:
        id: its house id. name: for people.
        no_digest_after_s: how old its last digest may be; None: its digests are not watched.
    """

    id: str
    name: str
    lost_after_s: float
    stale_after_s: float
    no_digest_after_s: float | None


class Heard(NamedTuple):
    """What the broker last told of a peer.

    Attributes:
        state: its `$state`; empty: nothing is known of it.
        alive_s: monotonic time since when it counts as connected; None while it does not.
        fresh: its sign of freshness as told. fresh_s: monotonic time at which that last became another.
        digest_made_s: UTC seconds since 1970 at which its last digest was made; None: not told.
    """

    state: str = ""
    alive_s: float | None = None
    fresh: str = ""
    fresh_s: float = float("-inf")
    digest_made_s: float | None = None


UNHEARD = Heard()


def next_heard(heard: Heard, state: str, now_s: float) -> Heard:
    """The same with another `$state`."""
    alive_s = None if state not in ALIVE else now_s if heard.alive_s is None else heard.alive_s
    return heard._replace(state=state, alive_s=alive_s)


def is_lost(heard: Heard, linked_s: float | None, now_s: float) -> bool | None:
    """Is it not connected? `linked_s`: since when we are, None: we are not."""
    if linked_s is None:
        return None
    if heard.state in ALIVE:
        return False
    return None if now_s - linked_s < GRACE_S else True


def is_silent(heard: Heard, linked_s: float | None, now_s: float, stale_after_s: float) -> bool | None:
    """Connected, and yet nothing fresh has come from it for `stale_after_s`?"""
    if linked_s is None or heard.alive_s is None:
        return None
    return now_s - max(heard.fresh_s, heard.alive_s, linked_s) >= stale_after_s


def has_no_digest(heard: Heard, linked_s: float | None, wall_s: float, after_s: float | None) -> bool | None:
    """Is its last digest older than `after_s`? None too while none was ever made, or none is wanted."""
    if linked_s is None or after_s is None or heard.digest_made_s is None:
        return None
    return wall_s - heard.digest_made_s >= after_s
