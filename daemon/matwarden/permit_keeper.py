"""The permit as the station keeps it: one change of level for each complete cycle in which every relay agreed.

A part outside the computer takes the relays' supply away when the level stands still. So whatever stops the cycle stops
the permit; and so does a relay that does not do as it is told, since then only its supply can still cut it.
"""

from __future__ import annotations

from collections.abc import Iterable

from matwarden.core.units import duration_text
from matwarden.events import Event, Notice, PushAsked
from matwarden.guard_keeper import GuardKeeper
from matwarden.terms import At, Priority
from matwarden_hardware.ports import Permit

__all__ = ["PermitKeeper"]

# A single read-back that disagrees is forgiven by the guard too: a person is told of what lasts.
_TOLD_AFTER_S = 30.0


class PermitKeeper:
    """Owns the permit.

    Args:
        house_name: for the push's title.
    """

    def __init__(self, permit: Permit, house_name: str) -> None:
        self._permit = permit
        self._house_name = house_name
        self._still_since_s: float | None = None
        self._told = False

    def cycle_done(self, guards: Iterable[GuardKeeper], at: At) -> list[Event]:
        """Call at the very end of a complete cycle. Changes the level, or says what keeps it still."""
        why = self._pulse(guards)
        if not why:
            told, self._told = self._told, False
            self._still_since_s = None
            return [Notice(at, "permit: its line changes again, every relay agrees", warning=False)] if told else []
        if self._still_since_s is None:
            self._still_since_s = at.mono_s
        if self._told or at.mono_s - self._still_since_s < _TOLD_AFTER_S:
            return []
        self._told = True
        text = (
            f"The permit's line has stood still for {duration_text(at.mono_s - self._still_since_s)}: {why}. The part "
            "that it feeds has taken every relay's supply away, so no mat is heated. See to that, then to the tubs."
        )
        key = f"permit/{at.wall_s:.0f}"
        return [
            Notice(at, text, warning=True),
            PushAsked(at, key, f"{self._house_name}: permit stopped", text, Priority.HIGH),
        ]

    def close(self) -> str:
        """Leave the line low and let go of it. Says why it may not be low; it stands still in any case."""
        try:
            self._permit.close()
        except Exception as error:  # on the way out, and a line that stands still gives no permit
            return str(error) or repr(error)
        return ""

    def _pulse(self, guards: Iterable[GuardKeeper]) -> str:
        amiss = [guard.enclosure_id for guard in guards if not guard.in_hand]
        if amiss:
            return f"the relay of {', '.join(amiss)} does not do as it is told"
        try:
            self._permit.pulse()
        except Exception as error:  # it stands still, which is the safe side; the guarding goes on
            return str(error) or repr(error)
        return ""
