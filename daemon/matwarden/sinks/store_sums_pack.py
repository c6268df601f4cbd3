"""The hours of one local day in a few hundred bytes: column after column, and of them first all lowest bytes, then all
next ones, for the high bytes are nearly all the same: so zlib halves what it gets.

Times of extremes are milliseconds from the begin of their hour, `NOT_READ` for none; means are whole thousandths.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Mapping

from matwarden.core.sums_of import HOUR_MS, NOT_READ, SeriesTally, TubTally

__all__ = ["packed_series", "packed_tub", "unpacked_series", "unpacked_tub"]

_SERIES = "iiiiii"
_TUB = "iiiiiiiiiffiii"


def packed_series(hours: Mapping[int, SeriesTally], day_begins_ms: int) -> bytes:
    """The hours of a series, by number."""
    return _packed(
        _SERIES,
        {
            hour: (
                each.lowest,
                _offset(each.lowest_ms, day_begins_ms + hour * HOUR_MS),
                each.highest,
                _offset(each.highest_ms, day_begins_ms + hour * HOUR_MS),
                round(each.weighted / each.known_ms) if each.known_ms else 0,
                each.known_ms,
            )
            for hour, each in hours.items()
        },
    )


def unpacked_series(blob: bytes, day_begins_ms: int) -> dict[int, SeriesTally]:
    """What `packed_series` packed; hours in which no value held are left out."""
    return {
        hour: SeriesTally(
            low,
            _wall(low_ms, day_begins_ms + hour * HOUR_MS),
            high,
            _wall(high_ms, day_begins_ms + hour * HOUR_MS),
            mean * known,
            known,
        )
        for hour, (low, low_ms, high, high_ms, mean, known) in enumerate(_unpacked(_SERIES, blob))
        if known
    }


def packed_tub(hours: Mapping[int, TubTally], day_begins_ms: int) -> bytes:
    """The hours of a tub, by number."""
    return _packed(
        _TUB,
        {
            hour: (
                each.lowest,
                _offset(each.lowest_ms, day_begins_ms + hour * HOUR_MS),
                each.highest,
                _offset(each.highest_ms, day_begins_ms + hour * HOUR_MS),
                round(each.weighted / each.known_ms) if each.known_ms else 0,
                *each[5:],
            )
            for hour, each in hours.items()
        },
    )


def unpacked_tub(blob: bytes, day_begins_ms: int) -> dict[int, TubTally]:
    """What `packed_tub` packed; hours that the record does not touch are left out."""
    return {
        hour: TubTally(
            low,
            _wall(low_ms, day_begins_ms + hour * HOUR_MS),
            high,
            _wall(high_ms, day_begins_ms + hour * HOUR_MS),
            mean * (rest[-1] - rest[3]),
            *rest,
        )
        for hour, (low, low_ms, high, high_ms, mean, *rest) in enumerate(_unpacked(_TUB, blob))
        if rest[-1]
    }


def _packed(kinds: str, rows: Mapping[int, tuple[float, ...]]) -> bytes:
    count = max(rows) + 1
    nothing = (0,) * len(kinds)
    columns = zip(*(rows.get(hour, nothing) for hour in range(count)), strict=True)
    raw = b"".join(struct.pack(f"<{count}{kind}", *column) for kind, column in zip(kinds, columns, strict=True))
    return zlib.compress(b"".join(raw[k::4] for k in range(4)), 9)


def _unpacked(kinds: str, blob: bytes) -> list[tuple[int, ...]]:
    planes = zlib.decompress(blob)
    quarter = len(planes) // 4
    raw = bytearray(len(planes))
    for k in range(4):
        raw[k::4] = planes[k * quarter : (k + 1) * quarter]
    count = quarter // len(kinds)
    columns = [struct.unpack_from(f"<{count}{kind}", raw, 4 * count * number) for number, kind in enumerate(kinds)]
    return list(zip(*columns, strict=True))


def _offset(wall_ms: int, hour_begins_ms: int) -> int:
    return NOT_READ if wall_ms == NOT_READ else wall_ms - hour_begins_ms


def _wall(offset_ms: int, hour_begins_ms: int) -> int:
    return NOT_READ if offset_ms == NOT_READ else hour_begins_ms + offset_ms
