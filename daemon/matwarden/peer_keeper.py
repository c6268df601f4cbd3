"""The alarms of other stations, as this one keeps them: two boxes that guard each other, with no cloud between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from matwarden.alarm import Alarm
from matwarden.core.alarm_table import NO_DIGEST, PEER_LOST, PEER_SILENT, PEERS_UNSEEN
from matwarden.core.alarm_words import Facts
from matwarden.core.peers import Heard, Peer, has_no_digest, is_lost, is_silent
from matwarden.core.units import duration_text
from matwarden.events import Event
from matwarden.peer_inbox import PeerInbox
from matwarden.terms import AlarmTimes, At, Unit

__all__ = ["PeerAlarms"]


class _Watched(NamedTuple):
    peer: Peer
    lost: Alarm
    silent: Alarm
    no_digest: Alarm


class PeerAlarms:
    """Lost, silent and digestless peers, and our own blindness towards all of them.

    Args:
        name: of our own house. times: how the keeper is called.
    """

    def __init__(
        self,
        peers: Sequence[Peer],
        inbox: PeerInbox,
        name: str,
        times: AlarmTimes,
        remembered: Mapping[str, Mapping[str, Any]],
        at: At,
    ) -> None:
        self._inbox = inbox
        self._name = name
        self._watched = []
        for peer in peers:
            own = replace(times, lost_after_s=peer.lost_after_s)
            lost, silent, digest = (
                Alarm(spec, peer.id, None, own, remembered, at) for spec in (PEER_LOST, PEER_SILENT, NO_DIGEST)
            )
            self._watched.append(_Watched(peer, lost, silent, digest))
        longest_s = max(peer.lost_after_s for peer in peers)
        self._unseen = Alarm(PEERS_UNSEEN, "house", None, replace(times, lost_after_s=longest_s), remembered, at)
        self._looked_s = at.mono_s

    @property
    def alarms(self) -> list[Alarm]:
        """Every one of them."""
        return [self._unseen, *(alarm for _, *alarms in self._watched for alarm in alarms)]

    def look(self, at: At) -> list[Event]:
        """Look once."""
        events: list[Event] = []
        now_s = at.mono_s
        dt_s = now_s - self._looked_s
        self._looked_s = now_s
        linked_s, heard = self._inbox.seen()
        self._unseen.look(linked_s is None, False, at, dt_s, None, Facts(self._name, Unit.C), events)
        for peer, lost, silent, no_digest in self._watched:
            known, facts = heard[peer.id], Facts(peer.name, Unit.C)
            gone = is_lost(known, linked_s, now_s)
            state, why = _words(known)
            lost.look(gone, False, at, dt_s, None, facts._replace(how_many=state, why=why), events)
            # Of a box that is gone one message is enough.
            dead = lost.memory.active
            quiet = is_silent(known, linked_s, now_s, peer.stale_after_s)
            for_ = facts._replace(why=f"none for {duration_text(peer.stale_after_s)}")
            silent.look(quiet, dead, at, dt_s, None, for_, events)
            undigested = has_no_digest(known, linked_s, at.wall_s, peer.no_digest_after_s)
            for_ = facts._replace(why=f"none for {duration_text(peer.no_digest_after_s or 0.0)}")
            no_digest.look(undigested, dead, at, dt_s, None, for_, events)
        return events


def _words(known: Heard) -> tuple[str, str]:
    """How it is gone, and from what that is known."""
    if known.state == "disconnected":
        return "stopped", "it ended as asked"
    if known.state == "":
        return "unseen", "the broker knows nothing of it"
    return "lost", "its connection broke"
