"""Tells an MQTT broker: the newest value of every topic, retained, and whether this daemon is alive.

`accept` only puts events away, whatever the network does. One thread of our own connects, publishes and tries again.
At every connection the whole picture is sent (`$state` init, `$description`, values, `$state` ready), because the
broker may have lost it; afterwards only what changed. Subscribed to are our own retained topics, for a moment, to
delete those of tubs that are gone; and of each station that is watched from here three topics that tell whether it
lives; and, where the settings want it, the one topic at which an alarm can be acknowledged. All else that a message
from outside can do is to ring, or end, an alarm about a watched station.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence

from matwarden.events import Event
from matwarden.peer_inbox import PeerInbox
from matwarden.sinks import homie
from matwarden.sinks.mqtt_link import Ending, Link, LinkError
from matwarden.sinks.mqtt_picture import Inbox, Picture, Value
from matwarden.sinks.mqtt_terms import MqttTerms

__all__ = ["MqttSink"]

_log = logging.getLogger(__name__)

_TURN_S = 0.1  # how long an alarm may lie before it is looked at
_SURVEY_S = 2.0  # how long the broker has to tell what it holds of us
_RETRY_FIRST_S = 1.0
_RETRY_MOST_S = 5.0
_RETRY_LASTING_S = 60.0  # for what a person must put right
_ANSWER_S = 5.0  # how long a broker may take to accept us
_STEADY_S = 10.0  # a connection that held this long was a good one
_BRIEF_MOST = 3  # so many in a row that did not: somebody else uses our id
_FAREWELL_S = 2.0
_ASKED_MOST = 200  # bytes of an alarm's id; of more there is none
_LINGER_S = 0.15  # some brokers acknowledge first and pass on later, and forget it when we leave in between


class MqttSink:
    """Sink that keeps the retained picture of the house at a broker."""

    name = "mqtt"

    def __init__(
        self,
        terms: MqttTerms,
        device: homie.DeviceTerms,
        elapsed_s: Callable[[], float],
        flush_s: float = 0.5,
        peers: PeerInbox | None = None,
        on_acknowledge: Callable[[str], None] | None = None,
    ) -> None:
        """Start telling. Returns at once, whether or not there is a broker.

        Args:
            elapsed_s: real monotonic seconds, never simulated ones: they measure how long a broker takes.
            on_acknowledge: called, in a thread of our own, with what a message asks to be acknowledged; must not block.
            flush_s: readings are published at most this often; alarms and verdicts do not wait.
            peers: takes what the broker tells of other stations; None: none is watched.

        Raises:
            HomieError: an id of the house cannot be in a topic.
        """
        root = homie.device_root(terms.domain, device.id)
        self._terms = terms
        self._client_id = f"matwarden-{device.id}"
        self._elapsed_s = elapsed_s
        self._flush_s = flush_s
        self._on_acknowledge = on_acknowledge if terms.acknowledge else None
        self._root = root
        self._state_topic = f"{root}/$state"
        self._description = Value(f"{root}/$description", homie.description(device).encode())
        self._picture = Picture(device, root)  # the thread's alone, like everything below but the inbox
        self._peers = peers
        self._peer_topics = {} if peers is None else peers.topics(terms.domain)
        self._queue: deque[Value] = deque()
        self._sent: dict[str, tuple[bytes, float]] = {}
        self._flushed_at_s = 0.0
        self._complaint = ""
        self._brief_n = 0
        self._lock = threading.Lock()
        self._inbox = Inbox()
        self._urgent = False
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="mqtt", daemon=True)
        self._thread.start()

    def accept(self, events: Sequence[Event]) -> None:
        """Put the newest away for the publishing thread. Never waits for the network."""
        with self._lock:
            self._urgent |= self._inbox.put(events)

    def alive(self, wall_s: float) -> None:
        """For a daemon without readings: it does its work at this time (UTC seconds). Never waits."""
        with self._lock:
            self._inbox.fresh_s = wall_s

    def close(self) -> None:
        """Publish what is left, say `disconnected` and leave: at most some five seconds, and at once when offline."""
        self._stopping.set()
        self._thread.join(2 * _FAREWELL_S + 1.0)

    def _run(self) -> None:
        wait_s = 0.0
        while not self._stopping.wait(wait_s):
            begun_s = self._elapsed_s()
            try:
                ending = self._session()
            except LinkError as problem:
                ending = Ending(str(problem), problem.lasting)
            except Exception as problem:
                # The thread must outlive any mistake of ours: nobody would start it again.
                _log.exception("MQTT: a mistake in matwarden while publishing")
                ending = Ending(f"{type(problem).__name__}: {problem}", True)
            if ending is None:
                return
            wait_s = self._pause_s(ending, wait_s, self._elapsed_s() - begun_s)

    def _pause_s(self, ending: Ending, waited_s: float, lasted_s: float) -> float:
        """Complain once of each cause; how long to wait before the next connection."""
        if lasted_s >= _STEADY_S:
            self._brief_n = 0
        elif ending.was_up and not ending.lasting:
            self._brief_n += 1
            if self._brief_n >= _BRIEF_MOST:  # not every broker says why it throws one of two out
                text = "the connection breaks as soon as it is made: does another daemon use the same house id?"
                ending = Ending(text, True)
        if ending.text != self._complaint:
            self._complaint = ending.text
            most_s = _RETRY_LASTING_S if ending.lasting else _RETRY_MOST_S
            _log.warning("MQTT: %s. Trying again within %.0f s; nothing else waits for it", ending.text, most_s)
        if ending.lasting:
            return _RETRY_LASTING_S
        if ending.was_up:
            return _RETRY_FIRST_S
        return min(_RETRY_MOST_S, max(_RETRY_FIRST_S, waited_s * 2))

    def _session(self) -> Ending | None:
        """One connection, from its start to its end; None when it ended because we are closed."""
        link = Link(self._terms, self._client_id, Value(self._state_topic, b"lost"))
        try:
            return self._attend(link)
        finally:
            if self._peers is not None:
                self._peers.unlinked()
            link.drop()

    def _attend(self, link: Link) -> Ending | None:
        answer_until_s = self._elapsed_s() + _ANSWER_S
        survey_until_s: float | None = None
        greeted = refused = False
        while link.ending is None:
            link.turn(_TURN_S)
            if self._stopping.is_set():
                self._farewell(link, greeted)
                return None
            if not link.up:
                if self._elapsed_s() >= answer_until_s:
                    link.give_up()
                continue
            if not greeted:
                greeted = True
                survey_until_s = self._elapsed_s() + _SURVEY_S
                link.survey(self._root)
                if self._peers is not None:
                    self._peers.linked()
                    link.listen(self._peer_topics, self._hear)
                if self._on_acknowledge is not None:
                    link.listen_to_acts(f"{self._root}/house/{homie.ACKNOWLEDGE}/set", self._asked)
                self._greet()
            elif survey_until_s is not None and self._elapsed_s() >= survey_until_s and not self._queue:
                survey_until_s = None
                link.survey_over()
                self._forget(link.found)
            self._flush()
            self._pump(link)
            if link.refused and not refused:
                refused = True
                _log.warning("MQTT: the broker does not take what we publish below %s: %s", self._root, link.refusal)
        return link.ending

    def _hear(self, topic: str, payload: bytes) -> None:
        if self._peers is not None:
            self._peers.put(*self._peer_topics[topic], payload)

    def _asked(self, payload: bytes) -> None:
        if self._on_acknowledge is not None:
            self._on_acknowledge(payload[:_ASKED_MOST].decode("utf-8", "replace"))

    def _greet(self) -> None:
        """The whole picture, in the order the convention wants."""
        self._sent.clear()
        self._queue.clear()
        self._take()
        self._queue.append(Value(self._state_topic, b"init"))
        self._queue.append(self._description)
        self._enqueue(self._picture.all())
        self._queue.append(Value(self._state_topic, b"ready"))
        self._complaint = ""
        _log.info("MQTT: connected to %s:%d", self._terms.host, self._terms.port)

    def _forget(self, found: set[str]) -> None:
        """Delete what the broker holds below our id and we no longer say: tubs renamed, alarms long over."""
        ghosts = [
            topic
            for topic in sorted(found)
            if topic not in (self._state_topic, self._description.topic)
            and not self._sent.get(topic, (b"", 0.0))[0]
            and not self._picture.keeps(topic)
        ]
        self._queue.extend(Value(topic, b"") for topic in ghosts)
        if ghosts:
            _log.info("MQTT: deleting %d retained topics of an earlier run", len(ghosts))

    def _take(self) -> None:
        with self._lock:
            inbox, self._inbox, self._urgent = self._inbox, Inbox(), False
        try:
            self._picture.take(inbox)
        except homie.HomieError as problem:
            _log.error("MQTT: the digest cannot be published: %s", problem)

    def _flush(self) -> None:
        """Queue what changed. Only into an empty queue: while the broker is slow, newer replaces older in the inbox."""
        now_s = self._elapsed_s()
        if self._queue or (now_s - self._flushed_at_s < self._flush_s and not self._urgent):
            return
        self._flushed_at_s = now_s
        if not self._inbox.empty:
            self._take()
            self._enqueue(self._picture.changed())

    def _enqueue(self, values: Sequence[Value]) -> None:
        """Queue the values that differ from what was sent, and readings that the broker would soon forget."""
        now_s = self._elapsed_s()
        for value in values:
            payload, at_s = self._sent.get(value.topic, (b"", now_s))
            expiring = value.expires and value.payload and now_s - at_s >= self._terms.expire_after_s / 3
            if payload != value.payload or expiring:
                self._sent[value.topic] = (value.payload, now_s)
                self._queue.append(value)

    def _pump(self, link: Link) -> None:
        while self._queue and link.room > 0:
            link.publish(self._queue.popleft())

    def _farewell(self, link: Link, greeted: bool) -> None:
        deadline_s = self._elapsed_s() + _FAREWELL_S
        if greeted:
            self._take()
            self._picture.stop()
            self._enqueue(self._picture.changed())
            self._queue.append(Value(self._state_topic, b"disconnected"))
        while link.ending is None and self._elapsed_s() < deadline_s and not (link.settled and not self._queue):
            self._pump(link)
            link.turn(_TURN_S)
        leave_at_s = self._elapsed_s() + _LINGER_S
        while link.up and self._elapsed_s() < leave_at_s:
            link.turn(_TURN_S)
        link.leave()
