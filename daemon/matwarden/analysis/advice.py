"""Settings for one tub, chosen by living through them on its fitted network. Pure; the keeper applies them, or not.

What is sought, in this order: the band's low edge kept in the coldest room; the wall's overshoot under the software
cut-out, and that under the ceiling; a relay that lasts ten years; and of all that the least change of what the keeper
has. Numbers are chosen as they can be written in the keeper's unit, and lived through as written.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from matwarden.analysis.consequences import STRUCTURE, Estimate, Findings, Rooms, draws, findings
from matwarden.analysis.control import Control, cyclings, heated_from_cold, share_for
from matwarden.analysis.fit import Found
from matwarden.analysis.network import Array, Network, steady
from matwarden.analysis.stack import stacked
from matwarden.core.units import temperature_value
from matwarden.terms import CUT_OUT_CEILING_C, Band, MatTerms, Unit

__all__ = ["HARMS_C", "LIFE_YEARS", "Advice", "advise"]

# 85 F: not above this for long. Common practice among keepers, no source.
HARMS_C = 29.44
# The usual limiter, as in settings/mats.py: what harms less a probe's half kelvin and the overshoot.
_LIMITER_C = 28.5
LIFE_YEARS = 10.0
_YEAR_S = 365.25 * 86_400.0
# So far the inside keeps from the band's edge, where that can be had: half of what a DS18B20 may be off (datasheet).
_SPARE_K = 0.25
# Between the wall's highest and the software cut-out.
_UNDER_CUT_OUT_K = 0.5
_WIDTHS = {Unit.C: (0.5, 1.0, 1.5, 2.0, 2.5, 3.0), Unit.F: (1.0, 2.0, 3.0, 4.0, 5.0)}
# Long enough for several of the longest rounds that are sought.
_LASTS_S = 43_200.0
_RESTS_S = (180.0, 600.0, 1200.0, 1800.0)


@dataclass(frozen=True, slots=True)
class Advice:
    """What to set, and what a keeper must know beside it. Celsius as the probes read it, kelvin.

    Attributes:
        was: the settings as they are. control: those advised; the same where nothing is gained by others.
        now, then: what follows from the one, and from the other.
        lowest_inside, highest_inside: of the usual and the coldest room, with the settings advised.
        free_room: the coldest room that full heat would hold if no limiter acted.
        safe_share: of this mat's heat that is survivable for good in the hottest room; above 1: all of it.
        safe_room_c: the coldest room that a mat of such a share holds.
        needed_share: of this mat's heat that the coldest room asks for; above 1: it is too small.
        rated_operations: what the relay is made for.
    """

    was: Control
    control: Control
    now: Findings
    then: Findings
    band: Band
    rooms: Rooms
    lowest_inside: Estimate
    highest_inside: Estimate
    free_room: Estimate
    safe_share: float
    safe_room_c: float
    needed_share: float
    rated_operations: int

    @property
    def room_enough(self) -> bool:
        """The coldest room keeps the band by itself."""
        return self.rooms.coldest_c >= self.band.low_c

    @property
    def short(self) -> Estimate:
        """How much warmer the coldest room would have to be for the mat to hold the band there; K, below 0: it does."""
        held = self.then.coldest_room
        if held.value is None or held.low is None or held.high is None:
            return Estimate(None, None, None, "K")
        room_c = self.rooms.coldest_c
        return Estimate(held.value - room_c, held.low - room_c, held.high - room_c, "K")


def advise(
    found: Found, now: Findings, mat: MatTerms, control: Control, band: Band, rooms: Rooms, unit: Unit
) -> Advice:
    """Settings for this tub.

    Args:
        now: from `findings` with `control`, the settings as they are. mat: for the relay's rated operations.
        unit: that of the keeper's file.
    """
    network = found.network
    bounded = replace(control, limiter_c=min(control.limiter_c, _written(HARMS_C, unit, down=True)))
    chosen = _cut_out(network, _best(network, bounded, mat, band, rooms, unit), rooms, unit)
    then = now if chosen == control else findings(found, chosen, band.low_c, rooms, mat.watts_w is not None)
    inside, offset_k = network.shape.inside, network.inside_offset_k
    safe_share = share_for(network, inside, HARMS_C - offset_k - rooms.hottest_c)
    safe_k = float(steady(network, min(safe_share, 1.0))[inside])
    rise, low_node_c = now.rise_inside, band.low_c - offset_k
    assert rise.value is not None
    assert rise.low is not None
    assert rise.high is not None
    lowest, highest = _swing(found, chosen, rooms)
    return Advice(
        control,
        chosen,
        now,
        then,
        band,
        rooms,
        lowest,
        highest,
        Estimate(low_node_c - rise.value, low_node_c - rise.high, low_node_c - rise.low, "C"),
        safe_share,
        low_node_c - safe_k,
        share_for(network, inside, low_node_c - rooms.coldest_c),
        mat.rated_operations,
    )


def _swing(found: Found, control: Control, rooms: Rooms) -> tuple[Estimate, Estimate]:
    """Lowest and highest inside of usual and coldest room, the intervals from the draws."""
    networks = [found.network, *draws(found)]
    k = len(networks)
    cycles = cyclings(stacked(networks * 2), control, np.repeat([rooms.usual_c, rooms.coldest_c], k), _LASTS_S)
    lowest_c = np.minimum(cycles.lowest_inside_c[:k], cycles.lowest_inside_c[k:])
    highest_c = np.maximum(cycles.highest_inside_c[:k], cycles.highest_inside_c[k:])
    # What no network of this kind gets right, as in consequences.py.
    more_k = 1.645 * STRUCTURE["C"] * float(steady(found.network, 1.0)[found.network.shape.inside])
    return _estimate(lowest_c, more_k), _estimate(highest_c, more_k)


def _estimate(numbers_c: Array, more_k: float) -> Estimate:
    low, high = np.percentile(numbers_c[1:], [5.0, 95.0])
    value = float(numbers_c[0])
    below_k, above_k = np.hypot(np.clip([value - low, high - value], 0.0, None), more_k)
    return Estimate(value, value - float(below_k), value + float(above_k), "C")


@dataclass(frozen=True, slots=True)
class _Tried:
    """One set of settings and how the tub lived under it, in the usual room and in the coldest."""

    control: Control
    period_s: float
    lowest_c: tuple[float, float]
    highest_c: float


def _best(network: Network, control: Control, mat: MatTerms, band: Band, rooms: Rooms, unit: Unit) -> Control:
    """First those with the keeper's minimum off time; longer ones only where the relay does not last otherwise."""
    wanted_s = LIFE_YEARS * _YEAR_S / mat.rated_operations
    tried = _lived(network, list(_choices(control, band, unit)), rooms)

    def rank(one: _Tried) -> tuple[float, ...]:
        return _rank(one, control, band, wanted_s, unit)

    best = min(tried, key=rank)
    if best.period_s < wanted_s:
        rests = [replace(best.control, minimum_off_s=s) for s in _RESTS_S if s > control.minimum_off_s]
        wider = [replace(each, hysteresis_k=one.control.hysteresis_k) for each in rests for one in tried]
        allowed = [one for one in dict.fromkeys([*rests, *wider]) if _in_order(one, band)]
        best = min([best, *_lived(network, allowed, rooms)], key=rank)
    return best.control


def _choices(control: Control, band: Band, unit: Unit) -> Iterator[Control]:
    """The keeper's settings, and all that could stand in the file instead of them."""
    yield control
    scale = 1.0 if unit is Unit.C else 5.0 / 9.0
    widths_k = dict.fromkeys([control.hysteresis_k, *(width * scale for width in _WIDTHS[unit])])
    limiters_c = dict.fromkeys(
        [control.limiter_c, *(_written(each, unit, down=True) for each in (_LIMITER_C, HARMS_C))]
    )
    steps_k = np.arange(0.0, band.high_c - band.low_c, 0.5 * scale if unit is Unit.C else scale)
    for width_k in widths_k:
        lowest_c = _written(band.low_c + width_k / 2, unit, down=False)
        for setpoint_c in dict.fromkeys([control.setpoint_c, *(_written(lowest_c + k, unit, True) for k in steps_k)]):
            for limiter_c in limiters_c:
                one = replace(control, setpoint_c=setpoint_c, hysteresis_k=width_k, limiter_c=limiter_c)
                if _in_order(one, band):
                    yield one


def _in_order(control: Control, band: Band) -> bool:
    """The guard's orders, with half a kelvin between where heat goes off and the limiter."""
    half_k = control.hysteresis_k / 2
    return (
        band.low_c <= control.setpoint_c - half_k
        and control.setpoint_c + half_k <= band.high_c
        and control.setpoint_c + half_k <= control.limiter_c - 0.5
    )


def _rank(one: _Tried, control: Control, band: Band, wanted_s: float, unit: Unit) -> tuple[float, ...]:
    """The smaller the better: the band, then the relay's life, then the least change; a lower limiter is a gain."""
    lowest_c = min(one.lowest_c)
    spare_k = min(_SPARE_K, (band.high_c - band.low_c) / 6)
    change = (
        abs(one.control.setpoint_c - control.setpoint_c)
        + abs(one.control.hysteresis_k - control.hysteresis_k)
        + 2.0 * (one.control.limiter_c - control.limiter_c)
        + (one.control.minimum_off_s - control.minimum_off_s) / 600.0
    )
    return (
        round(max(0.0, band.low_c - lowest_c), 1),
        round(max(0.0, one.highest_c - band.high_c), 1),
        round(max(0.0, band.low_c + spare_k - lowest_c), 1),
        math.ceil(10.0 * max(0.0, 1.0 - one.period_s / wanted_s)) / 10.0,
        change,
    )


def _lived(network: Network, controls: list[Control], rooms: Rooms) -> list[_Tried]:
    """Each in the usual room, and in the coldest."""
    if not controls:
        return []
    k = len(controls)
    room_c = np.repeat([rooms.usual_c, rooms.coldest_c], k)
    cycles = cyclings(stacked([network] * (2 * k)), [*controls, *controls], room_c, _LASTS_S)
    tried = []
    for one, each in enumerate(controls):
        both = [one, one + k]
        # In the coldest room where heat is not switched in the usual one.
        periods_s = [float(cycles.period_s[at]) for at in both if not np.isnan(cycles.period_s[at])]
        lowest_c = (float(cycles.lowest_inside_c[one]), float(cycles.lowest_inside_c[one + k]))
        tried.append(
            _Tried(
                each,
                periods_s[0] if periods_s else math.inf,
                lowest_c,
                float(cycles.highest_inside_c[both].max()),
            )
        )
    return tried


def _cut_out(network: Network, control: Control, rooms: Rooms, unit: Unit) -> Control:
    """The software cut-out above whatever a working limiter lets the wall come to; else a lower limiter."""
    ceiling_c = _written(CUT_OUT_CEILING_C, unit, down=True)
    for _ in range(4):
        peak_c = heated_from_cold(network, control, rooms.coldest_c)
        needed_c = control.limiter_c + _UNDER_CUT_OUT_K if peak_c is None else peak_c + _UNDER_CUT_OUT_K
        if needed_c <= min(control.cut_out_c, CUT_OUT_CEILING_C):
            return control
        cut_out_c = _written(needed_c, unit, down=False)
        if cut_out_c <= ceiling_c:
            return replace(control, cut_out_c=cut_out_c)
        # Never down to where heat goes off: the guard's orders.
        least_c = control.setpoint_c + control.hysteresis_k / 2 + 0.2
        lower_c = max(least_c, control.limiter_c - (needed_c - ceiling_c) - 0.05)
        control = replace(control, limiter_c=_written(lower_c, unit, down=True), cut_out_c=ceiling_c)
    return control


def _written(value_c: float, unit: Unit, down: bool) -> float:
    """A temperature as it stands in the file: tenths of the keeper's unit."""
    tenths = round(temperature_value(value_c, unit) * 10.0, 6)
    whole = math.floor(tenths) if down else math.ceil(tenths)
    return whole / 10.0 if unit is Unit.C else (whole / 10.0 - 32.0) * 5.0 / 9.0
