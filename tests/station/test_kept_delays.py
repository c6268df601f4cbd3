"""What is kept of an on-delay follows it: begun, going on, and over."""

from __future__ import annotations

from matwarden.alarm_keeper import TubAlarms
from matwarden.events import AlarmChanged, Event, Remember
from matwarden.terms import AlarmTimes, At, Band, Enclosure, ProbeTerms, Quality, Role, Seen, Unit

_AIR = ProbeTerms("oak-air", Role.AIR, "oak", None, 10.0, 5.0, 60.0, 3.0, 0.0)
_OAK = Enclosure("oak", "Oak", Band(22.2, 27.8), (_AIR,), None, AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5))


def _look(alarms: TubAlarms, at_s: float, air_c: float) -> list[Event]:
    seen = {"oak-air": Seen(Quality.GOOD, air_c, at_s, 9, "")}
    return alarms.look(seen, None, At(at_s, 1e9 + at_s))


def _kept_after(dip_s: int) -> dict[str, dict[str, object]]:
    """The memory on the disk after a dip of this length and ten seconds of warmth."""
    alarms = TubAlarms(_OAK, Unit.C, {}, At(0.0, 1e9))
    told = [event for at_s in range(0, dip_s, 10) for event in _look(alarms, float(at_s), 21.0)]
    told += _look(alarms, float(dip_s), 25.0)
    return {event.key: dict(event.value) for event in told if isinstance(event, Remember)}


def test_a_dip_that_is_over_does_not_count_after_a_restart() -> None:
    """58 minutes of cold, warm again, a restart, two minutes of cold: nobody is told."""
    kept = _kept_after(58 * 60 + 30)
    assert "alarm/cold/oak" in kept
    again = TubAlarms(_OAK, Unit.C, kept, At(0.0, 2e9))
    told = [event for at_s in range(0, 130, 10) for event in _look(again, float(at_s), 21.0)]
    assert [event for event in told if isinstance(event, AlarmChanged)] == []
