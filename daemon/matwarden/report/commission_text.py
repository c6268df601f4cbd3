"""What a commissioned tub can do, in words: each number with its unit and the interval that holds the truth.

Needs matwarden[analysis] for its types alone.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.analysis.consequences import Estimate, Findings
from matwarden.analysis.fit import Tried
from matwarden.analysis.network import Shape
from matwarden.analysis.refusal import Refusal
from matwarden.commissioned import Commissioned
from matwarden.core.units import difference_value, duration_text, rfc3339_z, temperature_text, temperature_value
from matwarden.report.units import local_day_and_clock
from matwarden.terms import MatTerms, Unit

__all__ = ["Commission", "commission_document", "commission_text", "refused_text", "shape_text"]

_WIDTH = 80


@dataclass(frozen=True, slots=True)
class Commission:
    """One commissioned tub as it is told.

    Attributes:
        stated: a room beside those recorded, degrees Celsius, and what follows in it.
    """

    name: str
    tub: Commissioned
    mat: MatTerms
    stated: tuple[float, Findings] | None
    unit: Unit
    zone: ZoneInfo


def refused_text(name: str, refusals: Sequence[Refusal]) -> str:
    """Why nothing was found, and what to do."""
    lines = [f"{name}: this record cannot tell what the tub can do."]
    for each in refusals:
        lines += _wrapped(each.line())
    return "\n".join(lines)


def commission_text(shown: Commission) -> str:
    """The whole report, in 80 columns."""
    told = _Told(shown.unit)
    tub, found = shown.tub, shown.tub.findings
    lines = [_title(shown), "", "Each number is followed by the interval that holds the truth nine times in ten.", ""]
    lines += ["What the mat can do", *_ability(shown, told)]
    lines += ["", "If the relay welds shut and nobody pulls the plug"]
    lines += _welded(shown, told, "the hottest room recorded", tub.rooms.hottest_c, found)
    if shown.stated is not None:
        lines += _welded(shown, told, "the room you named", *shown.stated)
    lines += ["", f"If heat or power is lost: until the inside is at {told.c(tub.low_c)}"]
    lines += _ride(told, "the coldest room recorded", tub.rooms.coldest_c, found.ride_through)
    lines += _ride(told, "the usual room", tub.rooms.usual_c, found.ride_through_usual)
    if shown.stated is not None:
        lines += _ride(told, "the room you named", shown.stated[0], shown.stated[1].ride_through)
    lines += ["", f"Its rhythm in the usual room, {told.c(tub.rooms.usual_c)}", *_rhythm(shown, found)]
    if shown.stated is not None:
        lines += ["", f"Its rhythm in the room you named, {told.c(shown.stated[0])}"]
        lines += _rhythm(shown, shown.stated[1])
    lines += ["", "How far to trust this", *_trust(shown, told)]
    return "\n".join(lines)


def commission_document(shown: Commission) -> dict[str, Any]:
    """The same for scripts: SI units, beside each number its unit (C, K, h, min, 1, Wh/d, 1/a)."""
    tub = shown.tub
    return {
        "enclosure": tub.enclosure,
        "made": rfc3339_z(tub.made_wall_s),
        "since": rfc3339_z(tub.since_wall_s),
        "until": rfc3339_z(tub.until_wall_s),
        "rooms_c": asdict(tub.rooms),
        "findings": asdict(tub.findings),
        "stated_room_c": None if shown.stated is None else shown.stated[0],
        "stated_findings": None if shown.stated is None else asdict(shown.stated[1]),
        "watts_known": tub.watts_known,
        "shape": asdict(tub.found.network.shape),
        "tried": [{**asdict(each.shape), "held_out_rms_k": each.held_out_k} for each in tub.tried],
        "rms_k": {"wall": tub.rms_k[0], "inside": tub.rms_k[1]},
    }


def shape_text(shape: Shape) -> str:
    """A network's shape in words: "3 nodes, loss that grows"."""
    nodes = "1 node" if shape.order == 1 else f"{shape.order} nodes"
    return f"{nodes}, loss that grows" if shape.grows else nodes


class _Told:
    """Numbers in the keeper's unit."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit

    def c(self, value_c: float) -> str:
        return temperature_text(value_c, self._unit)

    def estimate(self, estimate: Estimate) -> str:
        """A temperature, or a difference of two."""
        convert = temperature_value if estimate.unit == "C" else difference_value
        return _with_interval(estimate, lambda value: f"{convert(value, self._unit):z.1f}", f" °{self._unit.value}")

    def k(self, value_k: float) -> str:
        """A small difference, to two places."""
        return f"{difference_value(value_k, self._unit):.2f} °{self._unit.value}"


def _with_interval(estimate: Estimate, shown: Callable[[float], str], unit: str) -> str:
    assert estimate.value is not None
    assert estimate.low is not None
    assert estimate.high is not None
    return f"{shown(estimate.value)}{unit} ({shown(estimate.low)} to {shown(estimate.high)}{unit})"


def _bare(estimate: Estimate, shown: Callable[[float], str]) -> str:
    """For a unit that is to be said once, after it: "43 (40 to 46)"."""
    return _with_interval(estimate, shown, "")


def _title(shown: Commission) -> str:
    tub = shown.tub
    day = local_day_and_clock(tub.made_wall_s, shown.zone)
    since, until = (local_day_and_clock(each, shown.zone) for each in (tub.since_wall_s, tub.until_wall_s))
    lasted = duration_text(tub.until_wall_s - tub.since_wall_s)
    return f"{shown.name}, commissioned {day}\nfrom {lasted} of its record: {since} to {until}"


def _ability(shown: Commission, told: _Told) -> list[str]:
    tub, found = shown.tub, shown.tub.findings
    held = f"the inside stays at {told.c(tub.low_c)} or above down to a room of"
    lines = [
        f"  full heat lifts the inside over the room by {told.estimate(found.rise_inside)}",
        f"  full heat lifts the wall over the room by {told.estimate(found.rise_wall)}",
        *_wrapped(f"{held} {told.estimate(found.coldest_room)}, with the limiter at {told.c(tub.control.limiter_c)}"),
    ]
    coldest = f"the coldest room recorded, {told.c(tub.rooms.coldest_c)}, needs heat"
    lines += _wrapped(f"{coldest} {_share(found.share_coldest)} of the time")
    if found.overshoot.value is None:
        return [*lines, *_wrapped("the wall never comes to the limiter, from the coldest room at full heat")]
    # Negative where a reading's own step or a poll makes it so: nothing to be told of.
    spare_k = tub.control.cut_out_c - tub.control.limiter_c
    over = f"stored heat carries the wall past the limiter by {told.estimate(found.overshoot)}"
    return [*lines, *_wrapped(f"{over}; the cut-out is {_difference(spare_k, shown.unit)} over it")]


def _welded(shown: Commission, told: _Told, room: str, room_c: float, found: Findings) -> list[str]:
    return [
        f"  in {room}, {told.c(room_c)}:",
        f"    inside {told.estimate(found.welded_inside)}",
        f"    wall {told.estimate(found.welded_wall)}",
    ]


def _ride(told: _Told, room: str, room_c: float, lasts: Estimate) -> list[str]:
    where = f"  in {room}, {told.c(room_c)}:"
    if lasts.value is None:
        return [f"{where} never; it needs no heat there"]
    if lasts.value <= 0.0:
        return [f"{where} it is not held there even with heat"]
    if lasts.value < 2.0:
        return [f"{where} {_bare(lasts, lambda value: f'{value * 60.0:.0f}')} min"]
    return [f"{where} {_bare(lasts, lambda value: f'{value:.1f}')} h"]


def _rhythm(shown: Commission, found: Findings) -> list[str]:
    if not found.share.value:
        return ["  it needs no heat there"]
    lines = [f"  heat on {_share(found.share)} of the time"]
    if found.energy.value is not None:
        lines.append(f"  energy {_bare(found.energy, lambda value: f'{value:.0f}')} Wh a day")
    else:
        lines.append("  energy not known: the settings do not tell the mat's watts")
    if found.period.value is None or not found.operations.value:
        return [*lines, "  the relay does not switch"]
    lines.append(f"  a round of heat and rest every {_bare(found.period, _three)} min")
    lines.append(f"  relay {_bare(found.operations, _three)} switchings a year")
    return [*lines, *_wrapped(_life(shown.mat.rated_operations, found.operations))]


def _life(rated_n: int, operations: Estimate) -> str:
    assert operations.value
    assert operations.high
    # The more switchings, the shorter the life.
    low, middle = f"{rated_n / operations.high:.1f}", f"{rated_n / operations.value:.1f}"
    high = f"to {rated_n / operations.low:.1f}" if operations.low else "or more"
    return f"the {rated_n} it is made for last {middle} ({low} {high}) years"


def _trust(shown: Commission, told: _Told) -> list[str]:
    tub = shown.tub
    wall, inside = (told.k(each) for each in tub.rms_k)
    lines = [f"  what the model leaves of the readings (root mean square): wall {wall}, inside {inside}"]
    lines.append("  shapes compared on the last quarter, which they were not fitted to:")
    taken = tub.found.network.shape
    for each in sorted(tub.tried, key=lambda one: (one.shape.order, one.shape.grows)):
        lines.append(f"    {_tried(each, told)}{'   <- taken' if each.shape == taken else ''}")
    return lines


def _tried(each: Tried, told: _Told) -> str:
    return f"{shape_text(each.shape) + ':':<25} {told.k(each.held_out_k)} off (root mean square)"


def _share(share: Estimate) -> str:
    capped = Estimate(share.value, share.low, None if share.high is None else min(share.high, 1.0), "1")
    return _with_interval(capped, lambda value: f"{value * 100.0:.0f}", " %")


def _three(value: float) -> str:
    """To three digits: 4.27, 42.7, 12300."""
    return f"{float(f'{value:.3g}'):g}" if value < 1000.0 else f"{float(f'{value:.3g}'):.0f}"


def _difference(value_k: float, unit: Unit) -> str:
    return f"{difference_value(value_k, unit):.1f} °{unit.value}"


def _wrapped(text: str) -> list[str]:
    # A number stays with its unit.
    joined = text.replace(" °", "\u00a0°").replace(" %", "\u00a0%")
    wrapped = textwrap.wrap(
        joined, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )
    return [line.replace("\u00a0", " ") for line in wrapped]
