"""The table of all alarms as a keeper reads it: in the README, on a terminal of 80 columns, and as JSON.

`python -m matwarden.report.alarm_table_text README.md` writes the README's table anew between its two marks.
"""

from __future__ import annotations

import re
import sys
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from matwarden.core.alarm_table import ALARMS, delays, inverse_of
from matwarden.core.alarms import AlarmSpec
from matwarden.core.units import difference_text, duration_text, temperature_text
from matwarden.terms import AlarmState, AlarmTimes, Enclosure, Priority, Unit

__all__ = ["BEGIN", "END", "markdown", "table_document", "table_text", "with_table"]

BEGIN = "<!-- alarms: written by `make alarms`, do not edit -->"
END = "<!-- /alarms -->"

_WIDTH = 80


def table_document(times: AlarmTimes, tubs: Sequence[Enclosure] = ()) -> dict[str, Any]:
    """Everything about every alarm, and what the tubs have of their own. SI units in the key names, None: never."""
    return {
        "states": [state.value for state in AlarmState],
        "alarms": [_document(spec, times) for spec in ALARMS],
        "tubs": [
            {
                "id": tub.id,
                "name": tub.name,
                "band_low_c": tub.band.low_c,
                "band_high_c": tub.band.high_c,
                "deadband_k": tub.alarms.deadband_k,
                "delays_s": {spec.condition: list(delays(spec, tub.alarms)) for spec in ALARMS},
            }
            for tub in tubs
        ],
    }


def table_text(document: Mapping[str, Any], unit: Unit) -> str:
    """All alarms on a terminal of 80 columns, and below them what each tub has of its own.

    Args:
        document: as `table_document` makes it.
    """
    lines: list[str] = []
    for alarm in document["alarms"]:
        lines.append(f"{alarm['alarm']}: {alarm['title']}  [{alarm['priority']}]")
        for word, text in _facts(alarm, unit):
            lines += _wrapped(word, text)
    if document["tubs"]:
        lines.append("Tubs")
    for tub in document["tubs"]:
        low, high = (temperature_text(tub[key], unit) for key in ("band_low_c", "band_high_c"))
        text = f"cold at or under {low}, hot at or over {high}, deadband {difference_text(tub['deadband_k'], unit)}"
        own = [
            f"{alarm['alarm']} {_delay(*tub['delays_s'][alarm['alarm']])}"
            for alarm in document["alarms"]
            if tub["delays_s"][alarm["alarm"]] != [alarm["on_delay_s"], alarm["off_delay_s"]]
        ]
        lines += _wrapped(tub["name"], "; ".join([text, *own]))
    return "\n".join(lines)


def markdown(times: AlarmTimes) -> str:
    """The README's table; delays are those of a file that says nothing about them."""
    rows = [
        "| alarm | sets when | after | ends | priority | pushed | if nobody acts | what to do |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for spec in ALARMS:
        on_s, off_s = delays(spec, times)
        ends = _ends(spec, off_s)
        pushed = "start and return" if spec.pushes_return else "start"
        cells = (f"`{spec.condition}`", _as_code(spec.limit), _time(on_s), ends, spec.priority.value, pushed)
        rows.append(f"| {' | '.join((*cells, spec.consequence, spec.response))} |")
    return "\n".join(rows)


def with_table(readme: str, times: AlarmTimes) -> str:
    """The README with its table written anew.

    Raises:
        ValueError: the two marks are not there, once each and in order.
    """
    before, begin, rest = readme.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end or BEGIN in after or END in after:
        raise ValueError(f"the table belongs between one line {BEGIN} and one line {END}")
    return f"{before}{BEGIN}\n{markdown(times)}\n{END}{after}"


def _document(spec: AlarmSpec, times: AlarmTimes) -> dict[str, Any]:
    on_s, off_s = delays(spec, times)
    inverse = inverse_of(spec, times)
    high = spec.priority is Priority.HIGH
    return {
        "alarm": spec.condition,
        "title": spec.title,
        "limit": spec.limit,
        "deadband": spec.deadband,
        "on_delay_s": on_s,
        "off_delay_s": off_s,
        "inverse_time": None
        if inverse is None
        else {
            "pickup_k": inverse.pickup_k,
            "k_s": inverse.k_s,
            "c_s": inverse.c_s,
            "alpha": inverse.alpha,
            "reset_s": inverse.reset_s,
        },
        "re_alarm_s": times.re_alarm_s,
        "ring_again_s": times.ring_again_s if high else None,
        "second_after_s": times.second_after_s if high else None,
        "priority": spec.priority.value,
        "latching": spec.latching,
        "needs_acknowledgement": not spec.auto_acknowledge_on_return,
        "consequence": spec.consequence,
        "response": spec.response,
        "pushes_start": spec.pushes_start,
        "pushes_return": spec.pushes_return,
    }


def _facts(alarm: Mapping[str, Any], unit: Unit) -> list[tuple[str, str]]:
    again = [
        f"{what} after {duration_text(alarm[key])}"
        for key, what in (
            ("ring_again_s", "rings again unacknowledged"),
            ("second_after_s", "calls the second targets"),
            ("re_alarm_s", "anew when acknowledged"),
        )
        if alarm[key] is not None
    ]
    curve = alarm["inverse_time"]
    sooner = "" if curve is None else f"; sooner from {difference_text(curve['pickup_k'], unit)} out, by the curve"
    stays = _stays(alarm["latching"], alarm["needs_acknowledgement"])
    return [
        ("sets", alarm["limit"]),
        ("ends", alarm["deadband"] + stays),
        ("delays", _delay(alarm["on_delay_s"], alarm["off_delay_s"]) + sooner),
        ("re-alarm", ", ".join(again) or "never"),
        ("if not", alarm["consequence"]),
        ("do", alarm["response"]),
    ]


def _delay(on_s: float, off_s: float) -> str:
    return f"on {_time(on_s)}, off {_time(off_s)}"


def _time(seconds_s: float) -> str:
    return duration_text(seconds_s) if seconds_s else "at once"


def _ends(spec: AlarmSpec, off_s: float) -> str:
    after = f", for {duration_text(off_s)}" if off_s else ""
    return f"{spec.deadband}{after}{_stays(spec.latching, not spec.auto_acknowledge_on_return)}"


def _stays(latching: bool, needs_acknowledgement: bool) -> str:
    """What is shown of it after that."""
    if latching:
        return "; shown until it is reset at the shelf"
    return "; shown until it is acknowledged" if needs_acknowledgement else ""


def _as_code(sentence: str) -> str:
    """Keys of the settings file stand out."""
    return re.sub(r"\b[a-z]+(_[a-z]+)+\b", r"`\g<0>`", sentence)


def _wrapped(word: str, text: str) -> list[str]:
    joined = text.replace(" °", "\u00a0°").replace(" %", "\u00a0%")
    first = f"  {word:9}" if len(word) < 9 else f"  {word}: "
    lines = textwrap.wrap(
        joined, _WIDTH, initial_indent=first, subsequent_indent=" " * 11, break_on_hyphens=False, break_long_words=False
    )
    return [line.replace("\u00a0", " ") for line in lines]


if __name__ == "__main__":
    from matwarden.settings.alarm_times import HOUSE_TIMES

    for name in sys.argv[1:]:
        Path(name).write_text(with_table(Path(name).read_text(encoding="utf-8"), HOUSE_TIMES), encoding="utf-8")
