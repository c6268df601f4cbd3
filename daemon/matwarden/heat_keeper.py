"""What the wall makes of the heat, as the station keeps it for one mat: readings in, two conditions out."""

from __future__ import annotations

from collections.abc import Mapping

from matwarden.core.heat_usual import falls_short, new_usual, step_usual
from matwarden.core.heat_watch import heat_arrives_not, heat_stays, new_watch, step
from matwarden.core.units import temperature_text
from matwarden.terms import Enclosure, Quality, Role, Seen, Unit

__all__ = ["HeatKeeper"]


class HeatKeeper:
    """Watches one mat's wall. What it learned is not kept over a restart.

    Most is learned again in one cycle of heat, what is usual in some hours of it.

    Attributes:
        arrives_not: as `heat_arrives_not` says of the newest readings, or `falls_short`. stays: as `heat_stays` says.
    """

    __slots__ = ("_has_air", "_memory", "_short", "_unit", "_usual", "arrives_not", "stays")

    def __init__(self, enclosure: Enclosure, unit: Unit) -> None:
        self._has_air = any(probe.role is Role.AIR for probe in enclosure.probes)
        self._unit = unit
        self._memory = new_watch()
        self._usual = new_usual()
        self._short = False
        self.arrives_not: bool | None = None
        self.stays: bool | None = None

    def look(
        self,
        walls: tuple[tuple[str, float], ...],
        seen: Mapping[str, Seen],
        air_c: float | None,
        allowed: bool,
        now_s: float,
    ) -> None:
        """Take a new wall reading, if there is one.

        Args:
            walls: (probe id, seconds after which its reading is stale). air_c: inside temperature; None: unknown.
        """
        memory = self._memory
        wall_c: float | None = None
        newest_s = memory.at_s
        fresh = False
        for name, stale_s in walls:
            said = seen.get(name)
            if (
                said is None
                or said.quality is not Quality.GOOD
                or said.value_c is None
                or now_s - said.taken_s > stale_s
            ):
                continue
            fresh = True
            if said.taken_s > newest_s:
                newest_s = said.taken_s
            if wall_c is None or said.value_c > wall_c:
                wall_c = said.value_c
        if not fresh or (self._has_air and air_c is None):
            self.arrives_not = self.stays = None
            return
        if newest_s > memory.at_s and wall_c is not None:
            memory = self._memory = step(memory, newest_s, allowed, wall_c, air_c if self._has_air else None)
            self.arrives_not = heat_arrives_not(memory, self._has_air)
            if self._has_air:
                self._usual = step_usual(self._usual, newest_s, memory.over_k, memory.filled)
                self._short = falls_short(self._usual, self._short) or False
                if self._short:
                    self.arrives_not = True
            self.stays = heat_stays(memory, self._has_air)

    def words(self) -> str:
        """The numbers, as a clause."""
        memory = self._memory
        wall = f"wall {temperature_text(memory.wall_c, self._unit)}"
        return f"{wall}, air {temperature_text(memory.air_c, self._unit)}" if self._has_air else wall
