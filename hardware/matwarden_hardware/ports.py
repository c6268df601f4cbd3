"""The ports of the hardware: a probe that is read, a relay that is driven, a permit that is pulsed.

Law: a driver never substitutes a value. What it cannot read it raises; what it reads it returns as read, in SI units,
and somebody else judges whether it is plausible. A relay's level is decided only by `drive`.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

__all__ = ["DriverError", "Permit", "Probe", "ProbeError", "Relay", "RelayError", "Sample"]


class Sample(NamedTuple):
    """One capture of a probe, as read.

    Attributes:
        temperature_c: degrees Celsius.
        humidity_pct: relative humidity in percent, or None when the probe has no such channel.
        at_power_on_value: True when the value is what the part reports before its first conversion.
    """

    temperature_c: float
    humidity_pct: float | None = None
    at_power_on_value: bool = False


class DriverError(Exception):
    """A device cannot be opened or used. The text says which one and what to do."""


class ProbeError(DriverError):
    """This reading could not be taken. The text says why, in one clause a keeper can read."""


class RelayError(DriverError):
    """The line cannot be driven or read back."""


class Probe(Protocol):
    """Something that can be read now and then."""

    def read(self) -> Sample:
        """Take one capture. May block for as long as the part needs; the caller holds the deadline.

        Raises:
            ProbeError: nothing usable was read (absent, empty, bad checksum, input/output error).
        """

    def close(self) -> None:
        """Release the device. Safe to call twice."""


class Relay(Protocol):
    """A line that cuts or allows power to one mat. It is cut from the moment it is opened."""

    def drive(self, allow: bool) -> None:
        """Allow power (True) or cut it (False).

        Raises:
            RelayError: the line did not take the level.
        """

    def read_back(self) -> bool:
        """The line's level as the line itself reports it: True when power is allowed.

        Raises:
            RelayError: the line cannot be read.
        """

    def close(self) -> None:
        """Drive to cut, then release. Safe to call twice."""


class Permit(Protocol):
    """A line that must keep changing, or something outside cuts every relay. It is low from the moment it is opened."""

    def pulse(self) -> None:
        """Change the level once. Nothing else ever changes it.

        Raises:
            RelayError: the line did not take the level.
        """

    def close(self) -> None:
        """Leave the line low, then release it. Safe to call twice."""
