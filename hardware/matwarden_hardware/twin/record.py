"""Cutting a simulated relay from outside its process: a line in the record that its level is written to."""

from __future__ import annotations

import time
from pathlib import Path

from matwarden_hardware.ports import DriverError

__all__ = ["record_cut"]


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
