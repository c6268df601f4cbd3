"""A stand-in for the package `gpiod` with the kernel behind it: levels, owners, and a record of every level a pin had.

A pin of this chip has a physical level. A request that makes it an output writes the level first and switches the
direction after, in one step, as the kernel does. A released output keeps its level (Raspberry Pi kernels), or becomes
an input that the board's resistor pulls (`strict=True`). `test_gpio_drift` holds every signature to the real package.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from types import ModuleType, TracebackType


class Direction(Enum):
    AS_IS = 1
    INPUT = 2
    OUTPUT = 3


class Value(Enum):
    INACTIVE = 0
    ACTIVE = 1


@dataclass
class LineSettings:
    direction: Direction = Direction.AS_IS
    active_low: bool = False
    output_value: Value = Value.INACTIVE


@dataclass
class Pin:
    """One pin of the chip. `history` holds every physical level in order, beginning with the resistor's."""

    rest_high: bool
    consumer: str = ""
    used: bool = False
    is_output: bool = False
    history: list[bool] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.history = [self.rest_high]

    def put(self, high: bool) -> None:
        if high != self.history[-1]:
            self.history.append(high)

    @property
    def high(self) -> bool:
        return self.history[-1]


@dataclass(frozen=True)
class LineInfo:
    used: bool
    consumer: str


class LineRequest:
    def __init__(self, gpiod: FakeGpiod, path: str, settings: dict[int, LineSettings]) -> None:
        self._gpiod = gpiod
        self._path = path
        self._settings = settings
        self._released = False

    def set_value(self, line: int | str, value: Value) -> None:
        self._use("set_value", line, value)
        self._pin(line).put((value is Value.ACTIVE) != self._settings[int(line)].active_low)

    def get_value(self, line: int | str) -> Value:
        self._use("get_value", line)
        return Value(int(self._pin(line).high != self._settings[int(line)].active_low))

    def release(self) -> None:
        self._gpiod.before_release()
        self._gpiod.calls.append(("release",))
        self._released = True
        for line in self._settings:
            pin = self._pin(line)
            pin.used, pin.consumer = False, ""
            if self._gpiod.strict:
                pin.is_output = False
                pin.put(pin.rest_high)

    def _pin(self, line: int | str) -> Pin:
        return self._gpiod.pins[self._path, int(line)]

    def _use(self, call: str, *arguments: object) -> None:
        self._gpiod.calls.append((call, *arguments))
        if self._released:
            raise RuntimeError("the driver used a released request")
        number = self._gpiod.broken.get(call)
        if number is not None:
            raise OSError(number, os.strerror(number))


class FakeGpiod(ModuleType):
    """The package: one pin at `path`, offset `line`, pulled by its board to `rest_high`.

    `broken` maps a call's name to the errno it fails with; `before_release` runs when a request is about to be
    released; `calls` records the driver's calls in order.
    """

    class line:  # noqa: N801 - the package's own name
        Direction = Direction
        Value = Value

    def __init__(self, path: str, line: int, rest_high: bool = False, strict: bool = False) -> None:
        super().__init__("gpiod")
        self.LineSettings = LineSettings
        self.pins = {(path, line): Pin(rest_high)}
        self.strict = strict
        self.broken: dict[str, int] = {}
        self.before_release: Callable[[], None] = lambda: None
        self.calls: list[tuple[object, ...]] = []

    @property
    def pin(self) -> Pin:
        return next(iter(self.pins.values()))

    def request_lines(self, path: str, config: dict[int, LineSettings], consumer: str | None = None) -> LineRequest:
        self.calls.append(("request_lines", path, config, consumer))
        self._open(path)
        number = self.broken.get("request_lines")
        if number is not None:
            raise OSError(number, os.strerror(number))
        # All or nothing, as the kernel does.
        if any(pin.used for pin in [self._find(path, offset) for offset in config]):
            raise OSError(errno.EBUSY, os.strerror(errno.EBUSY))
        for offset, settings in config.items():
            pin = self._find(path, offset)
            pin.used, pin.consumer = True, consumer or "?"
            if settings.direction is Direction.OUTPUT:
                pin.put((settings.output_value is Value.ACTIVE) != settings.active_low)
            if settings.direction is not Direction.AS_IS:
                pin.is_output = settings.direction is Direction.OUTPUT
            if settings.direction is Direction.INPUT:
                pin.put(pin.rest_high)
        return LineRequest(self, path, dict(config))

    def Chip(self, path: str) -> Chip:  # noqa: N802 - the package's own name
        self._open(path)
        return Chip(self, path)

    def _open(self, path: str) -> None:
        if path not in {known for known, _ in self.pins}:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))

    def _find(self, path: str, offset: int) -> Pin:
        if offset < 0:
            # As the package's C part does (gpiod 2.5.0, tried).
            raise OverflowError("can't convert negative value to unsigned int")
        if (path, offset) not in self.pins:
            raise ValueError("line offset of out range")
        return self.pins[path, offset]


class Chip:
    def __init__(self, gpiod: FakeGpiod, path: str) -> None:
        self._gpiod = gpiod
        self._path = path

    def __enter__(self) -> Chip:
        return self

    def __exit__(
        self,
        exc_type: type[BaseException] | None,
        exc_value: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """Nothing to give back."""

    def get_line_info(self, line: int | str) -> LineInfo:
        pin = self._gpiod._find(self._path, int(line))
        return LineInfo(pin.used, pin.consumer)
