"""Forcing relay lines to cut from outside the program that drives them: one request a chip, read back, released.

What is left behind is a released line that was driven to cut. A Raspberry Pi kernel keeps it at that level; with
`dtparam=strict_gpiod` it becomes an input, and the resistor at the relay must say cut. Not tried on a real Pi.
"""

from __future__ import annotations

import errno
from collections.abc import Mapping
from types import ModuleType
from typing import Any, NamedTuple

from matwarden_hardware.gpio import CONSUMER, load_gpiod, why_not

__all__ = ["Uncut", "force_cut"]


class Uncut(NamedTuple):
    """A line that is not known to be cut.

    Attributes:
        why: the reason and what to do, in words.
        busy: another program, or the kernel, holds it.
    """

    why: str
    busy: bool


def force_cut(chip: str, lines: Mapping[int, bool], gpiod_module: ModuleType | None = None) -> dict[int, Uncut]:
    """Drive lines of one chip to cut, all in one request.

    When the request for all is refused, each is tried by itself: one that is held must not keep the others on.

    Args:
        chip: the chip's device file.
        lines: by offset, whether the relay board allows power at the high level.
        gpiod_module: stands in for the package `gpiod`.

    Returns:
        What is not known to be cut, by offset. Empty: every line read back as cut.

    Raises:
        DriverError: `gpiod` is missing or too old.
    """
    gpiod: Any = gpiod_module if gpiod_module is not None else load_gpiod()
    if len(lines) > 1:
        try:
            return _cut(gpiod, chip, lines)
        except (OSError, ValueError, OverflowError):
            pass
    uncut = {}
    for line, active_high in lines.items():
        try:
            uncut.update(_cut(gpiod, chip, {line: active_high}))
        except OSError as error:
            uncut[line] = Uncut(why_not(error, gpiod, chip, line), error.errno == errno.EBUSY)
        except (ValueError, OverflowError):
            uncut[line] = Uncut("the chip has no such line; is it the right chip?", False)
    return uncut


def _cut(gpiod: Any, chip: str, lines: Mapping[int, bool]) -> dict[int, Uncut]:
    cut = gpiod.line.Value.INACTIVE
    config = {
        line: gpiod.LineSettings(direction=gpiod.line.Direction.OUTPUT, active_low=not active_high, output_value=cut)
        for line, active_high in lines.items()
    }
    request = gpiod.request_lines(chip, config=config, consumer=f"{CONSUMER} cut")
    uncut = {}
    try:
        for line in lines:
            try:
                if request.get_value(line) != cut:
                    uncut[line] = Uncut("it was driven to cut and does not read back as cut", False)
            except OSError as error:
                uncut[line] = Uncut(f"it was driven to cut, but cannot be read back ({error.strerror})", False)
    finally:
        request.release()
    return uncut
