"""The alarms of no tub: the record fails, the clock was set, the power was gone. As the station keeps them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from matwarden.alarm import Alarm
from matwarden.core.alarm_table import CLOCK_STEPPED, POWER_LOST, STORAGE_FAILING
from matwarden.core.alarm_words import Facts
from matwarden.core.alarms import QUIET
from matwarden.core.conditions import is_away_too_long, is_step_told
from matwarden.core.units import duration_text
from matwarden.events import Event
from matwarden.terms import AlarmTimes, At, Unit

__all__ = ["HouseAlarms"]

# A clock without a battery is set in the first minutes of a run: that step belongs to the start, and is told to nobody.
_FIRST_S = 900.0
# A stepped clock and a lost power are over at once, but a person should still find them when they look.
_SHOWN_S = 3600.0
# None of the three has a delay of its own to set.
_TIMES = AlarmTimes(0.0, 0.0, 0.0, 0.0, 0.0)


class HouseAlarms:
    """Storage, clock and power.

    Args:
        in_words: a wall time as day and clock.
        last_seen_wall_s: when the last run last wrote its record; None: there was none.
        store_fails: whether the record fails now.
        remembered: what survived the last run, by `Remember` key.
    """

    def __init__(
        self,
        name: str,
        unit: Unit,
        in_words: Callable[[float], str],
        last_seen_wall_s: float | None,
        store_fails: Callable[[], bool],
        remembered: Mapping[str, Mapping[str, Any]],
        at: At,
    ) -> None:
        self._facts = Facts(tub=name, unit=unit)
        self._in_words = in_words
        self._store_fails = store_fails
        self._storage, self._clock, self._power = (
            Alarm(spec, "house", None, _TIMES, remembered, at) for spec in (STORAGE_FAILING, CLOCK_STEPPED, POWER_LOST)
        )
        self._began = at
        self._last_seen_wall_s = last_seen_wall_s
        # The wall clock of the start as it is known by now.
        self._began_wall_s = at.wall_s
        self._stepped_s = float("-inf")
        self._step_s = 0.0
        self._first = True
        self._looked_s = at.mono_s

    @property
    def alarms(self) -> list[Alarm]:
        """Every one of them."""
        return [self._storage, self._clock, self._power]

    def look(self, at: At, step_s: float) -> list[Event]:
        """Look once.

        Args:
            step_s: by how much the wall clock was set since the last look; 0.0: not.
        """
        events: list[Event] = []
        now_s = at.mono_s
        dt_s, run_s = now_s - self._looked_s, now_s - self._began.mono_s
        self._looked_s = now_s
        fails = self._store_fails()
        if fails or self._storage.memory is not QUIET:
            self._storage.look(fails, False, at, dt_s, None, self._facts, events)
        if step_s:
            if run_s <= _FIRST_S:
                self._began_wall_s += step_s
            elif is_step_told(step_s):
                self._stepped_s, self._step_s = now_s, step_s
        stepped = now_s - self._stepped_s < _SHOWN_S
        if stepped or self._clock.memory is not QUIET:
            self._clock.look(stepped, False, at, dt_s, None, self._facts._replace(why=self._step_words()), events)
        if run_s < _SHOWN_S or self._power.memory is not QUIET:
            self._look_at_power(at, dt_s, run_s, events)
        return events

    def _look_at_power(self, at: At, dt_s: float, run_s: float, events: list[Event]) -> None:
        # What the last run may still have standing is over; this absence is another one.
        away = not self._first and run_s < _SHOWN_S
        self._first = False
        away = away and is_away_too_long(self._last_seen_wall_s, self._began_wall_s)
        if away or self._power.memory is not QUIET:
            self._power.look(away, False, at, dt_s, None, self._facts._replace(why=self._away_words()), events)

    def _step_words(self) -> str:
        return f"{duration_text(abs(self._step_s))} {'forward' if self._step_s > 0.0 else 'back'}"

    def _away_words(self) -> str:
        since_wall_s, until_wall_s = self._last_seen_wall_s or 0.0, self._began_wall_s
        since, until = self._in_words(since_wall_s), self._in_words(until_wall_s)
        return f"from about {since} to {until}, {duration_text(max(0.0, until_wall_s - since_wall_s))}"
