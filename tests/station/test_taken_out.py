"""A probe that was replaced under another name takes its alarm with it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from helpers_station import House, house
from matwarden.events import AlarmChanged
from matwarden.sinks.store_read import Recorded
from matwarden.terms import AlarmState

_ROOM = '\n[[probe]]\nid = "{id}"\nrole = "room"\ndriver = "twin"\n'
_DEAD = '\n[[fault]]\nkind = "probe-dead"\nsubject = "old-room"\nat_h = 0.1\n'


def test_the_alarm_of_a_probe_that_is_gone_ends_at_the_next_start(tmp_path: Path) -> None:
    """The record no longer calls it active, and a further start has nothing to add."""
    first = House(house(tmp_path, more=_ROOM.format(id="old-room") + _DEAD))
    first.pass_time(3600.0)
    first.close()
    recorded = Recorded(first.settings.store.directory)
    assert [line.alarm for line in recorded.active_alarms()] == ["blind-probe/old-room"]

    renamed = house(tmp_path, more=_ROOM.format(id="new-room"))
    assert renamed.simulation is not None
    later = replace(
        renamed, simulation=replace(renamed.simulation, start_wall_s=renamed.simulation.start_wall_s + 3900.0)
    )
    second = House(later)
    second.pass_time(600.0)
    ended = [event for event in second.collector.events if isinstance(event, AlarmChanged)]
    assert [(event.alarm, event.state) for event in ended] == [("blind-probe/old-room", AlarmState.NORMAL)]
    second.close()
    assert recorded.active_alarms() == []
