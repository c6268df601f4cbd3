"""A digest as JSON-able values: RFC 3339 times in UTC, SI units in the key names, None for what is not known. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from matwarden.core.digest import Climate, EnclosureNight, NightDigest, Unread
from matwarden.core.digest_numbers_document import against_document, heat_document
from matwarden.core.exposure import Extreme, Spell
from matwarden.core.halves import Half
from matwarden.core.humidity_document import humidity_document, sides_document
from matwarden.core.record import AlarmLine
from matwarden.core.units import rfc3339_z
from matwarden.terms import Quantity

__all__ = ["to_document"]

# What is computed from readings to a hundredth of a degree is not known better than this.
_DECIMALS = 3


def to_document(digest: NightDigest) -> dict[str, Any]:
    """The digest for the store, for MQTT and for other programs.

    `alarms` holds those of the whole house; each tub's own stand with it as well.
    """
    return {
        "date": digest.date,
        "zone": digest.zone,
        "from": rfc3339_z(digest.from_wall_s),
        "to": rfc3339_z(digest.to_wall_s),
        "lasts_s": _rounded(digest.lasts_s),
        "restarts": digest.restarts,
        "clock_steps_s": [_rounded(step_s) for step_s in digest.clock_steps_s],
        "room": None if digest.room is None else _climate(digest.room),
        "room_unread": [_unread(each) for each in digest.room_unread],
        "alarms": _all_alarms(digest),
        "enclosures": [_enclosure(each) for each in digest.enclosures],
    }


def _enclosure(night: EnclosureNight) -> dict[str, Any]:
    inside = night.inside
    return {
        "id": night.id,
        "name": night.name,
        "band_low_c": _rounded(night.band.low_c),
        "band_high_c": _rounded(night.band.high_c),
        "inside": {
            "lowest": _extreme(inside.lowest, "c"),
            "highest": _extreme(inside.highest, "c"),
            "mean_c": _rounded(inside.mean),
            "below_s": _rounded(inside.below_s),
            "in_band_s": _rounded(inside.in_band_s),
            "above_s": _rounded(inside.above_s),
            "missing_s": _rounded(inside.missing_s),
            "in_band_share": _rounded(night.in_band_share),
            "longest_cold": _spell(inside.longest_below),
            "longest_hot": _spell(inside.longest_above),
            "below_kh": _rounded(inside.below_kh),
            "above_kh": _rounded(inside.above_kh),
        },
        "climates": [_climate(each) for each in night.climates],
        "humidity": humidity_document(night.humidity),
        "sides": sides_document(night.sides),
        "night": _half(night.night),
        "day": _half(night.day),
        "heat": heat_document(night.heat, night.relay, night.reserve),
        "against": [against_document(each) for each in night.against],
        "unread": [_unread(each) for each in night.unread],
        "alarms": _alarms(night.started, night.returned, night.standing),
    }


def _climate(climate: Climate) -> dict[str, Any]:
    unit = "c" if climate.quantity is Quantity.TEMPERATURE else "pct"
    return {
        "role": climate.role.value,
        "side": None if climate.side is None else climate.side.value,
        "quantity": climate.quantity.value,
        "lowest": _extreme(climate.lowest, unit),
        "highest": _extreme(climate.highest, unit),
    }


def _extreme(extreme: Extreme | None, unit: str) -> dict[str, Any] | None:
    if extreme is None:
        return None
    return {f"value_{unit}": _rounded(extreme.value), "at": rfc3339_z(extreme.wall_s)}


def _spell(spell: Spell | None) -> dict[str, Any] | None:
    if spell is None:
        return None
    return {"start": rfc3339_z(spell.start_wall_s), "lasts_s": _rounded(spell.lasts_s)}


def _half(half: Half) -> dict[str, Any]:
    return {
        "lowest": _extreme(half.lowest, "c"),
        "mean_c": _rounded(half.mean),
        "known_s": _rounded(half.known_s),
    }


def _unread(unread: Unread) -> dict[str, Any]:
    return {
        "probe": unread.probe,
        "missing": unread.missing_n,
        "doubtful": unread.doubtful_n,
        "due": unread.due_n,
        "unread_share": _rounded(unread.share),
        "last_why": unread.last_why,
    }


def _all_alarms(digest: NightDigest) -> dict[str, Any]:
    """Those of every tub and those of none, in the order in which they came."""
    nights: list[NightDigest | EnclosureNight] = [digest, *digest.enclosures]

    def every(lines: Iterable[tuple[AlarmLine, ...]]) -> tuple[AlarmLine, ...]:
        return tuple(sorted((line for each in lines for line in each), key=lambda line: line.elapsed_s))

    return _alarms(
        every(night.started for night in nights),
        every(night.returned for night in nights),
        every(night.standing for night in nights),
    )


def _alarms(
    started: tuple[AlarmLine, ...], returned: tuple[AlarmLine, ...], standing: tuple[AlarmLine, ...]
) -> dict[str, Any]:
    return {
        "started": [_line(line) for line in started],
        "returned": [_line(line) for line in returned],
        "standing": [_line(line) for line in standing],
    }


def _line(line: AlarmLine) -> dict[str, Any]:
    return {
        "alarm": line.alarm,
        "enclosure": line.enclosure,
        "at": rfc3339_z(line.wall_s),
        "state": line.state.value,
        "active_s": _rounded(line.active_s),
        "text": line.text,
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, _DECIMALS)
