"""What the list of nights is made of. Each night's page carries in its own head what the list says of it. Pure."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Sequence
from datetime import date
from itertools import groupby
from typing import NamedTuple

from matwarden.report.units import temperature_text
from matwarden.terms import Unit

__all__ = ["Entry", "Month", "Row", "Told", "entry_of", "heading_of", "months_of", "name_of"]

_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_HEAD = re.compile(r'<meta name="matwarden-night" content="([^"]*)">')


class Told(NamedTuple):
    """One night in one line. Degrees Celsius, None where nothing was read; each extreme with its tub's name."""

    first_line: str
    mood: str
    lowest_c: float | None
    lowest_tub: str
    highest_c: float | None
    highest_tub: str


class Entry(NamedTuple):
    """A night that has a page. `told`: None when its page does not say it."""

    date: str
    told: Told | None


class Row(NamedTuple):
    """A line of the list."""

    file: str
    day: str
    first_line: str
    mood: str
    lowest: str
    highest: str


class Month(NamedTuple):
    """A month with its nights, the newest first."""

    name: str
    nights: tuple[Row, ...]


def name_of(day: str) -> str:
    """The file of a night. `day`: `YYYY-MM-DD`."""
    return f"night-{day}.html"


def heading_of(day: str) -> str:
    """A date in words, such as "Saturday, 17 January 2026"."""
    found = date.fromisoformat(day)
    return f"{_WEEKDAYS[found.weekday()]}, {found.day} {_MONTHS[found.month - 1]} {found.year}"


def entry_of(day: str, head: str) -> Entry:
    """What the page of a night says of itself. `head`: its beginning; nothing in it is trusted."""
    found = _HEAD.search(head)
    if found is None:
        return Entry(day, None)
    try:
        told = Told(**json.loads(html.unescape(found[1])))
    except (TypeError, ValueError):
        return Entry(day, None)
    texts = (told.first_line, told.mood, told.lowest_tub, told.highest_tub)
    numbers = (told.lowest_c, told.highest_c)
    if not all(isinstance(text, str) for text in texts):
        return Entry(day, None)
    if not all(number is None or type(number) in (int, float) for number in numbers):
        return Entry(day, None)
    return Entry(day, told)


def months_of(entries: Sequence[Entry], unit: Unit) -> list[Month]:
    """The newest month first, and in it the newest night."""
    newest = sorted(entries, key=lambda entry: entry.date, reverse=True)
    return [
        Month(f"{_MONTHS[int(month[5:]) - 1]} {month[:4]}", tuple(_row(entry, unit) for entry in group))
        for month, group in groupby(newest, lambda entry: entry.date[:7])
    ]


def _row(entry: Entry, unit: Unit) -> Row:
    found = date.fromisoformat(entry.date)
    day = f"{_WEEKDAYS[found.weekday()][:3]} {found.day}"
    if entry.told is None:
        return Row(name_of(entry.date), day, "see its page", "well", "", "")
    told = entry.told
    lowest, highest = (
        "" if value_c is None else f"{temperature_text(value_c, unit)} {tub}"
        for value_c, tub in ((told.lowest_c, told.lowest_tub), (told.highest_c, told.highest_tub))
    )
    return Row(name_of(entry.date), day, told.first_line, told.mood, lowest, highest)
