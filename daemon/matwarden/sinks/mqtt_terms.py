"""Where the MQTT broker is and how to talk to it: values only, filled from the settings file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

__all__ = ["MqttTerms", "Protocol"]

Protocol = Literal["5", "3.1.1"]


@dataclass(frozen=True, slots=True)
class MqttTerms:
    """One broker.

    Attributes:
        protocol: version of MQTT. With 3.1.1 there is no will delay and no expiry of readings.
        username: None: anonymous.
        password_file: a file whose first line is the password; read at every connect, never kept, never logged.
        tls: encrypt, and check the broker's certificate and host name. There is no way to skip the check.
        ca_file: PEM file of the authority that signed the broker's certificate; None: the system's authorities.
        certificate_file, key_file: this daemon's own certificate, where the broker asks for one.
        domain: first level of every topic, one segment.
        qos: 1 or 2, the same for every retained topic (mixed levels would break their order). With 2 each connection
            is a new session, so a broker may say `lost` at every drop, whatever will_delay_s is.
        will_delay_s: a drop of the connection shorter than this is not shown as `lost` (MQTT 5 only).
        expire_after_s: the broker forgets a temperature or humidity this old (MQTT 5 only).
        acknowledge: whether `house/acknowledge/set` is listened to.
    """

    host: str
    port: int = 1883
    protocol: Protocol = "5"
    username: str | None = None
    password_file: Path | None = None
    tls: bool = False
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    domain: str = "homie"
    qos: Literal[1, 2] = 1
    will_delay_s: int = 30
    expire_after_s: int = 300
    acknowledge: bool = False
