"""A night as one HTML file that needs nothing else: no script, no second file, no network. Pure; needs Jinja2.

Every text that came from outside is escaped by the templates, and a policy in the page's own head forbids the browser
to fetch or to run anything.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from matwarden.core.digest import NightDigest
from matwarden.core.exposure import Extreme
from matwarden.report.clock_ticks import changes
from matwarden.report.digest_text import house_lines, tub_lines
from matwarden.report.night import DUE, Night
from matwarden.report.page_index import Entry, Month, Told, heading_of, months_of
from matwarden.report.page_tub import Mood, alarm_entries, tub_views
from matwarden.report.units import duration_text, local_day_and_clock
from matwarden.terms import Unit

__all__ = ["index_page", "night_page"]

_WORST_FIRST = (Mood.ON, Mood.OVER, Mood.WELL)


def night_page(night: Night, earlier: str | None = None) -> str:
    """The page of one night.

    Args:
        earlier: date of the night before it that has a page, `YYYY-MM-DD`; None: there is none.
    """
    digest = night.digest
    views = tub_views(night)
    since, until = (local_day_and_clock(wall_s, night.zone) for wall_s in (digest.from_wall_s, digest.to_wall_s))
    return _render(
        "night.html.j2",
        house=night.house,
        date=heading_of(digest.date),
        period=f"{since} to {until} ({digest.zone})",
        first_line=night.first_line,
        mood=_mood(night),
        due=night.due,
        overview=sorted(views, key=lambda view: _WORST_FIRST.index(view.mood)),
        tubs=views,
        house_lines=_house(night),
        house_alarms=alarm_entries(digest.started, digest.returned, digest.standing, night),
        earlier=earlier,
        earlier_heading=None if earlier is None else heading_of(earlier),
        told=json.dumps(_told(night)._asdict()),
    )


def index_page(
    house: str, entries: Sequence[Entry], unit: Unit, years: Sequence[str] = (), year: str | None = None
) -> str:
    """The list of nights, the newest first.

    Args:
        entries: in any order. unit: the keeper's.
        years: those that have a page of their own, `YYYY`. year: this is that year's page; None: the newest nights.
    """
    months: list[Month] = months_of(entries, unit)
    return _render("index.html.j2", house=house, months=months, years=sorted(years, reverse=True), year=year)


def _render(template: str, **values: Any) -> str:
    environment = Environment(
        loader=PackageLoader("matwarden.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(values)


def _mood(night: Night) -> Mood:
    digest = night.digest
    if digest.standing or any(tub.standing for tub in digest.enclosures):
        return Mood.ON
    return Mood.WELL if night.first_line == "All well" else Mood.OVER


def _house(night: Night) -> list[str]:
    """What the text says of the house, and whatever else it says that this page shows nowhere else."""
    digest = night.digest
    lines = house_lines(digest, night.unit, night.zone)
    lines += [
        f"Clocks went {'back' if change.by_s < 0 else 'forward'} by {duration_text(abs(change.by_s))} (daylight saving)"
        for change in changes(night.strips, night.zone)
        if not change.set
    ]
    shown = {*lines, *(f"{DUE}{line}" for line in night.due)}
    for tub in digest.enclosures:
        shown |= set(tub_lines(tub, night.unit, night.zone, digest.lasts_s))
    return [line.strip() for line in [*lines, *(line for line in night.text.splitlines()[2:] if line not in shown)]]


def _told(night: Night) -> Told:
    digest = night.digest
    low, low_tub = _outermost(digest, coldest=True)
    high, high_tub = _outermost(digest, coldest=False)
    return Told(night.first_line, _mood(night).value, low, low_tub, high, high_tub)


def _outermost(digest: NightDigest, coldest: bool) -> tuple[float | None, str]:
    found: list[tuple[Extreme, str]] = []
    for tub in digest.enclosures:
        extreme = tub.inside.lowest if coldest else tub.inside.highest
        if extreme is not None:
            found.append((extreme, tub.name))
    if not found:
        return None, ""
    pick = min if coldest else max
    extreme, name = pick(found, key=lambda each: each[0].value)
    return round(extreme.value, 2), name
