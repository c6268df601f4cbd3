"""Places side by side, what each would ask of a tub, and the advice: on a terminal of 80 columns."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from matwarden.core.dates import local_date
from matwarden.core.exposure import Spell
from matwarden.core.in_tub import InTub, NeedsHeat, needs_heat
from matwarden.core.siting import FEWEST_S, HARDLY_SHARE, PlaceFound, Refusal, Siting, needs_no_heat
from matwarden.core.units import difference_text, duration_text
from matwarden.report.siting_advice import advice_text
from matwarden.report.siting_table import LEGEND, Words, places_table, tub_legend, tub_table
from matwarden.report.units import date_text, local_clock, local_day, local_day_and_clock
from matwarden.terms import Unit

__all__ = ["PROBE_K", "refusal_text", "siting_text"]

_WIDTH = 80
_DAY_S = 86_400.0
# By so much an honest probe may be off (DS18B20, AM2302 datasheets).
PROBE_K = 0.5
# Common practice, no source: a week has its work days and its weekend, and a house is heated by them.
_WEEK_S = 7 * _DAY_S


def siting_text(
    found: Siting,
    band_of: str,
    unit: Unit,
    zone: ZoneInfo,
    tubs: Mapping[str, InTub] | None = None,
    tub: str = "",
    notes: Sequence[str] = (),
) -> str:
    """All of it; the advice comes last.

    Args:
        band_of: whose band it is, in words. tubs: of each place what the fitted tub named `tub` would have done there.
        notes: what else is to be known.
    """
    words, tubs = Words(unit, zone), tubs or {}
    lines = [*_wrapped(_heading(found, words)), f"Band {words.range(found.band.low_c, found.band.high_c)}: {band_of}."]
    if found.places:
        lines += ["", *places_table(found, words), *_wrapped(LEGEND)]
        if tubs:
            lines += ["", *tub_table(found, tubs, tub, words), *_wrapped(tub_legend(tubs, unit))]
        lines.append("")
        for number, place in enumerate(found.places, 1):
            lines += _wrapped(f"{number}. {_place(place, found, tubs.get(place.id), tub, words)}", "   ")
    known = [*(refusal_text(each.id, each.why, each.known_s) for each in found.refused), *_limits(found, words), *notes]
    if known:
        lines += ["", *(line for text in known for line in _wrapped(text))]
    if found.places:
        lines += ["", *_wrapped(advice_text(found, tubs, tub))]
    return "\n".join(lines)


def refusal_text(id: str, why: Refusal, known_s: float) -> str:
    """Why a place is not compared, and what to do."""
    if why is Refusal.UNREAD:
        return f"{id} is not compared: it was not read in this time."
    if why is Refusal.HEATED:
        return (
            f"{id} is not compared: heat was allowed in its tub then or on the day before, so it tells of the mat and "
            "not of the place."
        )
    if why is Refusal.TOO_FEW:
        least = duration_text(FEWEST_S)
        return f"{id} is not compared: only {duration_text(known_s)} were read of it, and it takes {least} at least."
    return (
        f"{id} is not compared: it was read for {duration_text(known_s)}, but not when the others were. Ask for its "
        "time alone with --from and --to."
    )


def _heading(found: Siting, words: Words) -> str:
    if not found.places:
        return "No place can be compared."
    from_s, to_s = (
        f"{date_text(local_date(each, words.zone))} {local_clock(each, words.zone)}"
        for each in (found.from_wall_s, found.to_wall_s)
    )
    span = f"{from_s} to {to_s}"
    if len(found.places) == 1:
        return f"One place, {span}: {duration_text(found.shared_s)} were read."
    number = "both" if len(found.places) == 2 else f"all {len(found.places)}"
    return f"Places side by side, {span}: over the {duration_text(found.shared_s)} in which {number} were read."


def _place(place: PlaceFound, found: Siting, tub: InTub | None, name: str, words: Words) -> str:
    own, unit = place.own, words.unit
    said = [f"{place.id}: {words.range(own.lowest.value, own.highest.value)}"]
    if own.known_s > 1.1 * found.shared_s or own.lowest != place.shared.lowest or own.highest != place.shared.highest:
        days = f"{local_day(place.own_from_wall_s, words.zone)} to {local_day(place.own_to_wall_s, words.zone)}"
        said[0] += f" in all that was read of it ({days}, {duration_text(own.known_s)})"
    said[0] += "."
    if own.below_s == 0.0:
        if needs_no_heat(place):
            said.append("It needs no heat, over what was recorded.")
        else:
            unread = f"{100.0 * place.unread_share:.0f} %"
            said.append(
                f"Whenever it was read it needed no heat, but {unread} of the time was not read "
                f"(longest {duration_text(place.longest_gap_s)})."
            )
        spare = own.lowest.value - found.band.low_c
        if spare < PROBE_K:
            said.append(
                f"It had {difference_text(spare, unit)} to spare: less than a probe may be off "
                f"({difference_text(PROBE_K, unit)})."
            )
    else:
        said.append(_outside("Too cold", own.below_s / own.known_s, own.longest_below, words))
    if own.above_s > 0.0:
        said.append(_outside("Too hot", own.above_s / own.known_s, own.longest_above, words))
    if own.below_s > 0.0 and place.unread_share > HARDLY_SHARE:
        longest = duration_text(place.longest_gap_s)
        said.append(f"{100.0 * place.unread_share:.0f} % of the time was not read (longest {longest}).")
    if tub is not None:
        said.append(_tub_words(tub, found, name))
    return " ".join(said)


def _outside(what: str, share: float, longest: Spell | None, words: Words) -> str:
    spell = ""
    if longest is not None:
        since = local_day_and_clock(longest.start_wall_s, words.zone)
        spell = f", at the longest {duration_text(longest.lasts_s)} from {since}"
    how_long = "all the time" if share == 1.0 else f"for {_percent(share)} of the time"
    return f"{what} {how_long}{spell}."


def _percent(share: float) -> str:
    """Never 0 % of what there was, nor 100 % of what was not all."""
    if 0.99 < share < 1.0:
        return "over 99 %"
    return "under 1 %" if 0.0 < share < 0.01 else f"{100.0 * share:.0f} %"


def _tub_words(tub: InTub, found: Siting, name: str) -> str:
    need = needs_heat(tub, found.band)
    if need is NeedsHeat.NO:
        return f"{name} would have needed no heat there."
    if need is NeedsHeat.PERHAPS:
        return f"{name} may have needed heat there: its fit cannot tell."
    held = ""
    if tub.not_held_h.low > 0.0:
        held = ", and its mat would not have held the band"
    return f"{name} would have needed heat there{held}."


def _limits(found: Siting, words: Words) -> list[str]:
    """What this comparison does not tell."""
    said = []
    if found.limiting is not None:
        id, without_s = found.limiting
        said.append(
            f"{id} was read for less time than the others: without it they could be compared over "
            f"{duration_text(without_s)}. Name the others to do so."
        )
    if not found.places:
        return said
    low_c = min(place.own.lowest.value for place in found.places)
    high_c = max(place.own.highest.value for place in found.places)
    from_day, to_day = (local_date(each, words.zone) for each in (found.from_wall_s, found.to_wall_s))
    where = "this place was" if len(found.places) == 1 else "these places were"
    said.append(
        f"All of this is of {date_text(from_day)} to {date_text(to_day)}, when {where} {words.range(low_c, high_c)}: "
        "it says nothing of colder weather, nor of a heating that is set otherwise."
    )
    if found.shared_s < _WEEK_S:
        said.append(f"{duration_text(found.shared_s)} is short: leave the probes for a week at least, a cold one.")
    return said


def _wrapped(text: str, hanging: str = "") -> list[str]:
    # A number stays with its unit.
    joined = re.sub(r"(?<=\d) (?=[°%]|(?:Wh|d|h|min|s)\b)", "\u00a0", text)
    wrapped = textwrap.wrap(joined, _WIDTH, subsequent_indent=hanging, break_long_words=False, break_on_hyphens=False)
    return [line.replace("\u00a0", " ") for line in wrapped]
