"""One connection to the broker, from connect to its end: paho's client with its traps fenced in.

Everything here runs in the one thread that owns the link: there is no network thread of paho's that could die unseen,
and no queue of paho's to grow: nothing is published while not connected or while `room` is 0. A new client is made
for each connection, so no half-sent value of an older one is sent again after a newer value.
"""

from __future__ import annotations

import ssl
from collections.abc import Callable, Collection
from typing import Any, NamedTuple

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from matwarden.sinks.mqtt_picture import Value
from matwarden.sinks.mqtt_terms import MqttTerms

__all__ = ["Ending", "Link", "LinkError"]

_KEEP_ALIVE_S = 10  # a dead connection is noticed within twice this
_CONNECT_TIMEOUT_S = 5.0
_UNACKED_MAX = 20  # paho's own limit; above it paho would queue
_FOUND_MAX = 10_000  # what a broker full of somebody's topics may cost us in memory

_WHO = "the broker does not let us in: compare username and password_file with its users and access list"
# Reason codes of MQTT 5.0 (OASIS, 2019, section 2.4) that trying again soon cannot cure, and what a keeper can do.
_LASTING = {
    0x84: 'the broker does not speak this version of MQTT: set protocol = "3.1.1"',
    0x85: "the broker refuses our client id",
    0x86: _WHO,
    0x87: _WHO,  # some brokers say this for a wrong password
    0x8A: "the broker has banned this client",
    0x8E: "another program connected under the same house id: two daemons must not share one id",
}


class LinkError(Exception):
    """No connection can be made. `lasting`: trying again soon is useless, a person must change something."""

    def __init__(self, text: str, lasting: bool) -> None:
        super().__init__(text)
        self.lasting = lasting


class Ending(NamedTuple):
    """Why a link is over. `was_up`: the broker had accepted us."""

    text: str
    lasting: bool
    was_up: bool = False


class Link:
    """A connection that was asked for. Call `turn` again and again; it ends when `ending` is set.

    Attributes:
        up: the broker has accepted us.
        found: retained topics of ours that the broker already held, once `survey` was called.
        refused: how many publications the broker did not take, and `refusal` why the last was not.
    """

    def __init__(self, terms: MqttTerms, client_id: str, will: Value) -> None:
        """Connect: blocks for up to some ten seconds.

        Raises:
            LinkError: no broker there, or a file or certificate that does not serve.
        """
        self.up = False
        self.ending: Ending | None = None
        self.found: set[str] = set()
        self.refused = 0
        self.refusal = ""
        self._surveyed = ""
        self._listened: frozenset[str] = frozenset()
        self._heard: Callable[[str, bytes], None] = lambda topic, payload: None
        self._act_topic = ""
        self._take: Callable[[bytes], None] = lambda payload: None
        self._unacked: set[int] = set()
        self._unacked_max = _UNACKED_MAX
        self._terms = terms
        self._v5 = terms.protocol == "5"
        self._client = self._configured(client_id, will)
        # With QoS 2 a session that outlived its client would take our new packets for repetitions of old ones.
        clean = terms.qos == 2
        where = f"{terms.host}:{terms.port}"
        try:
            if self._v5:
                # The session must live as long as the will is held back, or the will is sent at once.
                kept_s = terms.will_delay_s + _KEEP_ALIVE_S
                session = _property(PacketTypes.CONNECT, "SessionExpiryInterval", kept_s)
                self._client.connect(terms.host, terms.port, _KEEP_ALIVE_S, clean_start=clean, properties=session)
            else:
                self._client.connect(terms.host, terms.port, _KEEP_ALIVE_S)
        except ssl.SSLCertVerificationError as problem:
            text = f"the certificate of {where} is not trusted: {problem.verify_message}"
            raise LinkError(text, True) from problem
        except OSError as problem:
            raise LinkError(f"no connection to {where}: {problem.strerror or problem}", False) from problem

    @property
    def room(self) -> int:
        """How many values may be published now."""
        return self._unacked_max - len(self._unacked) if self.up and self.ending is None else 0

    @property
    def settled(self) -> bool:
        """Has the broker acknowledged everything?"""
        return not self._unacked

    def turn(self, wait_s: float) -> None:
        """Wait for the broker for at most `wait_s` and handle what it sent."""
        code = self._client.loop(wait_s)
        if code is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._end("the connection broke" if self.up else self._unanswered(), False)

    def publish(self, value: Value) -> None:
        """Send one retained value; the caller has looked at `room`."""
        properties = None
        if self._v5 and value.expires and value.payload:
            properties = _property(PacketTypes.PUBLISH, "MessageExpiryInterval", self._terms.expire_after_s)
        info = self._client.publish(value.topic, value.payload, self._terms.qos, True, properties)
        if info.rc is MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._unacked.add(info.mid)
        else:
            self._end("the connection broke", False)

    def survey(self, root: str) -> None:
        """Ask what is retained below `root`, for `found`. Quality 0: nothing is ever kept for us while away."""
        self._surveyed = f"{root}/"
        if self._v5:
            self._client.subscribe(f"{root}/#", options=SubscribeOptions(qos=0, noLocal=True))
        else:
            self._client.subscribe(f"{root}/#", 0)

    def listen(self, topics: Collection[str], heard: Callable[[str, bytes], None]) -> None:
        """Hear what others say on these topics, and say there already. Quality 0: nothing old is kept for us."""
        self._listened, self._heard = frozenset(topics), heard
        for topic in sorted(topics):
            self._client.subscribe(topic, 0)

    def survey_over(self) -> None:
        """Stop listening."""
        self._client.unsubscribe(f"{self._surveyed}#")

    def listen_to_acts(self, topic: str, take: Callable[[bytes], None]) -> None:
        """Hand each message at `topic` to `take`: what is published now, never what a broker has retained.

        A broker may hand a message on twice; that it does is for `take` to bear.
        """
        self._act_topic, self._take = topic, take
        if self._v5:
            self._client.subscribe(topic, options=SubscribeOptions(qos=1, retainHandling=2))
        else:
            self._client.subscribe(topic, 1)

    def give_up(self) -> None:
        """Wait no longer for the broker to accept us."""
        self._end(self._unanswered(), False)

    def leave(self) -> None:
        """Say goodbye, so that no will is sent. Without a connection: nothing."""
        self._client.disconnect()

    def drop(self) -> None:
        """Let go of the connection: unless we have said goodbye, the broker will send our will."""
        client = self._client
        client.on_connect = client.on_disconnect = client.on_publish = client.on_message = None
        socket = client.socket()
        if socket is not None:
            socket.close()

    def _configured(self, client_id: str, will: Value) -> Client:
        terms = self._terms
        version = MQTTProtocolVersion.MQTTv5 if self._v5 else MQTTProtocolVersion.MQTTv311
        client = Client(CallbackAPIVersion.VERSION2, client_id, protocol=version, reconnect_on_failure=False)
        client.connect_timeout = _CONNECT_TIMEOUT_S
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        if terms.username is not None:
            client.username_pw_set(terms.username, self._password())
        if terms.tls:
            client.tls_set_context(self._tls())
        properties = None
        if self._v5:
            properties = _property(PacketTypes.WILLMESSAGE, "WillDelayInterval", terms.will_delay_s)
        client.will_set(will.topic, will.payload, terms.qos, True, properties)
        return client

    def _password(self) -> str | None:
        path = self._terms.password_file
        if path is None:
            return None
        try:
            lines = path.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as problem:
            text = f"the password file {path} cannot be read: {getattr(problem, 'strerror', None) or problem}"
            raise LinkError(text, True) from problem
        if not lines or not lines[0]:
            raise LinkError(f"the password file {path} is empty: its first line must be the password", True)
        return lines[0]

    def _tls(self) -> ssl.SSLContext:
        terms = self._terms
        try:
            context = ssl.create_default_context(cafile=terms.ca_file)
        except OSError as problem:  # ssl.SSLError is one of these
            text = f"the authority's certificate {terms.ca_file} cannot be used: {problem.strerror or problem}"
            raise LinkError(text, True) from problem
        context.sslsocket_class = _ClosingSocket
        if terms.certificate_file is not None:
            try:
                # No password: an encrypted key would ask the terminal, and there is none.
                context.load_cert_chain(terms.certificate_file, terms.key_file, password="")
            except OSError as problem:
                text = f"our certificate {terms.certificate_file} or its key cannot be used: "
                raise LinkError(text + str(problem.strerror or problem), True) from problem
        return context

    def _unanswered(self) -> str:
        hint = '; if it speaks only MQTT 3.1.1, set protocol = "3.1.1"' if self._v5 else ""
        return f"{self._terms.host}:{self._terms.port} did not answer as an MQTT broker does{hint}"

    def _end(self, text: str, lasting: bool) -> None:
        if self.ending is None:
            self.ending = Ending(text, lasting, self.up)
        self.up = False

    def _end_by_code(self, code: ReasonCode) -> None:
        self._end(_LASTING.get(code.value, f"the broker said: {code}"), code.value in _LASTING)

    def _on_connect(
        self, client: Client, data: Any, flags: ConnectFlags, code: ReasonCode, properties: Properties | None
    ) -> None:
        if code.is_failure:
            self._end_by_code(code)
            return
        self.up = True
        self._unacked_max = min(_UNACKED_MAX, getattr(properties, "ReceiveMaximum", _UNACKED_MAX))

    def _on_disconnect(
        self,
        client: Client,
        data: Any,
        flags: DisconnectFlags,
        code: ReasonCode,
        properties: Properties | None,
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            self._end_by_code(code)
        else:
            self._end("the connection broke" if self.up else self._unanswered(), False)

    def _on_publish(self, client: Client, data: Any, mid: int, code: ReasonCode, properties: Properties | None) -> None:
        self._unacked.discard(mid)
        if code.is_failure:
            self.refused += 1
            self.refusal = str(code)

    def _on_message(self, client: Client, data: Any, message: MQTTMessage) -> None:
        if message.topic in self._listened:
            self._heard(message.topic, bytes(message.payload))
            return
        if message.topic == self._act_topic and not message.retain:
            if message.payload:  # with none, something retained is being deleted, perhaps by us
                self._take(bytes(message.payload))
            return
        # Only what was retained, and only its name: no other payload below our id is ever looked at. Some brokers send
        # what others have subscribed to as well: what is not below our own id must never be found.
        ours = bool(self._surveyed) and message.topic.startswith(self._surveyed)
        if ours and message.retain and message.payload and len(self.found) < _FOUND_MAX:
            self.found.add(message.topic)


class _ClosingSocket(ssl.SSLSocket):
    """Closed at once when the handshake fails: paho would leave it to the garbage collector."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def _property(packet: int, name: str, value: int) -> Properties:
    properties = Properties(packet)  # type: ignore[no-untyped-call]
    setattr(properties, name, value)
    return properties
