"""Offsets of probes, and when each probe was last held beside a thermometer the keeper trusts."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from matwarden.core.units import difference_text
from matwarden.settings.resolved import Settings
from matwarden.terms import ProbeTerms, Unit

__all__ = ["all_probes", "offset_fields", "offset_warnings"]


def all_probes(settings: Settings) -> Iterator[ProbeTerms]:
    """Every probe, tub by tub, those of the room last."""
    for tub in settings.enclosures:
        yield from tub.probes
    yield from settings.room_probes


def offset_fields(settings: Settings) -> list[tuple[str, str]]:
    """For each probe with an offset or a date: what is added to its readings, and when it was last checked."""
    return [
        ("offset", f"{probe.id}: {_added(probe, settings.unit)}, {_when(probe)}")
        for probe in all_probes(settings)
        if probe.offset_k or probe.checked_on
    ]


def offset_warnings(settings: Settings, today: date) -> list[str]:
    """What to check again. A probe drifts, and an offset nobody remembers taking is a guess.

    Args:
        today: the local day in the house's zone.

    Twelve months is common practice, no source.
    """
    warnings = []
    for probe in all_probes(settings):
        if probe.checked_on is None:
            if probe.offset_k:
                warnings.append(
                    f"probe {probe.id}: offset without checked; write the day it was found, as in checked = 2026-10-03."
                )
        elif probe.checked_on > today:
            warnings.append(f"probe {probe.id}: checked = {probe.checked_on} is not over yet; correct the day.")
        elif probe.checked_on < _a_year_before(today):
            warnings.append(
                f"probe {probe.id}: last checked {probe.checked_on}, more than 12 months ago; hold it beside a "
                "thermometer you trust, correct offset, and write that day in checked."
            )
    return warnings


def _a_year_before(day: date) -> date:
    # 29 February has no fellow in the year before.
    return day.replace(year=day.year - 1, day=28 if (day.month, day.day) == (2, 29) else day.day)


def _added(probe: ProbeTerms, unit: Unit) -> str:
    if not probe.offset_k:
        return "nothing added"
    return f"{'-' if probe.offset_k < 0 else '+'}{difference_text(abs(probe.offset_k), unit)} added to each reading"


def _when(probe: ProbeTerms) -> str:
    return f"last checked {probe.checked_on}" if probe.checked_on else "not told when it was checked"
