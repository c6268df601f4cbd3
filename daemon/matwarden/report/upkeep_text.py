"""What is due, in words: at most one line a tub in the digest, and the whole list for `matwarden upkeep`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from matwarden.core.upkeep import Due, Task
from matwarden.report.units import date_text

__all__ = ["due_lines", "upkeep_text"]

_NOW = {
    Task.SUBSTRATE: "change its substrate",
    Task.SPLIT: "look for young in the kept half, then discard it",
    Task.FOOD: "food",
    Task.CHECK: "hold its probes beside a thermometer",
}
_DONE = {
    Task.SUBSTRATE: "substrate changed",
    Task.SPLIT: "old half kept",
    Task.FOOD: "fed",
    Task.CHECK: "probes checked",
}


def due_lines(names: Mapping[str, str], due: Sequence[Due], today: date) -> tuple[str, ...]:
    """A line for each tub for which something is due: "Oak: change its substrate (by 3 Feb 2027); food"."""
    lines = []
    for tub, name in names.items():
        parts = [_part(each, today) for each in due if each.enclosure == tub and each.is_due(today)]
        if parts:
            lines.append(f"{name}: {'; '.join(parts)}")
    return tuple(lines)


def upkeep_text(names: Mapping[str, str], due: Sequence[Due], today: date) -> str:
    """Everything that was done and what follows, tub by tub."""
    lines = []
    for tub, name in names.items():
        lines.append(name)
        mine = [each for each in due if each.enclosure == tub]
        if not mine:
            lines.append("  nothing was told yet: matwarden done " + tub + " substrate --on 2026-11-01")
        for each in mine:
            if each.is_overdue(today):
                when = f"overdue since {_day(each.by_day)}"
            elif each.is_due(today):
                when = "due now" if each.by_day is None else f"due now, by {_day(each.by_day)}"
            else:
                when = f"due from {_day(each.from_day)}"
            lines.append(f"  {_DONE[each.task]} on {_day(each.done_on)}: {_NOW[each.task]}, {when}")
    return "\n".join(lines)


def _part(due: Due, today: date) -> str:
    if due.is_overdue(today):
        return f"{_NOW[due.task]} (overdue since {_day(due.by_day)})"
    return (
        _NOW[due.task] if due.by_day is None or due.task is Task.FOOD else f"{_NOW[due.task]} (by {_day(due.by_day)})"
    )


def _day(day: date | None) -> str:
    assert day is not None
    return date_text(day)
