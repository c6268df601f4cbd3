"""Where the outgoing heartbeat goes: values only."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["HeartbeatTerms"]


@dataclass(frozen=True, slots=True)
class HeartbeatTerms:
    """An address that is asked for now and then while all goes well.

    Attributes:
        url_file: a file whose first line is the address, read again each time: it is a secret, never logged.
    """

    url_file: str
    every_s: float
