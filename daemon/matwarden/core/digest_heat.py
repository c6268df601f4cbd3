"""What a mat did over a recorded window, how much of its relay's life is gone, and how much it has left to give. Pure.

The mat's reserve. A tub in a steady state passes on as much heat as it gets. Its mat gives its full power P for the
share s of the time, so what the thermostat keeps (the air; the wall where no air is read) stands over the room by

    rise = R * s * P        rise in K, P in W, R in K/W: what stands between it and the room

At full heat (s = 1) it would stand over it by rise / s. Kept where it is, the room may therefore get colder by

    spare = rise / s - rise = rise * (1 - s) / s        in K

before the mat heats without a break; from then on it cannot hold. It assumes that R and P stay as they were: no lid
opened, no draught, the same mat. And a steady state: it must not drift, and means are taken over six hours, of
which a tub's own warming up or cooling down is a small part.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from matwarden.core.record import HeatChange, Point, Window
from matwarden.terms import Enclosure, ProbeTerms, Quantity, Reason, Role

__all__ = ["HeatUse", "RelayLife", "Reserve", "Steps", "heat_use", "relay_life", "reserve", "room_steps"]

# The coldest stretch of the room; whole steps of the window's time, none of them with much missing.
_SPAN_S = 6 * 3600.0
_STEP_S = 1800.0
_STEPS = round(_SPAN_S / _STEP_S)
_KNOWN_SHARE = 0.9
# With less heat the probes' own errors are all there is; with more nobody knows whether it would have been enough.
_LEAST_SHARE, _MOST_SHARE = 0.15, 0.98
# First hour against last one: more than a thermostat's swing, less than a tub that is being warmed up.
_STEADY_STEPS, _STEADY_K = 2, 1.0
# Only what the thermostat itself decided: heat that was withheld for another reason says nothing about need.
_THERMOSTAT = {Reason.WARM_ENOUGH, Reason.RESTING, Reason.BELOW_SETPOINT, Reason.COASTING, Reason.MINIMUM_ON}
_YEAR_S = 365.25 * 86400.0
_PACE_AT_LEAST_S = 6 * 3600.0


@dataclass(frozen=True, slots=True)
class HeatUse:
    """How much a mat was used. `allowed_share`: of the whole window, 0 to 1; `operations`: relay switchings in it."""

    allowed_share: float | None
    operations: int


@dataclass(frozen=True, slots=True)
class RelayLife:
    """How much of a relay's life is gone.

    Attributes:
        operations: in its whole life, up to the window's end. rated: how many its maker promises.
        used_share: operations / rated; above 1 when it has outlived the promise.
        years_left: at this window's pace; None when it did not switch, or the window is under six hours.
    """

    operations: int
    rated: int
    used_share: float
    years_left: float | None


@dataclass(frozen=True, slots=True)
class Reserve:
    """The room's coldest six hours of the window, and what the mat had left in them.

    Attributes:
        from_s: where they begin, in seconds from the window's start. room_c: the room's mean in them.
        rise_k: mean of what the thermostat keeps (air; the wall where no air is read) less the room's.
        heat_share: of these hours, 0 to 1.
        spare_k: how much colder the room could have been; None when it cannot be told: heat under 15 % or over 98 %
            of the time, not above the room, or no steady state.
    """

    from_s: float
    room_c: float
    rise_k: float
    heat_share: float
    spare_k: float | None


def heat_use(enclosure: Enclosure, window: Window) -> HeatUse:
    """The mat's use over the whole window."""
    changes = _changes(enclosure, window)
    lasts_s = window.end_elapsed_s - window.start_elapsed_s
    if not changes or lasts_s <= 0.0:
        return HeatUse(None, 0)
    allowed_s = _allowed_s(changes, window.start_elapsed_s, window.end_elapsed_s)
    return HeatUse(allowed_s / lasts_s, max(changes[-1].operations - changes[0].operations, 0))


def relay_life(enclosure: Enclosure, window: Window) -> RelayLife | None:
    """None without a mat, or when it was never judged."""
    changes = _changes(enclosure, window)
    if enclosure.mat is None or not changes:
        return None
    operations, rated = changes[-1].operations, enclosure.mat.rated_operations
    switched = operations - changes[0].operations
    lasts_s = window.end_elapsed_s - window.start_elapsed_s
    years_left = None
    if switched > 0 and lasts_s >= _PACE_AT_LEAST_S:
        years_left = max(rated - operations, 0) * lasts_s / switched / _YEAR_S
    return RelayLife(operations, rated, operations / rated, years_left)


def room_steps(window: Window, room_probes: Sequence[ProbeTerms]) -> Steps:
    """The room, once for every tub."""
    return Steps(room_probes, window, int((window.end_elapsed_s - window.start_elapsed_s) // _STEP_S))


def reserve(
    enclosure: Enclosure, window: Window, room_probes: Sequence[ProbeTerms], room: Steps | None = None
) -> Reserve | None:
    """None without a mat, or where there are no six hours in which room, tub and heat are all known.

    Args:
        room: what `room_steps` makes of the same, for whoever asks for many tubs.
    """
    changes = _changes(enclosure, window)
    if enclosure.mat is None or not changes or not room_probes:
        return None
    steps_n = int((window.end_elapsed_s - window.start_elapsed_s) // _STEP_S)
    room = room or room_steps(window, room_probes)
    warm = Steps(_governing(enclosure, window), window, steps_n)
    coldest: tuple[float, int] | None = None
    for first in range(steps_n - _STEPS + 1):
        if min(room.known(first, _STEPS), warm.known(first, _STEPS)) < _KNOWN_SHARE or not _ruled(changes, first):
            continue
        mean_c = room.mean(first, _STEPS)
        if coldest is None or mean_c < coldest[0]:
            coldest = (mean_c, first)
    if coldest is None:
        return None
    room_c, first = coldest
    rise_k = warm.mean(first, _STEPS) - room_c
    from_s = window.start_elapsed_s + first * _STEP_S
    share = _allowed_s(changes, from_s, from_s + _SPAN_S) / _SPAN_S
    ends = (first, first + _STEPS - _STEADY_STEPS)
    steady = all(warm.known(end, _STEADY_STEPS) for end in ends) and (
        abs(warm.mean(ends[1], _STEADY_STEPS) - warm.mean(ends[0], _STEADY_STEPS)) <= _STEADY_K
    )
    told = steady and rise_k > 0.0 and _LEAST_SHARE <= share <= _MOST_SHARE
    return Reserve(from_s, room_c, rise_k, share, rise_k / share - rise_k if told else None)


class Steps:
    """Known time and weighted sums of some probes, step by step; a reading counts in the step it was taken in.

    Args:
        steps_n: how many whole steps the window has.
    """

    def __init__(self, probes: Iterable[ProbeTerms], window: Window, steps_n: int) -> None:
        self._known_s = [0.0] * (steps_n + 1)
        self._weighted = [0.0] * (steps_n + 1)
        self._probes_n = 0
        known_s, weighted, start_s = self._known_s, self._weighted, window.start_elapsed_s
        for probe in probes:
            self._probes_n += 1
            points: Sequence[Point] = window.series.get((probe.id, Quantity.TEMPERATURE), ())
            before_s, before, stale_s = None, 0.0, probe.stale_s
            for elapsed_s, _, value in points:
                if before_s is not None:
                    step = min(int((before_s - start_s) // _STEP_S), steps_n)
                    lasts_s = max(min(elapsed_s - before_s, stale_s), 0.0)
                    known_s[step] += lasts_s
                    weighted[step] += before * lasts_s
                before_s, before = elapsed_s, value
            if before_s is not None:
                step = min(int((before_s - start_s) // _STEP_S), steps_n)
                lasts_s = max(min(window.end_elapsed_s - before_s, stale_s), 0.0)
                known_s[step] += lasts_s
                weighted[step] += before * lasts_s

    def known(self, first: int, n: int) -> float:
        """Share of so many steps that is known, 0 to 1."""
        return sum(self._known_s[first : first + n]) / (n * _STEP_S * self._probes_n) if self._probes_n else 0.0

    def mean(self, first: int, n: int) -> float:
        return sum(self._weighted[first : first + n]) / sum(self._known_s[first : first + n])


def _governing(enclosure: Enclosure, window: Window) -> Sequence[ProbeTerms]:
    """The probes by which the mat is kept."""
    for role in (Role.AIR, Role.WALL, Role.SUBSTRATE):
        found = [probe for probe in enclosure.probes if probe.role is role]
        if any(window.series.get((probe.id, Quantity.TEMPERATURE)) for probe in found):
            return found
    return ()


def _changes(enclosure: Enclosure, window: Window) -> list[HeatChange]:
    return [change for change in window.heat if change.enclosure == enclosure.id]


def _ruled(changes: Sequence[HeatChange], first: int) -> bool:
    """Whether in these six hours nothing but the thermostat decided."""
    from_s, to_s = first * _STEP_S, first * _STEP_S + _SPAN_S
    for change, following in pairwise([*changes, None]):
        assert change is not None
        ends_s = to_s if following is None else following.elapsed_s
        if change.elapsed_s < to_s and ends_s > from_s and change.reason not in _THERMOSTAT:
            return False
    return True


def _allowed_s(changes: Sequence[HeatChange], from_s: float, to_s: float) -> float:
    """Seconds for which heat was allowed between two moments of the window."""
    until = [*(change.elapsed_s for change in changes[1:]), to_s]
    return sum(
        max(min(end_s, to_s) - max(change.elapsed_s, from_s), 0.0)
        for change, end_s in zip(changes, until, strict=True)
        if change.allowed
    )
