"""The running station as a two-position controller, against closed forms.

The plant is one node: tau dT/dt = -(T - Ta) + K u, with u 0 or 1, moved exactly from one look to the next. Switched at
low and high with nothing in between, such a plant cycles as in any text on process control (the derivation is two
exponentials):

    t_on = tau ln((Ta + K - low) / (Ta + K - high)),  t_off = tau ln((high - Ta) / (low - Ta)),
    duty = t_on / (t_on + t_off).

A station that looks every s seconds sees each crossing up to s late, so the extremes lie a little outside and the
period is a whole number of looks. Those rows were computed apart from the program, with scipy's solve_ivp.
"""

from __future__ import annotations

from itertools import pairwise
from math import exp, log
from typing import NamedTuple

import pytest

from helpers_station import ALARMS, START_WALL_S, mat_with, probe
from matwarden.clocks import SimulatedClock
from matwarden.pollers import InlinePoller
from matwarden.station import Station
from matwarden.terms import Band, Enclosure, Role, Unit
from matwarden_hardware.ports import Sample

_ROOM_C, _GAIN_K, _TAU_S = 20.0, 12.0, 1800.0
_LOW_C, _HIGH_C = 24.5, 25.5


class _Plant:
    """The node: a wall probe and a relay at once, as warm as the clock says."""

    def __init__(self, clock: SimulatedClock, start_c: float) -> None:
        self._clock = clock
        self._at_s = clock.monotonic_s()
        self.node_c = start_c
        self.heating = False
        self.extremes: list[tuple[float, float]] = []
        self.switched: list[tuple[float, bool, float]] = []

    def read(self) -> Sample:
        self._catch_up()
        return Sample(self.node_c)

    def drive(self, allow: bool) -> None:
        self._catch_up()
        if allow != self.heating:
            self.switched.append((self._at_s, allow, self.node_c))
            self.heating = allow

    def read_back(self) -> bool:
        return self.heating

    def close(self) -> None:
        self.drive(False)

    def _catch_up(self) -> None:
        passed_s = self._clock.monotonic_s() - self._at_s
        end_c = _ROOM_C + (_GAIN_K if self.heating else 0.0)
        self.node_c = end_c + (self.node_c - end_c) * exp(-passed_s / _TAU_S)
        self._at_s += passed_s


class _Cycles(NamedTuple):
    """Means over settled cycles; temperatures are those at which the relay switched: the node turns there."""

    on_s: float
    period_s: float
    highest_c: float
    lowest_c: float

    @property
    def duty(self) -> float:
        return self.on_s / self.period_s


def _run(poll_s: float, for_s: float = 40_000.0, start_c: float = 24.0) -> _Cycles:
    """Let the station hold the plant, and describe the cycles after the first few."""
    clock = SimulatedClock(START_WALL_S)
    plant = _Plant(clock, start_c)
    terms = probe("oak-wall", Role.WALL, poll_s=poll_s)
    mat = mat_with(minimum_on_s=0.0, minimum_off_s=0.0, prove_n=1)
    oak = Enclosure("oak", "Oak", Band(20.0, 30.0), (terms,), mat, ALARMS)
    poller = InlinePoller({"oak-wall": plant}, {"oak-wall": terms}, 0.0)
    station = Station([oak], (), Unit.C, poller, {"oak": plant}, clock, lambda events: None, {}, judge_every_s=poll_s)
    while clock.monotonic_s() < for_s:
        clock.wait(station.cycle(), station.wake)
    settled = [change for change in plant.switched if change[0] > for_s / 2]
    ons = [at_s for at_s, allow, _ in settled if allow]
    heated_s = [b - a for (a, allow, _), (b, _, _) in pairwise(settled) if allow]
    assert len(ons) > 15
    return _Cycles(
        on_s=sum(heated_s) / len(heated_s),
        period_s=(ons[-1] - ons[0]) / (len(ons) - 1),
        highest_c=max(node_c for _, allow, node_c in settled if not allow),
        lowest_c=min(node_c for _, allow, node_c in settled if allow),
    )


def _ideal() -> _Cycles:
    """The closed form."""
    on_s = _TAU_S * log((_ROOM_C + _GAIN_K - _LOW_C) / (_ROOM_C + _GAIN_K - _HIGH_C))
    off_s = _TAU_S * log((_HIGH_C - _ROOM_C) / (_LOW_C - _ROOM_C))
    return _Cycles(on_s, on_s + off_s, _HIGH_C, _LOW_C)


def test_the_closed_form_gives_its_numbers() -> None:
    """The formula in this file gives the numbers that were computed apart from it."""
    ideal = _ideal()
    assert ideal.on_s == pytest.approx(257.58, abs=0.01)
    assert ideal.period_s == pytest.approx(618.79, abs=0.01)
    assert ideal.duty == pytest.approx(0.41627, abs=0.00001)


def test_looked_at_often_the_station_cycles_as_the_closed_form() -> None:
    """At a look each second period, on-time and duty are those of the ideal to 0.5 %, extremes to 5 mK."""
    seen, ideal = _run(1.0, 22_000.0), _ideal()
    assert seen.period_s == pytest.approx(ideal.period_s, rel=0.005)
    assert seen.on_s == pytest.approx(ideal.on_s, rel=0.005)
    assert seen.duty == pytest.approx(ideal.duty, rel=0.005)
    assert (seen.highest_c, seen.lowest_c) == pytest.approx((ideal.highest_c, ideal.lowest_c), abs=0.005)


@pytest.mark.parametrize(
    ("poll_s", "period_s", "highest_c", "lowest_c"),
    [
        (1.0, 621.1, 25.5035, 24.4981),
        (10.0, 640.2, 25.532, 24.479),
        (30.0, 705.1, 25.601, 24.426),
        (60.0, 720.0, 25.588, 24.425),
    ],
)
def test_polled_less_often_the_cycle_widens_as_computed(
    poll_s: float, period_s: float, highest_c: float, lowest_c: float
) -> None:
    """Period to 1 % and extremes to 10 mK at four polling intervals."""
    seen = _run(poll_s)
    assert seen.period_s == pytest.approx(period_s, rel=0.01)
    assert seen.highest_c == pytest.approx(highest_c, abs=0.01)
    assert seen.lowest_c == pytest.approx(lowest_c, abs=0.01)
