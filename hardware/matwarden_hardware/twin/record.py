"""A simulated relay from outside its process, through the record that its level is written to: cutting, looking."""

from __future__ import annotations

import time
from pathlib import Path

from matwarden_hardware.ports import DriverError

__all__ = ["record_cut", "recorded_level"]


def record_cut(record: Path, tub: str) -> None:
    """Write down that the tub's line is cut, on the machine's clock as the running shelf does.

    Raises:
        DriverError: the record cannot be written.
    """
    try:
        with record.open("ab", buffering=0) as file:
            file.write(f"{time.monotonic():.3f} cut {tub}\n".encode())
    except OSError as error:
        raise DriverError(f"relay of {tub}: cannot write its record {record}: {error.strerror}") from error


def recorded_level(record: Path, tub: str) -> bool:
    """Whether the tub's line lets power through, by the last line about it; one that was never opened is cut.

    Raises:
        DriverError: the record cannot be read.
    """
    try:
        rows = [row.split() for row in record.read_text(encoding="utf-8").splitlines()]
    except FileNotFoundError:
        return False
    except OSError as error:
        raise DriverError(f"relay of {tub}: cannot read its record {record}: {error.strerror}") from error
    words = [row[1] for row in rows if len(row) == 3 and row[2] == tub]
    return words[-1:] == ["allow"]
