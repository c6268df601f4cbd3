"""Looking at a relay's line without driving it: what it rests at while no program holds it."""

from __future__ import annotations

from types import ModuleType
from typing import Any

from matwarden_hardware.gpio import CONSUMER, load_gpiod, why_not
from matwarden_hardware.ports import DriverError

__all__ = ["idle_level"]


def idle_level(chip: str, line: int, active_high: bool, gpiod_module: ModuleType | None = None) -> bool:
    """Whether a line that nobody holds lets power through as it is. Its direction and level are left alone.

    Args:
        chip: the chip's device file. line: the line's offset. active_high: True if the board allows at the high level.
        gpiod_module: stands in for the package `gpiod`.

    Raises:
        DriverError: the line is held, absent or forbidden, or cannot be read.
    """
    gpiod: Any = gpiod_module if gpiod_module is not None else load_gpiod()
    label = f"relay on {chip} line {line}"
    settings = gpiod.LineSettings(direction=gpiod.line.Direction.AS_IS, active_low=not active_high)
    try:
        request = gpiod.request_lines(chip, config={line: settings}, consumer=f"{CONSUMER} check")
    except OSError as error:
        raise DriverError(f"{label}: {why_not(error, gpiod, chip, line)}") from None
    except (ValueError, OverflowError):
        raise DriverError(f"{label}: the chip has no such line; is it the right chip?") from None
    try:
        return bool(request.get_value(line) == gpiod.line.Value.ACTIVE)
    except OSError as error:
        raise DriverError(f"{label}: its level cannot be read ({error.strerror})") from None
    finally:
        request.release()
