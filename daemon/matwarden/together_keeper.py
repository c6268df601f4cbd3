"""The alarms of many tubs at once, as the station keeps them. Looked at before the tubs' own, which follow them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matwarden.alarm import Alarm
from matwarden.alarm_keeper import TubAlarms
from matwarden.core.alarm_table import BLIND, BLIND_TOGETHER, COLD, COLD_TOGETHER, HOT, HOT_TOGETHER
from matwarden.core.alarm_words import Facts
from matwarden.core.alarms import QUIET
from matwarden.core.together import Member, is_together, listed, worst_of
from matwarden.events import Event
from matwarden.terms import AlarmState, AlarmTimes, At, Unit

__all__ = ["TogetherAlarms"]


class TogetherAlarms:
    """Cold, heat and blindness of many tubs.

    Args:
        name: the house's, where no probe tells of the room. least_n: from how many tubs on they ring as one.
        times: of the house.
    """

    def __init__(
        self,
        name: str,
        unit: Unit,
        least_n: int,
        times: AlarmTimes,
        remembered: Mapping[str, Mapping[str, Any]],
        at: At,
    ) -> None:
        self._name = name
        self._unit = unit
        self._least_n = least_n
        self.alarms = {
            member.condition: Alarm(spec, "house", None, times, remembered, at)
            for member, spec in ((COLD, COLD_TOGETHER), (HOT, HOT_TOGETHER), (BLIND, BLIND_TOGETHER))
        }
        self._looked_s = at.mono_s

    @property
    def standing(self) -> frozenset[str]:
        """The conditions of tubs that ring as one now: the tubs' own alarms follow.

        Not of one that is out of service: then each tub rings for itself.
        """
        out = AlarmState.OUT_OF_SERVICE
        return frozenset(
            condition
            for condition, alarm in self.alarms.items()
            if alarm.memory.active and alarm.memory.state is not out
        )

    def look(self, tubs: Sequence[TubAlarms], room_c: float | None, at: At) -> list[Event]:
        """Look once. `room_c`: None when no probe tells of the room."""
        events: list[Event] = []
        dt_s = at.mono_s - self._looked_s
        self._looked_s = at.mono_s
        for condition, alarm in self.alarms.items():
            standing = alarm.memory is not QUIET
            # Most cycles of most houses end here.
            if not standing and not any(tub.together[condition].memory.condition for tub in tubs):
                continue
            members = [_member(tub, tub.together[condition]) for tub in tubs]
            together = is_together(members, alarm.memory.condition, self._least_n)
            if not together and not standing:
                continue
            out_n = sum(member.out for member in members)
            facts = Facts(
                tub=self._name if room_c is None else "Room",
                unit=self._unit,
                now_c=room_c,
                why=listed(members, self._unit),
                how_many=f"{out_n} of {len(members)}",
            )
            if alarm.memory is QUIET:
                # The first tub has been out for long: so long have they, not from now on.
                longest_s = max(member.out_for_s for member in members if member.out)
                alarm.memory = alarm.memory._replace(condition=True, pending_s=longest_s)
            alarm.look(together, False, at, dt_s, worst_of(members, condition == HOT.condition), facts, events)
        return events


def _member(tub: TubAlarms, alarm: Alarm) -> Member:
    memory = alarm.memory
    out_for_s = memory.active_s if memory.active else memory.pending_s
    return Member(tub.name, memory.condition, alarm.well_on, alarm.nears, out_for_s, tub.inside_c)
