"""An alarm's memory as it is kept over a restart. Pure.

Of what is kept only the shelf is tied to the wall clock: it ends when it was meant to end.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matwarden.core.alarms import QUIET, AlarmMemory, is_quiet
from matwarden.terms import AlarmState

__all__ = ["from_dict", "to_dict"]


def to_dict(memory: AlarmMemory, wall_s: float) -> dict[str, Any]:
    """The memory as JSON-able values; a shelf is kept with the wall time at which it ends."""
    kept: dict[str, Any] = {
        "state": memory.state.value,
        "condition": memory.condition,
        "active": memory.active,
        "pending_s": memory.pending_s,
        "clearing_s": memory.clearing_s,
        "active_s": memory.active_s,
        "worst": memory.worst,
        "dose": memory.dose,
        "acknowledged": memory.acknowledged,
    }
    if memory.shelved_left_s is not None:
        kept["shelved_until_wall_s"] = wall_s + memory.shelved_left_s
        kept["shelved_left_s"] = memory.shelved_left_s
        kept["one_shot"] = memory.one_shot
    return kept


def from_dict(kept: Mapping[str, Any], wall_s: float) -> AlarmMemory:
    """The memory as it was kept by `to_dict`, now that the wall clock says `wall_s`.

    The time in between counts for no delay. A shelf goes on for what is left of it, at most for what was left when
    it was kept (a clock set back does not prolong it); a shelf without a stored end is over.

    Raises:
        ValueError: this is not what `to_dict` wrote.
    """
    try:
        memory = AlarmMemory(
            AlarmState(kept["state"]),
            bool(kept["condition"]),
            False,
            bool(kept["active"]),
            float(kept["pending_s"]),
            float(kept["clearing_s"]),
            float(kept["active_s"]),
            None if kept["worst"] is None else float(kept["worst"]),
            dose=min(1.0, max(0.0, float(kept.get("dose", 0.0)))),
            acknowledged=bool(kept.get("acknowledged", kept["state"] == AlarmState.ACKNOWLEDGED.value)),
        )
        if memory.state is AlarmState.SHELVED:
            until_s, left_s = kept.get("shelved_until_wall_s"), kept.get("shelved_left_s")
            left_s = 0.0 if until_s is None or left_s is None else min(float(until_s) - wall_s, float(left_s))
            memory = memory._replace(shelved_left_s=left_s, one_shot=bool(kept.get("one_shot", False)))
    except (KeyError, TypeError, ValueError) as error:
        raise ValueError(f"this is not the kept state of an alarm: {error!r}") from error
    return QUIET if is_quiet(memory) else memory
