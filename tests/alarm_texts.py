"""Every text of every alarm, as a locked phone (40 characters) and a terminal (80 columns) show it.

`python -m alarm_texts FILE` writes them; the committed file is to be looked at whenever it changes.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path

from matwarden.core.alarm_table import (
    ALARMS,
    BLIND_PROBE,
    HOUSE_ALARMS,
    PEER_ALARMS,
    PEER_LOST,
    TOGETHER_ALARMS,
    TOO_DRY,
    UNSTEADY_PROBE,
    delays,
)
from matwarden.core.alarm_words import TITLE_LENGTH, Facts, Push, push, text
from matwarden.core.alarms import AlarmSpec, Change, Worst
from matwarden.core.ringing import Call
from matwarden.core.units import temperature_text
from matwarden.settings.alarm_times import HOUSE_TIMES
from matwarden.terms import AlarmState, Band, Unit

TERMINAL = 80
# 72 to 82 degrees Fahrenheit.
BAND = Band(22.2222, 27.7778)


def why(condition: str, unit: Unit) -> str:
    """In the words of whoever knows (guard, probe, heat watch, house); of cold and heat nothing is known besides."""

    def told(celsius_c: float) -> str:
        return temperature_text(celsius_c, unit)

    return {
        "cut-out": f"{told(31.3)} at the wall",
        "relay-fault": "commanded to cut, reads back as on",
        "blind": "the probe does not answer",
        "blind-probe": "the probe does not answer",
        "unsteady-probe": "12 doubtful readings within the hour",
        "heat-not-arriving": f"wall {told(22.9)}, air {told(22.8)}",
        "heat-while-cut": f"wall {told(29.9)}, air {told(26.0)}",
        "probes-disagree": f"{told(21.3)} and {told(24.1)}",
        "relay-wear": "80000 of 100000 operations",
        "too-dry": "humidity 44 %, VPD 1.8 kPa",
        "cold-together": f"Oak {told(21.0)}, Alder {told(21.4)}, Hazel {told(20.9)}",
        "hot-together": f"Oak {told(30.0)}, Alder {told(29.4)}, Hazel {told(29.6)}",
        "blind-together": "Oak, Alder, Hazel",
        "storage-failing": "the disk is full",
        "clock-stepped": "forward by 1 h",
        "power-lost": "from about 22:00 to 06:30",
        "peer-lost": "its connection broke",
        "peer-silent": "none for 15 min",
        "no-digest": "none for 26 h",
    }.get(condition, "")


def texts_of(spec: AlarmSpec, tub: str, probe: str, unit: Unit) -> Iterator[tuple[str, Push | None, str]]:
    """Moment, push (None: the phone is not told) and sentence: start, again, second targets, return."""
    band = None if spec in (*HOUSE_ALARMS, *PEER_ALARMS) else BAND
    worst = {Worst.LOWEST: 20.9, Worst.HIGHEST: 30.0, None: None}[spec.worst]
    has_now = spec.worst is not None or spec in (BLIND_PROBE, TOO_DRY, UNSTEADY_PROBE)
    now_c = {Worst.LOWEST: 21.3, Worst.HIGHEST: 29.4, None: 23.4}[spec.worst] if has_now else None
    how_many = "17 of 20" if spec in TOGETHER_ALARMS else "lost" if spec is PEER_LOST else ""
    facts = Facts(tub, unit, band, now_c, probe, why(spec.condition, unit), how_many)
    lasted_s = delays(spec, HOUSE_TIMES)[0]
    for call, name, waited_s in (
        (Call.FIRST, "start", 0.0),
        (Call.AGAIN, "again", 900.0),
        (Call.SECOND, "second", 1800.0),
    ):
        if call is Call.FIRST or spec.priority.value == "high":
            change = Change(AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, lasted_s + waited_s, worst)
            yield name, push(spec, change, facts, call, waited_s), text(spec, change, facts)
    after = AlarmState.NORMAL if spec.auto_acknowledge_on_return else AlarmState.RETURNED_UNACKNOWLEDGED
    after = AlarmState.LATCHED_UNACKNOWLEDGED if spec.latching else after
    change = Change(AlarmState.UNACKNOWLEDGED, after, lasted_s + 15_000.0, worst)
    over = facts._replace(now_c=23.4 if has_now else None, why="")
    yield "return", push(spec, change, over), text(spec, change, over)


NAMES = (
    ("Oak", "oak-air", Unit.C),
    ("Hazel, lower shelf, left side", "hazel-moist-side-air", Unit.F),
)
"""A short tub and a long one, whose probe's id is long too: longer ones are not sensible on a label."""
HOUSES = ("Shelf", "School, upstairs back room")


def all_texts() -> str:
    """The file."""
    lines = []
    for spec in ALARMS:
        lines.append(f"=== {spec.condition} ({spec.priority.value})")
        for (tub, probe, unit), house in zip(NAMES, HOUSES, strict=True):
            for moment, told, sentence in texts_of(
                spec, house if spec in (*HOUSE_ALARMS, *PEER_ALARMS) else tub, probe, unit
            ):
                lines.append(f"--- {moment}, {unit.value}")
                if told is None:
                    lines += textwrap.wrap(sentence, TERMINAL, initial_indent="not pushed: ", subsequent_indent="  ")
                    continue
                lines.append(f"|{told.title:{TITLE_LENGTH}}|")
                lines += [f"|{row:{TITLE_LENGTH}}|" for row in textwrap.wrap(told.body, TITLE_LENGTH)]
                if moment in ("start", "return"):
                    lines += textwrap.wrap(sentence, TERMINAL, subsequent_indent="  ")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(all_texts(), encoding="utf-8")
