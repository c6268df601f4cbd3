"""What is known of the last days, gathered for the judge of `matwarden away`."""

from __future__ import annotations

import subprocess
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.commissioned_holds import holds_of
from matwarden.core.away import LOOK_BACK_DAYS, Facts, TubFacts
from matwarden.core.dates import local_date
from matwarden.core.units import parse_rfc3339
from matwarden.core.upkeep import Task
from matwarden.report.units import date_text
from matwarden.settings.resolved import Settings
from matwarden.sinks.outbox_read import newest_pushes
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import DATABASE
from matwarden.sinks.store_space import free_bytes
from matwarden.terms import Enclosure
from matwarden.upkeep import due_of

__all__ = ["PUSH_TESTED", "facts_of"]

_DAY_S = 86_400.0
_MB = 1_000_000
_PUSHES = 500
# The deed that a test of the push targets leaves; its target is theirs.
PUSH_TESTED = "push --test"
_FAULTS = (
    ("tripped", "its software cut-out has tripped: reset it at the shelf"),
    ("relay_fault", "its relay did not obey: look at it, and reset it at the shelf"),
)
# Who is away cannot do it; food is given before one leaves.
_DUE = {
    Task.SUBSTRATE: "substrate",
    Task.SPLIT: "the kept half",
    Task.FOOD: "food",
    Task.CHECK: "a check of its probes",
}


def facts_of(settings: Settings, status: Mapping[str, Any], days: float, now_wall_s: float, machine: Path) -> Facts:
    """Everything that can be known.

    Args:
        status: of the running station, or from the record when none runs.
        machine: where its proc, dev and run are: `/`.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    recorded = Recorded(settings.store.directory)
    documents = _documents(recorded, now_wall_s)
    sinks = status["sinks"].values()
    return Facts(
        days=days,
        running=bool(status["running"]),
        nights=len(documents),
        digest_age_s=_digest_age_s(recorded, now_wall_s),
        tubs=[_tub(settings, each, status, documents, days, now_wall_s) for each in settings.enclosures],
        house_alarms=tuple(alarm["id"] for alarm in status["room_alarms"]),
        silenced=tuple(alarm["id"] for alarm in status.get("silenced", ())),
        coldest_room_c=_coldest_room_c(settings, recorded),
        push=_pushes(settings, recorded, now_wall_s),
        second_targets=0 if settings.push is None else sum(target.second for target in settings.push.targets),
        watched=True if settings.heartbeat is not None else None,
        free_mb=_free_mb(settings.store.directory),
        keep_free_mb=settings.store.keep_free_mb,
        mb_per_day=_mb_per_day(settings.store.directory, recorded),
        clock_right=_clock_right(machine),
        recording_fails=any(sink.get("failing") for sink in sinks),
    )


def _documents(recorded: Recorded, now_wall_s: float) -> list[dict[str, Any]]:
    """The digests that were made in the last days."""
    found = []
    for day in recorded.digest_dates()[-2 * LOOK_BACK_DAYS :]:
        kept = recorded.digest(day)
        if kept is not None and now_wall_s - kept.made_wall_s <= LOOK_BACK_DAYS * _DAY_S:
            found.append(kept.document)
    return found


def _digest_age_s(recorded: Recorded, now_wall_s: float) -> float | None:
    dates = recorded.digest_dates()
    kept = recorded.digest(dates[-1]) if dates else None
    return None if kept is None else max(0.0, now_wall_s - kept.made_wall_s)


def _tub(
    settings: Settings,
    enclosure: Enclosure,
    status: Mapping[str, Any],
    documents: Sequence[Mapping[str, Any]],
    days: float,
    now_wall_s: float,
) -> TubFacts:
    now = next(each for each in status["enclosures"] if each["id"] == enclosure.id)
    heat = now["heat"]
    nights = [each for document in documents for each in document["enclosures"] if each["id"] == enclosure.id]
    faults = [text for key, text in _FAULTS if heat is not None and heat[key]]
    pace, worn = _wear(documents, enclosure.id)
    today = local_date(now_wall_s, ZoneInfo(settings.zone))
    back = today + timedelta(days=round(days))
    due = []
    for each in due_of(settings):
        soon = each.task is not Task.FOOD and each.is_due(back)
        if each.enclosure == enclosure.id and (soon or each.is_due(today)):
            when = "now" if each.is_due(today) else f"from {date_text(each.from_day)}"
            due.append(f"{_DUE[each.task]} is due {when}: do it before you leave")
    return TubFacts(
        name=enclosure.name,
        standing=tuple(alarm["id"] for alarm in now["alarms"]),
        started=dict(
            Counter(line["alarm"].partition("/")[0] for night in nights for line in night["alarms"]["started"])
        ),
        fault="; ".join(faults) or None,
        held=heat is not None and bool(heat["hold_left_s"]),
        has_mat=enclosure.mat is not None,
        in_band_share=_in_band(nights),
        refused_share=_refused(nights),
        holds_room_c=_holds_room_c(settings, enclosure, nights),
        changed=_changed(documents, enclosure.id),
        operations=worn if heat is None else max(heat["operations"], worn or 0),
        rated=None if enclosure.mat is None else enclosure.mat.rated_operations,
        operations_per_day=pace,
        due=tuple(due),
    )


def _in_band(nights: Sequence[Mapping[str, Any]]) -> float | None:
    """Weighted by the time that was read."""
    inside = [night["inside"] for night in nights]
    read_s = sum(each["below_s"] + each["in_band_s"] + each["above_s"] for each in inside)
    return sum(each["in_band_s"] for each in inside) / read_s if read_s else None


def _refused(nights: Sequence[Mapping[str, Any]]) -> float | None:
    """The worst probe's share of what was due, over all nights; None where no digest has counted what was due."""
    lost: Counter[str] = Counter()
    due: Counter[str] = Counter()
    for night in nights:
        for each in night["unread"]:
            lost[each["probe"]] += each["missing"] + each["doubtful"]
            due[each["probe"]] += each.get("due") or 0
    shares = [lost[probe] / n for probe, n in due.items() if n]
    return max(shares, default=0.0 if nights else None)


def _changed(documents: Sequence[Mapping[str, Any]], enclosure: str) -> str | None:
    """What the last digest says has become of a commissioned tub."""
    last = documents[-1].get("drift", []) if documents else []
    return next((str(each["cause"]) for each in last if each["tub"] == enclosure and each["told"]), None)


def _holds_room_c(settings: Settings, enclosure: Enclosure, nights: Sequence[Mapping[str, Any]]) -> float | None:
    """The coldest room that the mat holds: the warmer one of what two ways of knowing say.

    As it was commissioned, at the cautious end of the interval; and as the coldest night that could tell says: its room
    less what was spare.
    """
    holds = holds_of(settings.store.directory, enclosure.id)
    found = [] if holds is None else [holds.high_c + enclosure.band.low_c - holds.inside_c]
    told = [
        (reserve["room_c"], reserve["room_c"] - reserve["spare_k"])
        for night in nights
        if night["heat"] is not None
        and (reserve := night["heat"].get("reserve")) is not None
        and reserve["spare_k"] is not None
    ]
    found += [min(told)[1]] if told else []
    return max(found, default=None)


def _wear(documents: Sequence[Mapping[str, Any]], enclosure: str) -> tuple[float | None, int | None]:
    """Operations a day in these nights, and in all."""
    operations, lasts_s, worn = 0, 0.0, None
    for document in documents:
        for each in document["enclosures"]:
            if each["id"] == enclosure and each["heat"] is not None:
                operations += each["heat"]["operations"]
                lasts_s += document["lasts_s"]
                relay = each["heat"].get("relay")
                worn = worn if relay is None else relay["operations"]
    return (operations * _DAY_S / lasts_s if lasts_s else None), worn


def _coldest_room_c(settings: Settings, recorded: Recorded) -> float | None:
    """Of every digest there is: they are kept for ever."""
    found = []
    for day in recorded.digest_dates():
        kept = recorded.digest(day)
        room = None if kept is None else kept.document.get("room")
        if room is not None and room.get("lowest") is not None:
            found.append(float(room["lowest"]["value_c"]))
    return min(found, default=None)


def _pushes(settings: Settings, recorded: Recorded, now_wall_s: float) -> dict[str, float | None]:
    """How long ago each target last took one: an alarm, a digest, or a test."""
    if settings.push is None:
        return {}
    taken: dict[str, float] = {}
    for push in newest_pushes(settings.store.directory, _PUSHES):
        for each in push.deliveries:
            if each.delivered_wall_s is not None:
                taken[each.target] = max(taken.get(each.target, 0.0), each.delivered_wall_s)
    for deed in recorded.deeds():
        if deed.verb == PUSH_TESTED and deed.ok:
            taken[deed.target] = max(taken.get(deed.target, 0.0), deed.wall_s)
    names = [target.name for target in settings.push.targets]
    return {name: max(0.0, now_wall_s - taken[name]) if name in taken else None for name in names}


def _free_mb(directory: Path) -> float | None:
    try:
        return free_bytes(directory) / _MB
    except OSError:
        return None


def _mb_per_day(directory: Path, recorded: Recorded) -> float | None:
    dates = recorded.digest_dates()
    first = recorded.digest(dates[0]) if dates else None
    seen_s = recorded.last_seen()
    try:
        size = (directory / DATABASE).stat().st_size
    except OSError:
        return None
    if first is None or seen_s is None:
        return None
    spans_s = seen_s - parse_rfc3339(first.document["from"])
    return size / _MB / (spans_s / _DAY_S) if spans_s > 0.0 else None


def _clock_right(machine: Path) -> bool | None:
    if (machine / "run/systemd/timesync/synchronized").exists():
        return True
    try:
        told = subprocess.run(
            ["timedatectl", "show", "--value", "-p", "NTPSynchronized"],
            capture_output=True,
            text=True,
            timeout=5.0,
            check=False,
        ).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        return None
    return told == "yes" if told in ("yes", "no") else None
