"""What to do after places were compared: a warmer place is the first advice, a mat the last."""

from __future__ import annotations

from collections.abc import Mapping

from matwarden.core.in_tub import InTub, NeedsHeat, needs_heat
from matwarden.core.siting import PlaceFound, Siting, needs_no_heat

__all__ = ["advice_text"]

# Common practice, no source: warm air rises, and outer walls and panes are cold.
_WARMER = "Look for a warmer place first: higher up, away from windows, doors and outer walls; leave a probe there too."
_STEADIER = (
    "It gets too cold and too hot: look for a steadier place first, away from windows, doors, sun and radiators; "
    "leave a probe there too."
)
_MAT = "A mat is the last thing, for what is then still missing: a small one, on the side or back wall."
_COOLER = "No mat helps against that: look for a place that is cooler at its warmest, lower or out of the sun."


def advice_text(found: Siting, tubs: Mapping[str, InTub], tub: str) -> str:
    """One paragraph. `found.places` must not be empty."""
    fit = [each for each in found.places if _no_heat(each, found, tubs) and not _hot(each, tubs)]
    subject = tub if tubs else "a tub"
    if fit:
        also = ", ".join(each.id for each in fit[1:])
        others = f" The same is true of {also}." if also else ""
        return (
            f"Advice: put {subject} at {fit[0].id}: it needs no heat there while it stays as it was."
            f"{others} A warmer place comes first and a mat last: here the place is enough."
        )
    best = found.places[0]
    if _no_heat(best, found, tubs):
        return f"Advice: {best.id} needs no heat, but gets too hot. {_COOLER} A mat is not needed there."
    first = (
        "Advice: this place does not keep the band by itself."
        if len(found.places) == 1
        else f"Advice: no place here surely keeps the band by itself; {best.id} comes closest, so put {subject} there "
        "rather than elsewhere."
    )
    look = _STEADIER if _hot(best, tubs) else _WARMER
    return f"{first} {look} {_heat(best, found, tubs, tub)}{_MAT}"


def _no_heat(place: PlaceFound, found: Siting, tubs: Mapping[str, InTub]) -> bool:
    if place.id in tubs:
        return needs_heat(tubs[place.id], found.band) is NeedsHeat.NO
    return needs_no_heat(place)


def _hot(place: PlaceFound, tubs: Mapping[str, InTub]) -> bool:
    if place.id in tubs:
        return tubs[place.id].above_kh_per_day.high > 0.0
    return place.own.above_s > 0.0


def _heat(best: PlaceFound, found: Siting, tubs: Mapping[str, InTub], tub: str) -> str:
    """What the best place spares against the worst, where a fit can tell."""
    worst = found.places[-1]
    if best.id not in tubs or worst.id not in tubs or worst is best:
        return ""
    here, there = (tubs[each.id].heat_share for each in (best, worst))
    if here.high >= there.low:
        return ""
    return (
        f"There {tub} would have been heated for {100.0 * here.value:.0f} % of the time, at {worst.id} for "
        f"{100.0 * there.value:.0f} %. "
    )
