"""The digest as a phone shows it: whether all is well, then a few short lines for each tub.

Local times; the zone is named once. A line says only what there is to say: what was not read is not guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from matwarden.core.digest import Climate, EnclosureNight, NightDigest, Unread
from matwarden.core.exposure import Extreme, Spell
from matwarden.report.humidity_text import humidity_lines
from matwarden.report.numbers_text import against_lines, halves_lines, relay_lines, reserve_lines
from matwarden.report.units import (
    difference_value,
    duration_text,
    local_clock,
    local_day_and_clock,
    temperature_value,
)
from matwarden.terms import Quantity, Role, Unit

__all__ = ["digest_text", "first_line", "house_lines", "share_text", "tub_lines", "tub_troubles"]

# So long a time without readings is told even when no alarm came of it.
_MISSING_TOLD_S = 600.0
_DAY_S = 86400.0
_NAMED_AT_MOST = 3
# By the condition in the alarm's id, the most harmful first.
# While these ring, the tubs' own alarms are suppressed: without them the line would name some of the tubs only.
_OF_MANY_TUBS = {
    "cold-together": "many tubs cold",
    "hot-together": "many tubs hot",
    "blind-together": "many tubs not read",
}
_OF_A_TUB = {
    "heat-while-cut": "hot with heat cut",
    "heat-not-arriving": "no heat arrives",
    "probes-disagree": "probes disagree",
    "relay-wear": "relay nearly worn out",
    "too-dry": "too dry",
}
_OF_NO_TUB = {
    "peer-lost": "another station lost",
    "peer-silent": "another station without readings",
    "power-lost": "not running for a while",
    "storage-failing": "record failing",
    "clock-stepped": "clock set",
    "blind-probe": "room probe silent",
    "unsteady-probe": "room probe unsteady",
    "no-digest": "another station's digest missing",
    "peers-unseen": "other stations out of sight",
}


def digest_text(digest: NightDigest, unit: Unit, zone: ZoneInfo) -> str:
    """All lines of the digest.

    Args:
        unit: the keeper's. zone: where the keeper's clocks are; `digest.zone` is its name.
    """
    since, until = (local_day_and_clock(wall_s, zone) for wall_s in (digest.from_wall_s, digest.to_wall_s))
    lines = [first_line(digest), f"{since} to {until} ({digest.zone})"]
    for night in digest.enclosures:
        lines += tub_lines(night, unit, zone, digest.lasts_s)
    return "\n".join(lines + house_lines(digest, unit, zone))


def first_line(digest: NightDigest) -> str:
    """ "All well", or what was not, the tubs by name, and how many alarms are still on."""
    together = _unread_together_s(digest)
    troubles = [f"No tub read for {duration_text(together)}"] if together >= _MISSING_TOLD_S else []
    of_many = {line.alarm.partition("/")[0] for line in (*digest.started, *digest.returned, *digest.standing)}
    troubles += [words for condition, words in _OF_MANY_TUBS.items() if condition in of_many]
    for night in digest.enclosures:
        troubles += _troubles(night, together, digest)
    of_no_tub = {line.alarm.partition("/")[0] for line in (*digest.started, *digest.standing)}
    troubles += [words for condition, words in _OF_NO_TUB.items() if condition in of_no_tub]
    standing = len(digest.standing) + sum(len(night.standing) for night in digest.enclosures)
    if not troubles and not standing:
        return "All well"
    named = ", ".join(troubles[:_NAMED_AT_MOST]) or "An alarm is on"
    if len(troubles) > _NAMED_AT_MOST:
        named += f" and {len(troubles) - _NAMED_AT_MOST} more"
    if standing:
        named += f"; {standing} alarm{'' if standing == 1 else 's'} still on"
    return named


def tub_troubles(night: EnclosureNight, digest: NightDigest) -> list[str]:
    """What a keeper must know of this tub, the most harmful first, in the words of the first line."""
    return _troubles(night, _unread_together_s(digest), digest)


def _unread_together_s(digest: NightDigest) -> float:
    """All tubs unread at once is one trouble (a power cut), not one for each tub."""
    down_s = min((night.inside.missing_s for night in digest.enclosures), default=0.0)
    return down_s if len(digest.enclosures) > 1 else 0.0


def _troubles(night: EnclosureNight, told_s: float, digest: NightDigest) -> list[str]:
    """`told_s`: missing time told for all tubs."""
    conditions = {line.alarm.partition("/")[0] for line in (*night.started, *night.returned, *night.standing)}
    inside, found = night.inside, []
    for condition, spell in (("cold", inside.longest_below), ("hot", inside.longest_above)):
        if condition in conditions:
            found.append(f"{night.name} {condition} {duration_text(_lasted(night, condition, spell, digest))}")
    if "cut-out" in conditions:
        found.append(f"{night.name} heat tripped")
    if "relay-fault" in conditions:
        found.append(f"{night.name} relay does not obey")
    found += [f"{night.name} {words}" for condition, words in _OF_A_TUB.items() if condition in conditions]
    if inside.missing_s - told_s >= _MISSING_TOLD_S:
        found.append(f"{night.name} not read for {duration_text(inside.missing_s)}")
    elif conditions & {"blind", "blind-probe"}:
        found.append(f"{night.name} probe silent")
    if "unsteady-probe" in conditions:
        found.append(f"{night.name} probe unsteady")
    return found


def _lasted(night: EnclosureNight, condition: str, spell: Spell | None, digest: NightDigest) -> float:
    """Seconds that a condition lasted at the longest: as the alarm told it, which bridges brief returns."""
    found = [0.0 if spell is None else spell.lasts_s]
    found += [line.active_s for line in night.returned if line.alarm.startswith(f"{condition}/")]
    for line in night.standing:
        if line.alarm.startswith(f"{condition}/"):
            stood_s = digest.lasts_s - line.elapsed_s
            # What nobody could read is not claimed to have been cold.
            found.append(line.active_s + min(stood_s, max(stood_s, digest.lasts_s) - night.inside.missing_s))
    return max(found)


def tub_lines(night: EnclosureNight, unit: Unit, zone: ZoneInfo, lasts_s: float) -> list[str]:
    """The lines of one tub, the first one with its name. `lasts_s`: the night's length."""
    inside = night.inside
    if inside.lowest is None:
        lines = [f"{night.name}: no good reading"]
    else:
        span = _range(inside.lowest, inside.highest, unit, zone, lasts_s)
        lines = [f"{night.name}: {span}, {share_text(night.in_band_share)} in band"]
    places = [place for each in _beside(night) if (place := _place(each, unit))]
    if places:
        lines.append("  " + ", ".join(places))
    lines += humidity_lines(night.humidity, night.sides, unit)
    outside = [
        *_spell("cold", inside.longest_below, inside.below_kh, unit, zone, lasts_s),
        *_spell("hot", inside.longest_above, inside.above_kh, unit, zone, lasts_s),
    ]
    if outside:
        lines.append("  " + ", ".join(outside))
    if night.heat is not None and night.heat.allowed_share is not None:
        switched = night.heat.operations
        times = "once" if switched == 1 else f"{switched} times"
        lines.append(f"  heat {share_text(night.heat.allowed_share)} of the time, switched on {times}")
    lines += [
        *reserve_lines(night.reserve, unit),
        *halves_lines(night.night, night.day, unit),
        *against_lines(night.against, unit),
        *relay_lines(night.relay),
    ]
    if inside.missing_s >= _MISSING_TOLD_S and inside.lowest is not None:
        lines.append(f"  not read for {duration_text(inside.missing_s)}")
    return lines + _unread_lines(night.unread)


def house_lines(digest: NightDigest, unit: Unit, zone: ZoneInfo) -> list[str]:
    """The lines of what is no tub: the room, the program, the clock."""
    lines = []
    if digest.room is not None:
        lines.append(f"Room: {_range(digest.room.lowest, digest.room.highest, unit, zone, digest.lasts_s)}")
    lines += _unread_lines(digest.room_unread)
    if digest.restarts:
        lines.append(f"The program started {'once' if digest.restarts == 1 else f'{digest.restarts} times'}")
    lines += [
        f"Clock set {'back' if step_s < 0 else 'forward'} by {duration_text(abs(step_s))}"
        for step_s in digest.clock_steps_s
    ]
    return lines


def _range(lowest: Extreme | None, highest: Extreme | None, unit: Unit, zone: ZoneInfo, lasts_s: float) -> str:
    if lowest is None or highest is None:
        return "no good reading"
    low, high = (f"{temperature_value(each.value, unit):.1f}" for each in (lowest, highest))
    if low == high:
        return f"{low} °{unit.value} throughout"
    low_at, high_at = (_when(each.wall_s, zone, lasts_s) for each in (lowest, highest))
    return f"{low} ({low_at}) to {high} °{unit.value} ({high_at})"


def _place(climate: Climate, unit: Unit) -> str:
    if climate.lowest is None or climate.highest is None:
        return ""
    side = "" if climate.side is None else f" {climate.side.value}"
    low, high = climate.lowest.value, climate.highest.value
    if _is_humidity(climate):
        return f"humidity{side} {_span(f'{low:.0f}', f'{high:.0f}')} %"
    low, high = temperature_value(low, unit), temperature_value(high, unit)
    return f"{climate.role.value}{side} {_span(f'{low:.1f}', f'{high:.1f}')} °{unit.value}"


def _span(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"


def _beside(night: EnclosureNight) -> list[Climate]:
    """The places to be told beside the inside temperature: those that are not the very same."""
    warm = [each for each in night.climates if not _is_humidity(each)]
    roles = [each.role for each in warm]
    inside = next((role for role in (Role.AIR, Role.SUBSTRATE, Role.WALL) if role in roles), None)
    told = [each for each in warm if each.role is not inside or roles.count(each.role) > 1]
    return told + [each for each in night.climates if _is_humidity(each)]


def _spell(word: str, spell: Spell | None, outside_kh: float, unit: Unit, zone: ZoneInfo, lasts_s: float) -> list[str]:
    if spell is None:
        return []
    total = f"{difference_value(outside_kh, unit):.1f} °{unit.value}·h"
    return [f"{word} {duration_text(spell.lasts_s)} from {_when(spell.start_wall_s, zone, lasts_s)} ({total} in all)"]


def _unread_lines(unread: Sequence[Unread]) -> list[str]:
    lines = []
    for each in unread:
        counts = [f"{n} {word}" for n, word in ((each.missing_n, "missing"), (each.doubtful_n, "doubtful")) if n]
        why = f" ({each.last_why})" if each.last_why else ""
        of = "" if each.share is None else f", {share_text(each.share)} of what was due"
        lines.append(f"  {each.probe}: {', '.join(counts)}{of}{why}")
    return lines


def _when(wall_s: float, zone: ZoneInfo, lasts_s: float) -> str:
    """A time of day is enough within a day or so; beyond that the date is needed as well."""
    return local_clock(wall_s, zone) if lasts_s <= 1.1 * _DAY_S else local_day_and_clock(wall_s, zone)


def share_text(share: float | None) -> str:
    """A share in whole percent that says 0 % and 100 % only when it is so."""
    if share is None:
        return "?"
    if 0.0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1.0:
        return "over 99 %"
    return f"{share * 100.0:.0f} %"


def _is_humidity(climate: Climate) -> bool:
    return climate.quantity is Quantity.HUMIDITY
