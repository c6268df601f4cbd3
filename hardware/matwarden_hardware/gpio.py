"""A relay on a GPIO line, through libgpiod 2 (the Python package `gpiod`).

One request claims the line, makes it an output and gives it the level for "cut", all in one system call: the kernel
writes the level before it switches the direction, so the relay never sees the other level. Nothing here ever asks for
the line as an input first, or sets a level afterwards. Which physical level means "allow" is known only to this module.

What this module cannot do, and the wiring and the system must (all true of Raspberry Pi kernels):

* An output KEEPS ITS LEVEL after its owner dies or is killed: a crash with heat on leaves heat on. `close` cuts before
  it releases; a killed process is followed by the service manager, which starts a program that opens the line (which
  cuts it) and closes it again.
* `dtparam=strict_gpiod` in config.txt makes a released line an input instead. It then floats, so a resistor at the
  relay board (about 10 kohm) must pull it to "cut". The same resistor serves before boot and during a reset.
* Prefer a board that allows at HIGH, a line of GPIO16 to GPIO27 (their pulls at reset are down), and the contact that
  is open when the coil rests. A board that allows at LOW needs a pull UP to rest at "cut".
* `read_back` is the level of the line. A welded contact is not visible there: an independent thermal cut-out in
  series with the mat covers it.
"""

from __future__ import annotations

import errno
import importlib
import threading
from pathlib import Path
from types import ModuleType
from typing import Any

from matwarden_hardware.ports import DriverError, RelayError

__all__ = ["CONSUMER", "GpioRelay", "load_gpiod", "why_not"]

CONSUMER = "matwarden"
"""The name other programs see as the holder of the line."""


class GpioRelay:
    """One output line of one GPIO chip.

    Args:
        chip: the chip's device file, for example "/dev/gpiochip0".
        line: the line's offset on that chip; on a Raspberry Pi's header chip, the GPIO number.
        active_high: True if the relay board allows power at the high level, False if at the low one.
        gpiod_module: stands in for the package `gpiod`.
        what: what hangs on the line, for messages.

    Raises:
        DriverError: `gpiod` is missing or too old, or the chip or line is absent, forbidden or in use.

    The line is cut when the constructor returns. May be called from several threads.
    """

    def __init__(
        self,
        chip: str,
        line: int,
        active_high: bool,
        gpiod_module: ModuleType | None = None,
        what: str = "relay",
    ) -> None:
        gpiod: Any = gpiod_module if gpiod_module is not None else load_gpiod()
        self._label = f"{what} on {chip} line {line}"
        self._line = line
        self._cut, self._allow = gpiod.line.Value.INACTIVE, gpiod.line.Value.ACTIVE
        # A close from the stopping thread must not slip between a drive and its release.
        self._lock = threading.Lock()
        settings = gpiod.LineSettings(
            direction=gpiod.line.Direction.OUTPUT, active_low=not active_high, output_value=self._cut
        )
        try:
            self._request: Any = gpiod.request_lines(chip, config={line: settings}, consumer=CONSUMER)
        except OSError as error:
            raise DriverError(f"{self._label}: {why_not(error, gpiod, chip, line)}") from None
        except (ValueError, OverflowError):
            raise DriverError(f"{self._label}: the chip has no such line; is it the right chip?") from None

    def drive(self, allow: bool) -> None:
        """Allow power (True) or cut it (False).

        Raises:
            RelayError: closed, or the kernel refused the level.
        """
        with self._lock:
            request = self._live_request()
            try:
                request.set_value(self._line, self._allow if allow else self._cut)
            except OSError as error:
                word = "allowed" if allow else "cut"
                raise RelayError(f"{self._label}: cannot be {word} ({error.strerror})") from None

    def read_back(self) -> bool:
        """The level of the line now: True when power is allowed.

        Raises:
            RelayError: closed, or the kernel refused to tell.
        """
        with self._lock:
            request = self._live_request()
            try:
                return bool(request.get_value(self._line) == self._allow)
            except OSError as error:
                raise RelayError(f"{self._label}: its level cannot be read ({error.strerror})") from None

    def close(self) -> None:
        """Cut, then release. Safe to call twice.

        Raises:
            RelayError: the line could not be cut before it was released (it is released all the same).
        """
        with self._lock:
            request, self._request = self._request, None
            if request is None:
                return
            try:
                request.set_value(self._line, self._cut)
            except OSError as error:
                raise RelayError(
                    f"{self._label}: could not be cut before release ({error.strerror}); unplug the mat"
                ) from None
            finally:
                request.release()

    def _live_request(self) -> Any:
        if self._request is None:
            raise RelayError(f"{self._label}: already closed")
        return self._request


def load_gpiod() -> ModuleType:
    """The package `gpiod`.

    Raises:
        DriverError: it is missing or too old.
    """
    advice = 'install it with: pip install "gpiod>=2.2.2"'
    try:
        module = importlib.import_module("gpiod")
    except ImportError as error:
        raise DriverError(f"a GPIO relay needs the Python package gpiod ({error}); {advice}") from None
    if not hasattr(module, "request_lines"):
        raise DriverError(f"the installed Python package gpiod is too old, version 2 is needed; {advice}")
    return module


def why_not(error: OSError, gpiod: Any, chip: str, line: int) -> str:
    """Why a request for the line was refused, and what to do."""
    match error.errno:
        case errno.ENOENT:
            there = ", ".join(sorted(str(path) for path in Path(chip).parent.glob("gpiochip*")))
            return f"there is no such chip; this machine has: {there or 'none'}"
        case errno.ENOTTY | errno.ENODEV:
            return "that file is no GPIO chip"
        case errno.EACCES | errno.EPERM:
            return "this account may not use it; add it to the group gpio, and the chip to the service's DeviceAllow"
        case errno.EBUSY:
            return f"it is held by {_holder(gpiod, chip, line)}; stop that first, or choose another line"
        case errno.EINVAL:
            return "the chip has no such line, or it cannot be an output; is it the right chip?"
        case _:
            return f"it cannot be opened ({error.strerror or error})"


def _holder(gpiod: Any, chip: str, line: int) -> str:
    try:
        with gpiod.Chip(chip) as opened:
            consumer = opened.get_line_info(line).consumer
    except (OSError, ValueError):
        consumer = ""
    return f'another program, which calls itself "{consumer}"' if consumer else "another program or the kernel"
