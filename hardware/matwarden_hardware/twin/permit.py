"""The permit of the simulated shelf: it drives nothing, and writes down each level it had."""

from __future__ import annotations

from collections.abc import Callable
from io import FileIO
from pathlib import Path

from matwarden_hardware.ports import DriverError, RelayError

__all__ = ["TwinPermit"]


class TwinPermit:
    """Low from the moment it is opened.

    Args:
        clock_s: the shelf's clock.
        record: as that of a simulated relay: one line `SECONDS high permit` or `SECONDS low permit` at opening and
            at each change, to a callable or added to a file; None: only counted.

    Raises:
        DriverError: the record cannot be written.

    Attributes:
        pulses: how often the level was changed.
    """

    def __init__(self, clock_s: Callable[[], float], record: Path | Callable[[str], None] | None = None) -> None:
        self._clock_s = clock_s
        self._file: FileIO | None = None
        self._record: Callable[[str], None] | None = None
        if isinstance(record, Path):
            try:
                self._file = FileIO(record, "a")
            except OSError as error:
                raise DriverError(f"permit: cannot write its record {record}: {error.strerror}") from error
        else:
            self._record = record
        self.high = False
        self.pulses = 0
        self._open = True
        self._write_down()

    def pulse(self) -> None:
        """Change the level once.

        Raises:
            RelayError: it is closed, or its record cannot be written.
        """
        if not self._open:
            raise RelayError("permit: it is closed")
        self.high = not self.high
        self.pulses += 1
        self._write_down()

    def close(self) -> None:
        """Leave it low. Safe to call twice.

        Raises:
            RelayError: its record cannot be written.
        """
        if not self._open:
            return
        self._open = False
        was_high, self.high = self.high, False
        try:
            if was_high:
                self._write_down()
        finally:
            if self._file is not None:
                self._file.close()

    def _write_down(self) -> None:
        line = f"{self._clock_s():.3f} {'high' if self.high else 'low'} permit\n"
        try:
            if self._file is not None:
                self._file.write(line.encode())
            elif self._record is not None:
                self._record(line)
        except OSError as error:
            raise RelayError(f"permit: cannot write its record: {error.strerror}") from error
