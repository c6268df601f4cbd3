"""The permit: a second line that changes its level only while whoever drives it is alive and well.

It is for a part outside the computer, a retriggerable timer or a supervisor with a time limit, that gives the relays
their supply only as long as the line keeps changing. A board that freezes with a relay's line high leaves this line
still, at whatever level, and the relays drop by themselves. Neither such a part nor this line was tried on a real Pi.

Law: only `pulse` changes the level, once a call; no thread or timer calls it. It is low at opening and at the end.
"""

from __future__ import annotations

from types import ModuleType

from matwarden_hardware.gpio import GpioRelay

__all__ = ["PermitLine"]


class PermitLine:
    """The permit on one GPIO line.

    Args:
        chip: the chip's device file, for example "/dev/gpiochip0".
        line: the line's offset on that chip.
        gpiod_module: stands in for the package `gpiod`.

    Raises:
        DriverError: `gpiod` is missing or too old, or the chip or line is absent, forbidden or in use.
    """

    def __init__(self, chip: str, line: int, gpiod_module: ModuleType | None = None) -> None:
        # The manners of a relay that allows at the high level: one request, low at once, low at the end.
        self._line = GpioRelay(chip, line, active_high=True, gpiod_module=gpiod_module, what="permit")
        self._high = False

    def pulse(self) -> None:
        """Change the level once.

        Raises:
            RelayError: closed, or the kernel refused the level. The next call tries for the same level again.
        """
        self._line.drive(not self._high)
        self._high = not self._high

    def close(self) -> None:
        """Leave the line low, then release it. Safe to call twice.

        Raises:
            RelayError: it could not be put low before it was released; it stands still all the same.
        """
        self._line.close()
