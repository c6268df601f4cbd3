"""A mistake of ours while looking at alarms ends no guarding: the room's and the house's as little as a tub's."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_station import House, house
from matwarden.alarm_keeper import RoomAlarms, TubAlarms
from matwarden.events import Notice
from matwarden.house_alarms import HouseAlarms

_ROOM = '\n[[probe]]\nid = "room"\nrole = "room"\ndriver = "twin"\n'


@pytest.mark.parametrize(("broken", "whose"), [(TubAlarms, "oak"), (RoomAlarms, "room"), (HouseAlarms, "the house")])
def test_heat_goes_on_and_the_error_is_told_once(
    broken: type, whose: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The mat is heated as if nothing were, over half an hour of cycles that each fail to look."""

    def fail(*_: object) -> None:
        raise OverflowError("date value out of range")

    monkeypatch.setattr(broken, "look", fail)
    shelf = House(house(tmp_path, start_c=23.0, more=_ROOM))
    shelf.pass_time(1800.0)
    assert shelf.relays["oak"].level
    told = [event.text for event in shelf.collector.events if isinstance(event, Notice) and whose in event.text]
    assert told == [f"internal error while looking at the alarms of {whose}: OverflowError('date value out of range')"]
    shelf.close()
