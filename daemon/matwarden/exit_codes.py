"""How each command ends. The README lists them; a test compares."""

from __future__ import annotations

from enum import IntEnum

__all__ = ["Exit"]


class Exit(IntEnum):
    """Exit codes."""

    OK = 0
    INTERNAL = 1  # our bug: every relay was cut on the way out
    SETTINGS = 2  # the settings file cannot be used
    DEVICE = 3  # a probe or relay cannot be opened, or a relay is not known to be cut
    BUSY = 4  # another matwarden is using the store
    STORE = 5  # the store cannot be used
    NOT_RUNNING = 6  # the verb needs a running station
    REFUSED = 7  # refused, for the reason given
    UNKNOWN = 8  # no such enclosure or alarm, or no digest of that date
    UNFIT = 9  # check --live or push --test found something to be put right
    USAGE = 64  # the command line was not understood
    INTERRUPTED = 130  # stopped by Ctrl-C
