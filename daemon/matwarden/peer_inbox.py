"""What the broker tells of other stations: put in by the MQTT thread, looked at by the control loop.

Only the newest of each is kept, bounded by the settings: topics of nobody that is watched are passed over, and
payloads are cut short.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from datetime import datetime

from matwarden.core.peers import UNHEARD, Heard, Peer, next_heard

__all__ = ["DIGEST_MADE", "FRESH", "PeerInbox", "STATE"]

STATE = "$state"
FRESH = "house/fresh-at"
DIGEST_MADE = "house/digest-made"
_LONGEST = 64


class PeerInbox:
    """Both threads only ever hold the lock for a few assignments.

    Args:
        now_s: monotonic seconds, of the clock that the alarms live by.
    """

    def __init__(self, peers: Iterable[Peer], now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._lock = threading.Lock()
        self._linked_s: float | None = None
        self._heard = {peer.id: UNHEARD for peer in peers}

    def topics(self, domain: str) -> dict[str, tuple[str, str]]:
        """Every topic to listen to, and the peer and attribute it is of."""
        return {
            f"{domain}/5/{peer}/{what}": (peer, what) for peer in self._heard for what in (STATE, FRESH, DIGEST_MADE)
        }

    def linked(self) -> None:
        """The broker has accepted us. What it holds comes next: what it told before may be gone."""
        with self._lock:
            self._linked_s = self._now_s()
            for peer, heard in self._heard.items():
                self._heard[peer] = heard._replace(state="", alive_s=None, digest_made_s=None)

    def unlinked(self) -> None:
        """We are not connected: nobody can be seen."""
        with self._lock:
            self._linked_s = None

    def put(self, peer: str, what: str, payload: bytes) -> None:
        """One message."""
        text = payload[:_LONGEST].decode("utf-8", "replace")
        with self._lock:
            heard = self._heard.get(peer)
            if heard is None:
                return
            if what == STATE:
                heard = next_heard(heard, text, self._now_s())
            elif what == DIGEST_MADE:
                heard = heard._replace(digest_made_s=_utc_s(text))
            elif text and text != heard.fresh:
                heard = heard._replace(fresh=text, fresh_s=self._now_s())
            self._heard[peer] = heard

    def seen(self) -> tuple[float | None, dict[str, Heard]]:
        """Since when we are connected (None: not), and what is known of each."""
        with self._lock:
            return self._linked_s, dict(self._heard)


def _utc_s(text: str) -> float | None:
    """A time as RFC 3339 in UTC; None for anything else."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if moment.tzinfo is None else moment.timestamp()
