"""One try of the broker with the station's own credentials: it leaves nothing there and disturbs no running station."""

from __future__ import annotations

from collections.abc import Callable

from matwarden.sinks.homie import device_root
from matwarden.sinks.mqtt_link import Link, LinkError
from matwarden.sinks.mqtt_picture import Value
from matwarden.sinks.mqtt_terms import MqttTerms

__all__ = ["try_broker"]

_WITHIN_S = 10.0


def try_broker(terms: MqttTerms, device_id: str, now_s: Callable[[], float]) -> str:
    """Connect and publish one empty value; blocks for up to some twenty seconds.

    A client id of its own, so that a running station is not thrown out; a topic of its own below the device's, so that
    an access list judges it as it judges the station. An empty retained value deletes: nothing is left behind, not
    even by the will of a try that was killed.

    Returns:
        Why the broker cannot be used; empty when it can.
    """
    nothing = Value(f"{device_root(terms.domain, device_id)}/$check", b"")
    try:
        link = Link(terms, f"{device_id}-check", nothing)
    except LinkError as error:
        return str(error)
    until_s = now_s() + _WITHIN_S
    asked = False
    try:
        while link.ending is None and now_s() < until_s:
            link.turn(0.2)
            if link.up and not asked:
                link.publish(nothing)
                asked = True
            elif asked and link.settled:
                link.leave()
                return f"it lets us in, but not publish: {link.refusal}" if link.refused else ""
        link.give_up()
        return link.ending.text if link.ending is not None else ""
    finally:
        link.drop()
