"""The list of alarms and their history on a terminal of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.report.units import duration_text, local_day_and_clock, parse_rfc3339
from matwarden.terms import AlarmState

__all__ = ["history_text", "list_text"]

_WIDTH = 80
_S = AlarmState
# What a state asks of the reader.
_MEANS = {
    _S.UNACKNOWLEDGED.value: "on, nobody has seen it",
    _S.ACKNOWLEDGED.value: "on, seen",
    _S.RETURNED_UNACKNOWLEDGED.value: "over, nobody has seen it",
    _S.LATCHED_UNACKNOWLEDGED.value: "over, until it is reset; nobody has seen it",
    _S.LATCHED_ACKNOWLEDGED.value: "over, until it is reset",
    _S.SHELVED.value: "shelved",
    _S.SUPPRESSED.value: "not told: another alarm tells it",
    _S.OUT_OF_SERVICE.value: "out of service",
}


def list_text(document: Mapping[str, Any], zone: ZoneInfo) -> str:
    """All lines.

    Args:
        document: `running`, `alarms`; when nothing runs `at` and `age_s` of what was last recorded.
    """
    alarms = document["alarms"]
    count = f"{len(alarms) or 'no'} alarm{'' if len(alarms) == 1 else 's'} to show"
    if document["running"]:
        lines = [count[0].upper() + count[1:]]
    elif document["at"] is None:
        lines = ["NOT RUNNING, and nothing was ever recorded"]
    else:
        seen = local_day_and_clock(parse_rfc3339(document["at"]), zone)
        lines = _wrapped(f"NOT RUNNING, last recorded {duration_text(document['age_s'])} ago ({seen}): {count}", "")
    for alarm in alarms:
        since = local_day_and_clock(parse_rfc3339(alarm["since"]), zone)
        left_s = alarm["shelved_left_s"]
        means = _MEANS.get(alarm["state"], alarm["state"])
        if left_s is not None:
            means += f" for {duration_text(left_s)} more"
        elif alarm["one_shot"]:
            means += " until it is over"
        priority = f", {alarm['priority']}" if alarm["priority"] else ""
        lines += _wrapped(f"{alarm['id']}: {means} (since {since}{priority})", "")
        lines += _wrapped(alarm["text"], "  ")
    return "\n".join(lines)


def history_text(document: Mapping[str, Any], figures: Sequence[str], zone: ZoneInfo) -> str:
    """Every transition and what persons did, by the wall clock as it was then; after them the figures."""
    since, until = (local_day_and_clock(parse_rfc3339(document[key]), zone) for key in ("from", "to"))
    lines = [f"{since} to {until} ({zone.key})"]
    told = [
        *((each["at"], f"{each['by']}: {_deed(each)}") for each in document["deeds"]),
        *((e["at"], f"{e['alarm']}  {e['previous']} -> {e['state']}") for e in document["transitions"]),
    ]
    for at, text in sorted(told, key=lambda each: each[0]):
        lines += _wrapped(f"{local_day_and_clock(parse_rfc3339(at), zone):12}  {text}", "")
    for figure in figures:
        lines += _wrapped(figure, "")
    return "\n".join(lines)


def _deed(deed: Mapping[str, Any]) -> str:
    return f"{deed['verb']} {deed['target']}" + ("" if deed["ok"] else f", refused: {deed['text']}")


def _wrapped(text: str, indent: str) -> list[str]:
    joined = text.replace(" °", "\u00a0°").replace(" %", "\u00a0%")
    lines = textwrap.wrap(
        joined,
        _WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "    ",
        break_on_hyphens=False,
        break_long_words=False,
    )
    return [line.replace("\u00a0", " ") for line in lines]
