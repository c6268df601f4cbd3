"""A mistake of ours in what is only inferred silences nothing else."""

from __future__ import annotations

from dataclasses import replace

import pytest

from matwarden.alarm_keeper import Guarding, TubAlarms
from matwarden.dry_keeper import DryKeeper
from matwarden.events import Event, Notice, PushAsked
from matwarden.heat_keeper import HeatKeeper
from matwarden.settings.alarm_times import HOUSE_TIMES
from matwarden.terms import (
    At,
    Band,
    Enclosure,
    MatTerms,
    Placement,
    ProbeTerms,
    Quality,
    Reading,
    Role,
    Seen,
    Unit,
)


@pytest.mark.parametrize("keeper", [HeatKeeper, DryKeeper])
def test_cold_rings_although_what_is_inferred_is_broken(
    monkeypatch: pytest.MonkeyPatch, keeper: type[HeatKeeper | DryKeeper]
) -> None:
    """Be it from the heat or from the humidity: cold is pushed after its hour, and the error is told once."""

    def broken(*_: object) -> None:
        raise OverflowError("math range error")

    monkeypatch.setattr(keeper, "look", broken)
    probes = tuple(
        ProbeTerms(f"oak-{role}", role, "oak", None, 10.0, 5.0, 60.0, 3.0, 0.0) for role in (Role.WALL, Role.AIR)
    )
    mat = MatTerms(Placement.SIDE, 7.0, 25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0, 1800.0, 3, 100_000)
    times = replace(HOUSE_TIMES, inverse=None, ring_again_s=None, second_after_s=None)
    oak = Enclosure("oak", "Oak", Band(22.2, 27.8), probes, mat, times)
    alarms = TubAlarms(oak, Unit.C, {}, At(0.0, 1e9))
    told: list[Event] = []
    for at_s in range(0, 2 * 3600, 10):
        at = At(float(at_s), 1e9 + at_s)
        seen = {probe.id: Seen(Quality.GOOD, 20.0, at.mono_s, 9, "") for probe in probes}
        airs = [Reading("oak-air", at, 20.0, 70.0)]
        told += alarms.look(seen, Guarding(True, False, False, "", 1), at, airs=airs)
    pushes = [event.title for event in told if isinstance(event, PushAsked) and event.key.startswith("cold/")]
    assert pushes == ["Oak: cold for 1 h, now 20.0 °C"]
    assert len([event for event in told if isinstance(event, Notice)]) == 1
