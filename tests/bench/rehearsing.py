"""What a rehearsal costs: the recorded winter of `make winter`, in processor time of this process."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from bench.table import Row
from winter.rehearse import rehearse

__all__ = ["winter"]

# Two minutes, where the same additions took 0.55 s.
_WITHIN_X = 220.0
_ADDITIONS_N = 20_000_000


def winter() -> list[Row]:
    """33 days of four tubs at steps of 10 s, beside additions of Python taken just before and just after."""
    before_s = _additions_s()
    with tempfile.TemporaryDirectory() as directory:
        user_s = rehearse(Path(directory)).user_s
    bare_s = (before_s + _additions_s()) / 2
    return [
        Row(
            "33 recorded winter days of four tubs, record and digests included",
            f"{user_s:.0f} s of processor, {user_s / bare_s:.0f} ×",
            f"{_ADDITIONS_N // 1_000_000} million additions {bare_s:.2f} s",
            f"{_WITHIN_X:.0f} ×",
            user_s / bare_s < _WITHIN_X,
        )
    ]


def _additions_s() -> float:
    began_s, total = time.process_time(), 0
    for k in range(_ADDITIONS_N):
        total += k & 7
    return time.process_time() - began_s
