"""From what the probes say now to what may be alarming: cold, hot, blind. Pure; the deadband is applied here.

The law: only a good and fresh observation is a number. Where there is none the answer is None, never the last value.
Cold sets at or under the band's lower edge and clears only above it plus the deadband; hot likewise upside down
(OPC 10000-9 B.1.5: the deadband applies to clearing, not to setting).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from matwarden.terms import Enclosure, Quality, Role, Seen

__all__ = [
    "Inside",
    "Watched",
    "is_away_too_long",
    "is_cold",
    "is_hot",
    "is_probe_blind",
    "is_step_told",
    "is_worn",
    "look",
    "watched",
]

# The share of its rated operations at which a relay should be replaced (common practice, no source).
WORN_SHARE = 0.8
# A restart, an update, a short cut of the power do no harm; the record's last word may be five minutes older than the
# end of the run.
AWAY_S = 600.0
# Smaller steps shift no time in the record that a keeper would notice.
STEP_TOLD_S = 300.0


class Inside(NamedTuple):
    """One look into a tub.

    Attributes:
        coldest_c, hottest_c: of the good and fresh inside probes; both None when there is none.
        blind: no inside temperature, or no wall temperature where a mat needs one to be allowed heat.
    """

    coldest_c: float | None
    hottest_c: float | None
    blind: bool


@dataclass(frozen=True, slots=True)
class Watched:
    """What of an enclosure is looked at, worked out once: `watched` makes it.

    Attributes:
        inside: (probe id, seconds after which its reading is stale) of the probes that stand for the animals.
        wall: the same for the wall probes beside a mat; empty without a mat.
    """

    inside: tuple[tuple[str, float], ...]
    wall: tuple[tuple[str, float], ...]
    cold_sets_c: float
    cold_clears_above_c: float
    hot_sets_c: float
    hot_clears_below_c: float


def watched(enclosure: Enclosure) -> Watched:
    """Prepare an enclosure for looking. Inside is air; without an air probe substrate; without either the wall."""
    of_role = {
        role: tuple((probe.id, probe.stale_s) for probe in enclosure.probes if probe.role is role)
        for role in (Role.AIR, Role.SUBSTRATE, Role.WALL)
    }
    band, deadband_k = enclosure.band, enclosure.alarms.deadband_k
    return Watched(
        inside=of_role[Role.AIR] or of_role[Role.SUBSTRATE] or of_role[Role.WALL],
        wall=of_role[Role.WALL] if enclosure.mat is not None else (),
        cold_sets_c=band.low_c,
        cold_clears_above_c=band.low_c + deadband_k,
        hot_sets_c=band.high_c,
        hot_clears_below_c=band.high_c - deadband_k,
    )


def look(watched: Watched, seen: Mapping[str, Seen], now_s: float) -> Inside:
    """Look into a tub at monotonic time `now_s`. A probe that is not in `seen` has said nothing yet."""
    coldest_c: float | None = None
    hottest_c: float | None = None
    for probe, stale_s in watched.inside:
        said = seen.get(probe)
        if said is None or said.quality is not Quality.GOOD or now_s - said.taken_s > stale_s:
            continue
        value_c = said.value_c
        if value_c is None:
            continue
        if coldest_c is None or value_c < coldest_c:
            coldest_c = value_c
        if hottest_c is None or value_c > hottest_c:
            hottest_c = value_c
    blind = coldest_c is None
    if not blind and watched.wall and watched.wall is not watched.inside:
        blind = all([is_probe_blind(probe, stale_s, seen, now_s) for probe, stale_s in watched.wall])
    return Inside(coldest_c, hottest_c, blind)


def is_cold(watched: Watched, inside: Inside, before: bool) -> bool | None:
    """Is the tub too cold? The coldest good probe decides; None when nothing is known.

    Args:
        before: the last known answer (an alarm's memory keeps it as `condition`).
    """
    coldest_c = inside.coldest_c
    if coldest_c is None:
        return None
    return coldest_c <= (watched.cold_clears_above_c if before else watched.cold_sets_c)


def is_hot(watched: Watched, inside: Inside, before: bool) -> bool | None:
    """Is the tub too hot? The hottest good probe decides; None when nothing is known.

    Args:
        before: the last known answer (an alarm's memory keeps it as `condition`).
    """
    hottest_c = inside.hottest_c
    if hottest_c is None:
        return None
    return hottest_c >= (watched.hot_clears_below_c if before else watched.hot_sets_c)


def is_probe_blind(probe: str, stale_s: float, seen: Mapping[str, Seen], now_s: float) -> bool:
    """True when this probe has no good reading younger than `stale_s` at monotonic time `now_s`."""
    said = seen.get(probe)
    return said is None or said.quality is not Quality.GOOD or now_s - said.taken_s > stale_s


def is_worn(operations: int, rated_operations: int) -> bool:
    """True from 80 % of a relay's rated life on: the rating is a mean to failure and no guarantee (IEC 61810-2)."""
    return operations >= WORN_SHARE * rated_operations


def is_step_told(step_s: float) -> bool:
    """Was the wall clock set by more than 5 minutes, in either direction?"""
    return abs(step_s) > STEP_TOLD_S


def is_away_too_long(last_seen_wall_s: float | None, began_wall_s: float) -> bool:
    """Did more than 10 minutes pass between the record's last word and this run?

    A clock that stands before that word is wrong and knows of no time away: False, until it is set.
    """
    return last_seen_wall_s is not None and began_wall_s - last_seen_wall_s > AWAY_S
