"""A stand-in for the package `gpiod` that processes share: a directory is the chips, and lives longer than they do.

Put the directory above this package first in PYTHONPATH and name a directory in MATWARDEN_BENCH. There every line of
`/dev/gpiochip0` has a file `gpiochip0-17.levels`, one physical level a row, and a file `gpiochip0-17.owner` that its
owner holds locked with its consumer's name in it. A level outlives its owner, as on Raspberry Pi kernels (their
pinctrl drivers, `persist_gpio_outputs`); the lock does not, as the kernel's own hold on a line does not. Lines 0 to 53.
"""

from __future__ import annotations

import errno
import fcntl
import os
from pathlib import Path

from . import line

__all__ = ["Chip", "LineInfo", "LineRequest", "LineSettings", "line", "request_lines"]


class LineSettings:
    def __init__(
        self,
        direction: line.Direction = line.Direction.AS_IS,
        active_low: bool = False,
        output_value: line.Value = line.Value.INACTIVE,
    ) -> None:
        self.direction, self.active_low, self.output_value = direction, active_low, output_value


class LineInfo:
    def __init__(self, consumer: str) -> None:
        self.consumer = consumer


class Chip:
    def __init__(self, path: str) -> None:
        self._path = path

    def __enter__(self) -> Chip:
        return self

    def __exit__(self, *_: object) -> None: ...

    def get_line_info(self, number: int) -> LineInfo:
        return LineInfo(_file(self._path, number, "owner").read_text(encoding="utf-8"))


class LineRequest:
    def __init__(self, path: str, config: dict[int, LineSettings], owners: list[int]) -> None:
        self._path, self._config, self._owners = path, config, owners

    def set_value(self, number: int, value: line.Value) -> None:
        _put(self._path, number, (value is line.Value.ACTIVE) != self._config[number].active_low)

    def get_value(self, number: int) -> line.Value:
        file = _file(self._path, number, "levels")  # none yet: a line that its pull-down holds low
        high = file.exists() and file.read_text(encoding="utf-8").endswith("1\n")
        return line.Value(int(high != self._config[number].active_low))

    def release(self) -> None:
        for owner in self._owners:
            os.close(owner)
        self._owners = []


def request_lines(path: str, config: dict[int, LineSettings], consumer: str = "?") -> LineRequest:
    owners: list[int] = []
    try:
        for number in config:
            if number > 53:
                raise ValueError("line offset of out range")
            owner = os.open(_file(path, number, "owner"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC)
            owners.append(owner)
            try:
                fcntl.flock(owner, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise OSError(errno.EBUSY, os.strerror(errno.EBUSY)) from None
            os.truncate(owner, 0)
            os.write(owner, consumer.encode())
    except BaseException:
        for owner in owners:
            os.close(owner)
        raise
    for number, settings in config.items():
        if settings.direction is line.Direction.OUTPUT:
            _put(path, number, (settings.output_value is line.Value.ACTIVE) != settings.active_low)
    return LineRequest(path, config, owners)


def _file(path: str, number: int, what: str) -> Path:
    return Path(os.environ["MATWARDEN_BENCH"]) / f"{Path(path).name}-{number}.{what}"


def _put(path: str, number: int, high: bool) -> None:
    with _file(path, number, "levels").open("ab", buffering=0) as file:
        file.write(b"1\n" if high else b"0\n")
