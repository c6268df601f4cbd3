"""What a tub's record cannot tell: named, with what is missing and what to do, and not fitted. Pure.

Before the fit the record is judged by its signs (signs.py), after it the fit by what it left (doubts.py). Each bound is
ours. They were set between what forty healthy plants of tests/analysis show and what the same plants show when a probe
is swapped, has fallen or is stuck; the numbers stand beside each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matwarden.analysis.control import Control
from matwarden.analysis.doubts import doubts
from matwarden.analysis.fit import Fitted, fitted
from matwarden.analysis.grid import Grid, Lived, laid_out, step_for
from matwarden.analysis.refusal import Cannot, Refusal
from matwarden.analysis.signs import STRETCH_S, Answer, Signs, signs_of
from matwarden.core.units import difference_text, duration_text, temperature_text
from matwarden.terms import Unit

__all__ = ["Cannot", "Refusal", "Told", "doubts", "refusals", "tell"]

_HOUR_S = 3600.0
# The least that is fitted. Of forty plants a commission run lasted 10 to 18 hours (tests/analysis/courses.py).
_TOLD_S = 8 * _HOUR_S
_LONGEST_S = 8 * _HOUR_S
# Heat on, and heat off, in all. Less says nothing over the noise of what else happens to a tub.
_SWITCHED_S = _HOUR_S
# How much the smoothed share of heat must move. Under a thermostat in a steady room it moves by less than 0.02; then
# what heats and what two probes are apart cannot be told from each other. A room that moves by 1 K makes 0.05 to 0.15.
_SHARE_MOVED = 0.06
_ROOM_MOVED_K = 1.0
# The wall's quick answer over the inside's: 2.0 to 4.2 in healthy plants.
_APART = 1.4
# A probe's answer after over its answer before, at the worst instant: 0.86 to 1.05 in healthy plants.
_CHANGED = 1.7
# An inside that follows the heat no more than this part of the wall, and lies so close to the room, is not inside.
_OUTSIDE_PART, _OUTSIDE_K = 0.1, 1.0
# The room's quick answer over the wall's: up to 0.02 in healthy plants.
_ROOM_PART, _ROOM_LIKENESS = 0.1, 0.5
_WALL_LIKENESS = 0.5
_FROZEN_S = 2 * _HOUR_S
_STILL_ROOM_K = 1e-3


@dataclass(frozen=True, slots=True)
class Told:
    """A tub from its record: the fit, or why there is none. Never both."""

    grids: tuple[Grid, ...]
    fit: Fitted | None
    refusals: tuple[Refusal, ...]


def tell(lived: Lived, power_w: float, control: Control, low_c: float, unit: Unit = Unit.C) -> Told:
    """The network of a record, or what stands against it.

    Args:
        power_w: of the mat; 1.0 where it is not known. low_c: the band's low edge. unit: of the refusals' words.
    """
    grids = tuple(laid_out(lived, step_for(lived)))
    found = refusals(lived, grids, control, low_c, unit)
    if found:
        return Told(grids, None, tuple(found))
    fit = fitted(grids, power_w)
    found = doubts(fit, grids, unit)
    return Told(grids, None, tuple(found)) if found else Told(grids, fit, ())


def refusals(lived: Lived, grids: Sequence[Grid], control: Control, low_c: float, unit: Unit = Unit.C) -> list[Refusal]:
    """What speaks against fitting this record at all; empty: nothing. The most basic reasons come alone."""
    signs = signs_of(grids)
    found = _unread(lived, signs) or _too_little(signs)
    if found or signs is None:
        return found
    found = _stuck(signs, unit) or _heat(signs, control, unit)
    return found or _misplaced(signs, unit)


def _unread(lived: Lived, signs: Signs | None) -> list[Refusal]:
    found = []
    for place, several in (("the wall", lived.wall), ("the inside", lived.inside), ("the room", lived.room)):
        if not any(len(one.t_s) for one in several):
            found.append(
                Refusal(
                    Cannot.NOT_READ,
                    f"the record has no reading of {place}",
                    f"Give {place} a probe (see [[probe]] in the settings), and let it read for two days.",
                )
            )
    if not found and not len(lived.heat.t_s):
        found.append(
            Refusal(
                Cannot.NO_HEAT,
                "the record does not say when heat was allowed",
                "Name a range of time in which the tub had its mat.",
            )
        )
    if not found and signs is not None and (signs.wall is None or signs.inside is None):
        place = "the wall" if signs.wall is None else "the inside"
        found.append(
            Refusal(
                Cannot.NOT_READ,
                f"{place} was never read while the room was",
                "Look at matwarden status, and at matwarden history for what was read when.",
            )
        )
    return found


def _too_little(signs: Signs | None) -> list[Refusal]:
    told_s, longest_s, lasts_s = (0.0, 0.0, 0.0) if signs is None else (signs.told_s, signs.longest_s, signs.lasts_s)
    if told_s >= _TOLD_S and longest_s >= _LONGEST_S:
        return []
    return [
        Refusal(
            Cannot.TOO_LITTLE,
            f"of {duration_text(lasts_s)} only {duration_text(told_s)} can be used, the longest piece "
            f"{duration_text(longest_s)}; expected {duration_text(_TOLD_S)} of wall, inside and room together, in "
            f"pieces of {duration_text(STRETCH_S)} or more and one of {duration_text(_LONGEST_S)}",
            "Find out why readings are missing (matwarden history shows the gaps), and let it record two whole days.",
        )
    ]


def _stuck(signs: Signs, unit: Unit) -> list[Refusal]:
    found = []
    for place, answer in (("wall", signs.wall), ("inside", signs.inside)):
        if answer is not None and answer.frozen_s >= _FROZEN_S:
            found.append(
                Refusal(
                    Cannot.STUCK,
                    f"the {place} probe read the same for {duration_text(answer.frozen_s)} although heat was switched",
                    "Look at its wire and its sensor; name a range of time in which it was well.",
                )
            )
    return found


def _heat(signs: Signs, control: Control, unit: Unit) -> list[Refusal]:
    on_c = control.setpoint_c - control.hysteresis_k / 2.0
    low_c, high_c = signs.room_c
    room = f"the room was at {temperature_text(low_c, unit)} to {temperature_text(high_c, unit)}"
    share = f"{signs.share[0] * 100.0:.0f} to {signs.share[1] * 100.0:.0f} %"
    lasts = duration_text(signs.on_s + signs.off_s)
    if signs.on_s < _SWITCHED_S:
        heated = f"heat was allowed for {duration_text(signs.on_s)} of {lasts}"
        if low_c >= on_c:
            return [
                Refusal(
                    Cannot.WARM_ROOM,
                    f"the room never fell below {temperature_text(on_c, unit)}, where heat comes on ({room}), and "
                    f"{heated}",
                    "Run commission on a cooler evening.",
                )
            ]
        return [
            Refusal(
                Cannot.NO_HEAT,
                f"{heated}, expected {duration_text(_SWITCHED_S)} or more; {room}",
                "See matwarden why for what cuts it, and run commission when the tub may be heated.",
            )
        ]
    if signs.off_s < _SWITCHED_S or signs.share[0] > 0.97:
        return [
            Refusal(
                Cannot.ALWAYS_HEAT,
                f"heat was off for only {duration_text(signs.off_s)} of {lasts}: what the mat does cannot be told from "
                "what the probes are apart",
                "Run commission in a room warm enough for the mat to rest, or hold the heat for some hours.",
            )
        ]
    if signs.share[1] - signs.share[0] >= _SHARE_MOVED:
        return []
    if high_c - low_c < _ROOM_MOVED_K:
        still = " and did not move at all (or its probe is stuck)" if high_c - low_c < _STILL_ROOM_K else ""
        return [
            Refusal(
                Cannot.CONSTANT_ROOM,
                f"{room}{still}, and heat was on for {share} of the time throughout: what the tub loses cannot be told "
                "from what its probes are apart",
                "Run commission, which lets the tub cool and warm; or use a record with colder and warmer nights.",
            )
        ]
    return [
        Refusal(
            Cannot.CONSTANT_HEAT,
            f"heat was on for {share} of the time throughout although {room}: it did not answer the room",
            "Run commission, which lets the tub cool and warm.",
        )
    ]


def _misplaced(signs: Signs, unit: Unit) -> list[Refusal]:
    wall, inside, room = signs.wall, signs.inside, signs.room
    assert wall is not None
    assert inside is not None
    assert room is not None
    change = _changes(wall, inside)
    if change:
        return change
    sizes = (
        f"within the hour heat moves the wall by {difference_text(wall.size_k, unit)} and the inside by "
        f"{difference_text(inside.size_k, unit)} (standard deviation)"
    )
    # The probes first that make the others look wrong.
    if room.sense > 0 and room.likeness > _ROOM_LIKENESS and room.size_k > _ROOM_PART * max(wall.size_k, inside.size_k):
        return [
            Refusal(
                Cannot.ROOM_AT_MAT,
                f"the room's probe follows the mat: within the hour heat moves it by "
                f"{difference_text(room.size_k, unit)}, the wall by {difference_text(wall.size_k, unit)}",
                "Hang the room's probe away from every mat and lid, and out of the sun.",
            )
        ]
    for answer, place, should in ((wall, "wall", "at the mat"), (inside, "inside", "in the tub")):
        other = inside if answer is wall else wall
        if answer.size_k < _OUTSIDE_PART * other.size_k and abs(answer.over_room_k) < _OUTSIDE_K:
            return [
                Refusal(
                    Cannot.FALLEN,
                    f"the {place} probe reads like the room ({difference_text(answer.over_room_k, unit)} over it in "
                    f"the mean) and does not follow the heat; {sizes}",
                    f"Put the {place} probe back {should}.",
                )
            ]
    if inside.size_k > _APART * wall.size_k and inside.sense > 0:
        return [
            Refusal(
                Cannot.SWAPPED,
                f"the inside follows the heat further and sooner than the wall at the mat: {sizes}",
                "Swap the two addresses in the settings, or the two probes.",
            )
        ]
    if wall.size_k < _APART * inside.size_k or wall.sense < 0 or wall.likeness < _WALL_LIKENESS:
        return [
            Refusal(
                Cannot.FALLEN,
                f"the wall probe does not follow the heat as a wall at a mat does: {sizes}, expected "
                f"{_APART:.1f} times as much at the wall or more",
                "See that the wall probe lies flat at the wall before the mat, and the inside probe in the open air.",
            )
        ]
    return []


def _changes(wall: Answer, inside: Answer) -> list[Refusal]:
    """Whose answer to the heat changed midway: the mat's, if both did alike."""
    changed = {}
    for place, answer in (("wall", wall), ("inside", inside)):
        change = answer.change
        if change is not None and not 1.0 / _CHANGED <= change.factor <= _CHANGED and answer.likeness > 0.2:
            changed[place] = change
    if len(changed) == 2:
        a, b = changed["wall"], changed["inside"]
        if 0.5 < a.factor / b.factor < 2.0 and abs(a.after_s - b.after_s) < 3 * _HOUR_S:
            return [
                Refusal(
                    Cannot.MAT_CHANGED,
                    f"from about {duration_text(a.after_s)} after its beginning both probes follow the heat "
                    f"{a.factor:.1f} times as much as before: the mat, its power or its relay changed",
                    "Look at the mat and its plug; name a range of time (--from, --to) without the change.",
                )
            ]
    return [
        Refusal(
            Cannot.FALLEN,
            f"from about {duration_text(change.after_s)} after its beginning the {place} probe follows the heat "
            f"{change.factor:.1f} times as much as before: it fell or was moved",
            f"Put the {place} probe back; name a range of time (--from, --to) in which it lay still.",
        )
        for place, change in changed.items()
    ]
