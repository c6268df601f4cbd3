"""The alarms of the last days and how good they were: from the record, for the digest and for `matwarden alarms`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matwarden.core.alarm_quality import DAYS, AlarmQuality, Spell, alarm_quality
from matwarden.core.alarm_table import (
    ALARMS,
    CLOCK_STEPPED,
    CUT_OUT,
    PEER_ALARMS,
    POWER_LOST,
    RELAY_FAULT,
    STORAGE_FAILING,
)
from matwarden.core.units import rfc3339_z
from matwarden.settings.resolved import Settings
from matwarden.sinks.store_alarms import AlarmHistory
from matwarden.sinks.store_read import Deed, Recorded
from matwarden.terms import AlarmState

__all__ = ["deeds_of", "history_of", "history_document", "quality_document", "quality_of", "recorded_alarms"]

DAY_S = 86_400.0
# These come of an event, not of a poll.
_OF_NO_POLL = frozenset(
    spec.condition for spec in (CUT_OUT, RELAY_FAULT, STORAGE_FAILING, CLOCK_STEPPED, POWER_LOST, *PEER_ALARMS)
)
_ACKNOWLEDGED = {
    AlarmState.ACKNOWLEDGED: True,
    AlarmState.LATCHED_ACKNOWLEDGED: True,
    AlarmState.UNACKNOWLEDGED: False,
    AlarmState.RETURNED_UNACKNOWLEDGED: False,
    AlarmState.LATCHED_UNACKNOWLEDGED: False,
}


def history_of(settings: Settings, days: float = DAYS) -> AlarmHistory:
    """What is recorded of the last `days` days.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    return Recorded(settings.store.directory).alarm_history(days * DAY_S)


def deeds_of(settings: Settings, history: AlarmHistory) -> list[Deed]:
    """What persons did in the time of a history, by the wall clock.

    Raises:
        StoreError: the record cannot be read.
    """
    return Recorded(settings.store.directory).deeds(history.end_wall_s - history.covers_s)


def quality_of(history: AlarmHistory, settings: Settings) -> AlarmQuality:
    """Its figures."""
    polls: dict[str, float] = {}
    for probe in settings.room_probes:
        polls[probe.id] = probe.poll_s
    for enclosure in settings.enclosures:
        polls[enclosure.id] = max((probe.poll_s for probe in enclosure.probes), default=0.0)
        polls |= {probe.id: probe.poll_s for probe in enclosure.probes}
    slowest_s = max(polls.values(), default=0.0)

    def poll_s(alarm: str) -> float | None:
        condition, _, subject = alarm.partition("/")
        return None if condition in _OF_NO_POLL else polls.get(subject, slowest_s)

    return alarm_quality(
        (*history.before, *history.lines),
        history.end_s,
        history.covers_s,
        poll_s,
        history.push_delays_s,
        history.lost_n,
        history.waiting_n,
    )


def quality_document(quality: AlarmQuality) -> dict[str, Any]:
    """The figures as JSON-able values; None for what is not known."""
    unseen = quality.longest_unacknowledged
    return {
        "covers_s": round(quality.covers_s),
        "count": quality.count,
        "per_day": None if quality.per_day is None else round(quality.per_day, 3),
        "chattering": [{"alarm": alarm, "activations": n} for alarm, n in quality.chattering],
        "stale": [_spell(spell) for spell in quality.stale],
        "most_frequent": [{"alarm": alarm, "count": n} for alarm, n in quality.most_frequent[:10]],
        "longest_unacknowledged": None if unseen is None else _spell(unseen),
        "pushes": {
            "told": quality.delay.told_n,
            "lost": quality.delay.lost_n,
            "waiting": quality.delay.waiting_n,
            "median_s": _rounded(quality.delay.median_s),
            "worst_s": _rounded(quality.delay.worst_s),
        },
    }


def history_document(history: AlarmHistory, quality: AlarmQuality, deeds: Sequence[Deed]) -> dict[str, Any]:
    """Every transition, oldest first, what persons did, and the figures."""
    return {
        "from": rfc3339_z(history.end_wall_s - history.covers_s),
        "to": rfc3339_z(history.end_wall_s),
        "transitions": [
            {
                "at": rfc3339_z(line.wall_s),
                "alarm": line.alarm,
                "enclosure": line.enclosure,
                "previous": line.previous.value,
                "state": line.state.value,
                "active_s": round(line.active_s),
                "text": line.text,
            }
            for line in history.lines
        ],
        "deeds": [
            {
                "at": rfc3339_z(deed.wall_s),
                "by": deed.by,
                "verb": deed.verb,
                "target": deed.target,
                "ok": deed.ok,
                "text": deed.text,
            }
            for deed in deeds
        ],
        "quality": quality_document(quality),
    }


def _spell(spell: Spell) -> dict[str, Any]:
    return {"alarm": spell.alarm, "lasts_s": round(spell.lasts_s), "standing": spell.standing}


def _rounded(seconds_s: float | None) -> float | None:
    return None if seconds_s is None else round(seconds_s, 3)


def recorded_alarms(settings: Settings, now_wall_s: float) -> dict[str, Any]:
    """The last known alarms, when nothing runs, in the shape of the running station's own list.

    What only the station knows (how long a shelf still lasts, whether a hidden alarm was acknowledged) is None.

    Raises:
        StoreError: there is no record, or it cannot be read.
    """
    recorded = Recorded(settings.store.directory)
    seen_s = recorded.last_seen()
    names = {enclosure.id: enclosure.name for enclosure in settings.enclosures}
    specs = {spec.condition: spec for spec in ALARMS}
    alarms = []
    for line in recorded.active_alarms():
        spec = specs.get(line.alarm.partition("/")[0])
        alarms.append(
            {
                "id": line.alarm,
                "enclosure": line.enclosure,
                "name": names.get(line.enclosure or "", settings.house_name),
                "title": "" if spec is None else spec.title,
                "state": line.state.value,
                "priority": None if spec is None else spec.priority.value,
                "active_s": round(line.active_s),
                "acknowledged": _ACKNOWLEDGED.get(line.state),
                "shelved_left_s": None,
                "one_shot": None,
                "text": line.text,
                "since": rfc3339_z(line.wall_s),
            }
        )
    at = None if seen_s is None else rfc3339_z(seen_s)
    age_s = None if seen_s is None else round(max(0.0, now_wall_s - seen_s))
    return {"running": False, "at": at, "age_s": age_s, "alarms": alarms}
