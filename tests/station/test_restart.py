"""What survives a restart of the program, on a real record; everything else comes up cut and proves itself anew."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_station import POLL_S, House, alarms, house
from matwarden.events import AlarmChanged, Event, PushAsked, Refused, VerdictChanged
from matwarden.guard_keeper import GuardKeeper
from matwarden.terms import AlarmState, At, Quality, Reason
from matwarden_hardware.twin import ROOM, Fault, FaultKind

_HOUR_S = 3600.0


@pytest.fixture
def oak(tmp_path: Path) -> Iterator[House]:
    """A heated tub in a room of 18 C, with heat allowed."""
    started = House(house(tmp_path))
    _until_heat(started)
    yield started
    started.close()


def _until_heat(house: House) -> None:
    for _ in range(360):
        if house.relays["oak"].level:
            return
        house.pass_time(POLL_S)
    raise AssertionError(_guard(house).why())


def _guard(house: House) -> GuardKeeper:
    guard = house.run.station.tubs["oak"].guard
    assert guard is not None
    return guard


def _break(house: House, kind: FaultKind, subject: str, amount: float = 0.0, for_s: float | None = None) -> None:
    now_s = house.shelf.t_s
    house.shelf.inject(Fault(now_s, None if for_s is None else now_s + for_s, kind, subject, amount))


def _reason(house: House) -> Reason:
    reason: Reason = house.told(VerdictChanged)[-1].verdict.reason
    return reason


def test_everything_comes_up_cut_and_proves_itself(oak: House) -> None:
    """After a restart in the middle of heating the line is cut, and heat waits for three readings and the rest time."""
    operations = _guard(oak).operations
    oak.restart()
    restarted_s = oak.clock.monotonic_s()
    assert not oak.relays["oak"].level
    oak.pass_time(2 * POLL_S)
    assert _reason(oak) is Reason.PROVING
    _until_heat(oak)
    switched_s, _ = oak.relays["oak"].switched[-1]
    # The default minimum off time of the settings is 180 s.
    assert 180.0 <= switched_s - restarted_s <= 180.0 + POLL_S
    assert _guard(oak).operations == operations + 1


def test_a_trip_survives(oak: House) -> None:
    """A tub that tripped is still tripped after a restart, cool or not; a person's reset ends it, and that survives."""
    _break(oak, FaultKind.RELAY_WELDED, "oak")
    oak.pass_time(6 * _HOUR_S)
    assert _guard(oak).tripped
    oak.shelf.mend("oak", FaultKind.RELAY_WELDED)
    oak.pass_time(6 * _HOUR_S)
    oak.restart()
    oak.pass_time(_HOUR_S)
    assert _reason(oak) is Reason.TRIPPED
    refusals: list[str] = []

    def reset(at: At) -> list[Event]:
        events, refused = _guard(oak).reset(at)
        refusals.append(refused)
        return events

    oak.run.station.call(reset)
    oak.pass_time(POLL_S)
    assert refusals == [""]
    oak.restart()
    _until_heat(oak)


def test_a_relay_fault_survives(oak: House) -> None:
    """A relay fault is still latched after a restart with a relay that reads back well again."""
    _break(oak, FaultKind.RELAY_READBACK_WRONG, "oak", for_s=60.0)
    oak.pass_time(2 * POLL_S)
    assert _reason(oak) is Reason.RELAY_FAULT
    oak.pass_time(600.0)
    oak.restart()
    oak.pass_time(_HOUR_S)
    assert _reason(oak) is Reason.RELAY_FAULT
    assert not oak.relays["oak"].level


def test_a_hold_survives_with_what_is_left_of_it(oak: House) -> None:
    """A hold of one hour still ends one hour after it began, restart or not."""

    def hold(for_s: float) -> None:
        oak.run.station.call(lambda at: _guard(oak).hold(for_s, at))

    hold(_HOUR_S)
    oak.pass_time(1800.0)
    oak.restart()
    oak.pass_time(1700.0)
    assert _reason(oak) is Reason.HELD
    oak.pass_time(200.0)
    assert _reason(oak) is not Reason.HELD


def test_operations_are_counted_over_restarts(oak: House) -> None:
    """The count of switchings is that of the relay's life: as many as the line itself was let on."""
    for _ in range(3):
        oak.pass_time(_HOUR_S)
        oak.restart()
        _until_heat(oak)
    assert _guard(oak).operations == sum(level for _, level in oak.relays["oak"].switched)


def test_heat_up_to_a_restart_still_counts_for_a_cut_out(tmp_path: Path) -> None:
    """A wall found over the cut-out by the first reading after a restart is the mat's doing, not a hot room's."""
    oak = House(house(tmp_path, mat="memory_min = 1"))
    _until_heat(oak)
    # On for longer than the memory lasts: it is the end of the heat that counts, not its beginning.
    oak.pass_time(120.0)
    assert oak.relays["oak"].level
    _break(oak, FaultKind.PROBE_OFFSET, "oak-wall", 8.0)
    oak.restart()
    oak.pass_time(POLL_S)
    assert _reason(oak) in (Reason.CUT_OUT, Reason.TRIPPED)
    oak.close()


@pytest.fixture
def rowan(tmp_path: Path) -> Iterator[House]:
    """A tub without a mat, in a room that is 24 C until it is made cold."""
    started = House(house(tmp_path, heated=(), unheated=("rowan",), room="mean = 24.0"))
    started.pass_time(600.0)
    yield started
    started.close()


def test_progress_towards_an_alarm_survives_but_for_a_minute(rowan: House) -> None:
    """Restarts do not put off a cold alarm by more than a minute each."""
    _break(rowan, FaultKind.ROOM_OFFSET, ROOM, -9.0)
    rowan.pass_time(6 * _HOUR_S)
    straight = rowan.told(AlarmChanged)[0]
    assert straight.active_s == pytest.approx(_HOUR_S, abs=POLL_S)
    rowan.shelf.mend(ROOM, FaultKind.ROOM_OFFSET)
    rowan.pass_time(12 * _HOUR_S)
    assert alarms(rowan.collector.events, "cold/rowan")[-1] is AlarmState.RETURNED_UNACKNOWLEDGED
    _break(rowan, FaultKind.ROOM_OFFSET, ROOM, -9.0)
    began_s = rowan.clock.monotonic_s()
    first_took_s = straight.at.mono_s - 600.0
    for _ in range(3):
        rowan.pass_time(first_took_s / 4)
        rowan.restart()
    rowan.pass_time(2 * _HOUR_S)
    again = [e for e in rowan.told(AlarmChanged) if e.state is AlarmState.UNACKNOWLEDGED][-1]
    # It cools from the same 24 C as the first time, to within the probe's noise.
    assert again.at.mono_s - began_s == pytest.approx(first_took_s, abs=3 * 60.0 + 12 * POLL_S)


def test_an_active_alarm_is_not_pushed_again(rowan: House) -> None:
    """A cold that stands over three restarts is pushed once, and its return once, in the run that sees it."""
    _break(rowan, FaultKind.ROOM_OFFSET, ROOM, -9.0)
    rowan.pass_time(6 * _HOUR_S)
    for _ in range(3):
        rowan.restart()
        rowan.pass_time(2 * _HOUR_S)
    rowan.shelf.mend(ROOM, FaultKind.ROOM_OFFSET)
    rowan.pass_time(8 * _HOUR_S)
    colds = [line for line in rowan.pushed() if "Z  Rowan: " in line]
    assert len(colds) == len([e for e in rowan.told(PushAsked) if e.key.startswith("cold/")]) == 2
    assert "Rowan: cold for 1 h" in colds[0]
    assert "back in band" in colds[1]


def test_a_dead_probe_is_found_dead_again_without_a_second_push(oak: House) -> None:
    """An alarm for a silent probe stands over a restart and is pushed once."""
    _break(oak, FaultKind.PROBE_DEAD, "oak-air")
    oak.pass_time(1800.0)
    oak.restart()
    oak.pass_time(1800.0)
    assert any(e.quality is Quality.MISSING for e in oak.told(Refused))
    assert len([line for line in oak.pushed() if "no good reading" in line]) == 1
