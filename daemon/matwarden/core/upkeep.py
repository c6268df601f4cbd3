"""What is due for a tub: substrate, the old half that was kept, food, a look at its probes. Pure; dates in, dates out.

The spans are common practice among keepers, no source; all can be set. Months are those of the calendar: three months
after 30 November is the end of February. Nothing here is ever an alarm.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import NamedTuple

__all__ = ["Done", "Due", "Task", "UpkeepRules", "due_for", "later_by", "newest"]


class Task(StrEnum):
    """What can be done."""

    SUBSTRATE = "substrate"  # changed
    SPLIT = "split"  # the old substrate was split, and its old half kept for what is still in it
    DISCARD = "discard"  # that old half was looked through, and thrown away
    FOOD = "food"  # supplemental food was given
    CHECK = "check"  # the probes were held beside a thermometer that is trusted


class Done(NamedTuple):
    """Something that was done for a tub on a local day; or taken back (`undone`): the newest of its task then."""

    enclosure: str
    task: Task
    day: date
    undone: bool = False


@dataclass(frozen=True, slots=True)
class UpkeepRules:
    """When things are due after they were last done: from when on, and until when."""

    substrate_months: tuple[int, int] = (3, 6)
    split_months: tuple[int, int] = (2, 3)
    food_days: tuple[int, int] = (4, 7)
    check_months: int = 12


class Due(NamedTuple):
    """One task of one tub. `from_day`: due from then on; `by_day`: overdue after it; None: no harm in waiting."""

    enclosure: str
    task: Task
    done_on: date
    from_day: date
    by_day: date | None

    def is_due(self, today: date) -> bool:
        """Whether it is to be done now."""
        return today >= self.from_day

    def is_overdue(self, today: date) -> bool:
        """Whether it should have been done before today."""
        return self.by_day is not None and today > self.by_day


def newest(done: Iterable[Done]) -> dict[tuple[str, Task], date]:
    """The latest day of each task of each tub, from all that was done, in the order in which it was told."""
    days: dict[tuple[str, Task], list[date]] = {}
    for each in done:
        told = days.setdefault((each.enclosure, each.task), [])
        if not each.undone:
            told.append(each.day)
        elif told:
            told.pop()
    return {key: max(told) for key, told in days.items() if told}


def due_for(
    enclosures: Sequence[str], done: Mapping[tuple[str, Task], date], checked: Mapping[str, date], rules: UpkeepRules
) -> list[Due]:
    """Everything that will be due one day, of what was ever done; for each tub the soonest overdue first.

    Args:
        checked: of each tub the oldest `checked` day of its probes' settings, where all have one.
    """
    found: list[Due] = []
    for enclosure in enclosures:
        mine: list[Due] = []

        def add(
            task: Task, day: date, first: date, last: date | None, to: list[Due] = mine, tub: str = enclosure
        ) -> None:
            to.append(Due(tub, task, day, first, last))

        for task, (first, last) in ((Task.SUBSTRATE, rules.substrate_months), (Task.SPLIT, rules.split_months)):
            day = done.get((enclosure, task))
            over = done.get((enclosure, Task.DISCARD)) if task is Task.SPLIT else None
            if day is not None and (over is None or over < day):
                add(task, day, later_by(day, first), later_by(day, last))
        food = done.get((enclosure, Task.FOOD))
        if food is not None:
            add(Task.FOOD, food, food + timedelta(rules.food_days[0]), food + timedelta(rules.food_days[1]))
        looked = [day for day in (done.get((enclosure, Task.CHECK)), checked.get(enclosure)) if day is not None]
        if looked:
            add(Task.CHECK, max(looked), later_by(max(looked), rules.check_months), None)
        found += sorted(mine, key=lambda each: (each.by_day or date.max, each.from_day))
    return found


def later_by(day: date, months: int) -> date:
    """The same day so many months later; the month's last one where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
