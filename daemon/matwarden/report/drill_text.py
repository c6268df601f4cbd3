"""What a drill says: the timeline of one fault, and the table of all of them."""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from matwarden.core.drill_outcome import HOT_C, Outcome, Outlook, Peak
from matwarden.core.units import duration_text, rfc3339_z, temperature_text, temperature_value
from matwarden.drill import Drilled
from matwarden.report.units import local_day_and_clock
from matwarden.terms import AlarmState, Enclosure, Reason, Unit

__all__ = ["drill_document", "drill_text", "field_text", "table_text", "timeline"]

_WIDTH = 100
_TIME_WIDTH = 10
# What a healthy tub's guard goes through round after round.
_RHYTHM = frozenset(
    {
        Reason.PROVING,
        Reason.LIMITER,
        Reason.WARM_ENOUGH,
        Reason.RESTING,
        Reason.BELOW_SETPOINT,
        Reason.COASTING,
        Reason.MINIMUM_ON,
    }
)
# The same thing is shown so often; after that it is counted.
_SHOWN_N = 3
_OUTLOOKS = {
    Outlook.WELL: "survivable: never out of its band for an hour",
    Outlook.COLD: "survivable for a day, cold",
    Outlook.WARM: "survivable for a day, warm",
    Outlook.HOT: "NOT survivable",
}


class _Line(NamedTuple):
    after_s: float
    kind: str
    text: str


def drill_text(
    drilled: Drilled, enclosure: Enclosure, head: Sequence[str], others: Sequence[Drilled], unit: Unit, zone: ZoneInfo
) -> str:
    """One fault.

    Args:
        head: which tub and which room, a line each.
        others: the same, and on tubs at both ends of what is known of this one; none where nothing is estimated.
    """
    outcome = drilled.outcome
    at = local_day_and_clock(drilled.struck_wall_s, zone)
    struck = f" ({drilled.struck})" if drilled.struck else ""
    shown, left_n = timeline(drilled)
    heat = "" if enclosure.mat is None else ", with the mat on" if drilled.heated else "; the mat is never on then"
    lines = [
        f"Drill of {enclosure.name}: {drilled.case.name}{struck}.",
        "Simulated: no probe was read, no mat was switched, nobody was told.",
        "",
        *head,
        field_text("fault", f"at {at}{heat}"),
        "",
        *(_wrapped(_after(each.after_s), each.kind, each.text) for each in shown),
        *([f"{' ' * _TIME_WIDTH}({left_n} more of the same kinds; --json has them)"] if left_n else []),
        "",
        field_text("phone", _phone(drilled, others)),
        field_text(
            "wall",
            f"{_peak('peak', outcome.wall, unit, _ends(others, 'wall', unit))}{_was_read(drilled, enclosure, unit)}",
        ),
        field_text(
            "inside",
            f"{_peak('peak', outcome.inside, unit, _ends(others, 'inside', unit))}, "
            f"{_peak('lowest', outcome.lowest, unit, _ends(others, 'lowest', unit))}",
        ),
        field_text("ends", _ending(drilled, enclosure, unit)),
        field_text("verdict", _verdict(outcome, unit)),
    ]
    return "\n".join(lines)


def table_text(rows: Sequence[Drilled], enclosure: Enclosure, head: Sequence[str], unit: Unit) -> str:
    """One row a fault."""
    cells = [["fault", "told after", "by", "wall", "inside", "lowest", "verdict"]]
    for row in rows:
        told, outcome = row.told, row.outcome
        cells.append(
            [
                row.case.name,
                "-" if told is None else duration_text(told.t_s - row.struck_s),
                "nobody is told" if told is None else told.title.removeprefix(f"{enclosure.name}: "),
                *(f"{temperature_value(c, unit):.1f}" for c in (outcome.wall[0], outcome.inside[0], outcome.lowest[0])),
                outcome.outlook.value,
            ]
        )
    widths = [max(len(line[column]) for line in cells) for column in range(len(cells[0]))]
    numbers = {3, 4, 5}
    table = [
        "  ".join(
            text.rjust(width) if column in numbers else text.ljust(width)
            for column, (text, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in cells
    ]
    hours = duration_text(rows[0].ends_s - rows[0].struck_s) if rows else ""
    lines = [
        f"Drills of {enclosure.name}: one row a fault, {hours} after it, nobody comes.",
        "Simulated: no probe was read, no mat was switched, nobody was told.",
        "",
        *head,
        "",
        *table,
        "",
        *textwrap.wrap(
            f"wall, inside: the hottest the tub truly came to, lowest: the coldest inside, °{unit.value}. told after: "
            "the first push after the fault, of whatever kind. NOT survivable: inside over "
            f"{temperature_text(HOT_C, unit)} for an hour or more; warm, cold: out of its band for an hour or more. "
            "Cold of a day is borne, a steady one is not (common practice, no source). Any fault by its id: "
            f"matwarden drill {enclosure.id} --fault ID, one of {', '.join(row.case.id for row in rows)}.",
            _WIDTH,
            break_on_hyphens=False,
        ),
    ]
    return "\n".join(lines)


def drill_document(drilled: Drilled, enclosure: Enclosure, others: Sequence[Drilled]) -> dict[str, Any]:
    """For scripts: SI units in the names, times in seconds after the fault, all that happened."""
    outcome, at_s, told = drilled.outcome, drilled.struck_s, drilled.told

    def peak(name: str) -> dict[str, Any]:
        found: Peak = getattr(outcome, name)
        ends = sorted(getattr(each.outcome, name).value_c for each in others)
        interval = [round(ends[0], 2), round(ends[-1], 2)] if ends else None
        return {"value_c": round(found.value_c, 2), "interval_c": interval, "after_s": round(found.after_s, 1)}

    return {
        "enclosure": enclosure.id,
        "fault": drilled.case.id,
        "name": drilled.case.name,
        "probe": drilled.struck or None,
        "struck_at": rfc3339_z(drilled.struck_wall_s),
        "mat_was_on": drilled.heated,
        "watched_s": round(drilled.ends_s - at_s, 1),
        "told_after_s": None if told is None else round(told.t_s - at_s, 1),
        "told_title": None if told is None else told.title,
        "highest_wall": peak("wall"),
        "highest_inside": peak("inside"),
        "lowest_inside": peak("lowest"),
        "cold_s": round(outcome.cold_s, 1),
        "warm_s": round(outcome.warm_s, 1),
        "hot_s": round(outcome.hot_s, 1),
        "survivable": outcome.outlook is not Outlook.HOT,
        "outlook": outcome.outlook.value,
        "pushes": [
            {
                "after_s": round(push.t_s - at_s, 1),
                "targets": list(push.targets),
                "priority": push.priority,
                "title": push.title,
                "body": push.body,
            }
            for push in drilled.pushes
            if push.t_s >= at_s
        ],
        "verdicts": [
            {
                "after_s": round(change.at.mono_s - at_s, 1),
                "allowed": change.verdict.allowed,
                "reason": change.verdict.reason.value,
                "sentence": change.sentence,
            }
            for change in drilled.verdicts
            if change.at.mono_s >= at_s
        ],
        "alarms": [
            {
                "after_s": round(change.at.mono_s - at_s, 1),
                "alarm": change.alarm,
                "state": change.state.value,
                "text": change.text,
            }
            for change in drilled.alarms
            if change.at.mono_s >= at_s
        ],
    }


def _after(seconds_s: float) -> str:
    """A time after the fault: "+0:12:10"."""
    whole_s = round(seconds_s)
    return f"+{whole_s // 3600}:{whole_s // 60 % 60:02d}:{whole_s % 60:02d}"


def timeline(drilled: Drilled) -> tuple[list[_Line], int]:
    """What happened after the fault, in order; and how much is left out: the same thing is told only so often."""
    lines = [_Line(0.0, "fault", drilled.case.name), *_heat(drilled), *_alarms(drilled), *_pushes(drilled)]
    lines += [
        _Line(notice.at.mono_s - drilled.struck_s, "log", notice.text)
        for notice in drilled.warnings
        if notice.at.mono_s >= drilled.struck_s
    ]
    seen: Counter[tuple[str, str]] = Counter()
    kept: list[_Line] = []
    for line in sorted(lines, key=lambda line: line.after_s):
        what = (line.kind, re.sub(r"[\d.]+", "#", line.text.partition("\n")[0].partition(" (")[0]))
        seen[what] += 1
        if seen[what] <= _SHOWN_N:
            kept.append(line)
    return kept, len(lines) - len(kept)


def _heat(drilled: Drilled) -> Iterator[_Line]:
    """Where the guard leaves its rhythm, why, and where it comes back to it."""
    in_rhythm = True
    before: Reason | None = None
    for change in drilled.verdicts:
        reason, after_s = change.verdict.reason, change.at.mono_s - drilled.struck_s
        routine = reason in _RHYTHM
        if after_s >= 0.0 and (not routine or not in_rhythm) and reason is not before:
            yield _Line(after_s, "heat", change.sentence)
        in_rhythm, before = routine, reason


def _alarms(drilled: Drilled) -> Iterator[_Line]:
    """Alarms that were not pushed."""
    pushed = [(push.t_s, push.body) for push in drilled.pushes]
    for change in drilled.alarms:
        at_s = change.at.mono_s
        if at_s < drilled.struck_s or AlarmState.SUPPRESSED in (change.previous, change.state):
            continue
        if not any(abs(t_s - at_s) <= 60.0 and change.text in body for t_s, body in pushed):
            yield _Line(at_s - drilled.struck_s, "alarm", f"{change.alarm} is now {change.state.value}: {change.text}")


def _pushes(drilled: Drilled) -> Iterator[_Line]:
    for push in drilled.pushes:
        if push.t_s >= drilled.struck_s:
            to = ", ".join(push.targets)
            yield _Line(push.t_s - drilled.struck_s, "RINGS", f"{push.title}\n{push.body} [{to}, {push.priority}]")


def _phone(drilled: Drilled, others: Sequence[Drilled]) -> str:
    told = drilled.told
    silent = any(each.told is None for each in others)
    if told is None:
        return "never rings: nobody is told" + ("" if silent or not others else "; on a tub only little else it does")
    later_n = sum(push.t_s > told.t_s for push in drilled.pushes)
    more = f"; {later_n} more pushes after it" if later_n > 1 else "; one more push after it" if later_n else ""
    times = sorted(each.told.t_s - each.struck_s for each in others if each.told is not None)
    between = f" ({duration_text(times[0])} to {duration_text(times[-1])})" if times else ""
    perhaps = "; on a tub only little else it never does" if silent else ""
    return f"rings after {duration_text(told.t_s - drilled.struck_s)}{between}: {told.title}{more}{perhaps}"


def _peak(word: str, peak: Peak, unit: Unit, ends: str) -> str:
    return f"{word} {temperature_text(peak.value_c, unit)}{ends} after {duration_text(peak.after_s)}"


def _ends(others: Sequence[Drilled], name: str, unit: Unit) -> str:
    """The interval of a peak, where the tub is an estimate."""
    if not others:
        return ""
    values = sorted(temperature_value(getattr(each.outcome, name).value_c, unit) for each in others)
    return f" ({values[0]:.1f} to {values[-1]:.1f})"


def _was_read(drilled: Drilled, enclosure: Enclosure, unit: Unit) -> str:
    """What the wall probes said meanwhile, where that is another thing."""
    highest_c = max(
        (
            value_c
            for probe in enclosure.probes
            if probe.role.value == "wall"
            for t_s, value_c in drilled.read.get(probe.id, [])
            if t_s >= drilled.struck_s
        ),
        default=None,
    )
    if highest_c is None:
        return "; it was not read" if any(probe.role.value == "wall" for probe in enclosure.probes) else ""
    if abs(highest_c - drilled.outcome.wall.value_c) < 0.5:
        return ""
    return f"; the most that was read of it is {temperature_text(highest_c, unit)}"


def _ending(drilled: Drilled, enclosure: Enclosure, unit: Unit) -> str:
    last = drilled.looks[-1]
    told = [f"after {duration_text(drilled.ends_s - drilled.struck_s)}: inside {temperature_text(last.inside_c, unit)}"]
    told[0] += f", wall {temperature_text(last.wall_c, unit)}"
    if enclosure.mat is not None:
        told.append("the mat has power" if last.powered else "the mat has no power")
    if drilled.verdicts:
        last_verdict = drilled.verdicts[-1]
        since_s = last_verdict.at.mono_s - drilled.struck_s
        since = f"since {_after(since_s)} " if since_s > 0.0 else "as before the fault "
        told.append(since + last_verdict.sentence.rstrip("."))
    states: dict[str, AlarmState] = {change.alarm: change.state for change in drilled.alarms}
    quiet = (AlarmState.NORMAL, AlarmState.SUPPRESSED)
    standing = [alarm for alarm, state in states.items() if state not in quiet]
    told.append(f"alarms not over: {', '.join(standing)}" if standing else "no alarm stands")
    return "; ".join(told)


def _verdict(outcome: Outcome, unit: Unit) -> str:
    told = [_OUTLOOKS[outcome.outlook]]
    for spell_s, where in (
        (outcome.hot_s, f"over {temperature_text(HOT_C, unit)}"),
        (outcome.warm_s, "over its band"),
        (outcome.cold_s, "under its band"),
    ):
        if spell_s >= 60.0:
            told.append(f"inside {where} for {duration_text(spell_s)} on end")
    if outcome.powered_past_s:
        told.append(f"heated past the wall's limiter for {duration_text(outcome.powered_past_s)}")
    return "; ".join(told)


def field_text(name: str, text: str) -> str:
    """A word, and behind it what there is to say of it."""
    return textwrap.fill(
        text,
        _WIDTH,
        initial_indent=f"{name:<{_TIME_WIDTH}}",
        subsequent_indent=" " * _TIME_WIDTH,
        break_on_hyphens=False,
    )


def _wrapped(time: str, kind: str, text: str) -> str:
    indent = " " * (_TIME_WIDTH + 7)
    first, *rest = text.split("\n")
    parts = [
        textwrap.fill(
            first,
            _WIDTH,
            initial_indent=f"{time:<{_TIME_WIDTH}}{kind:<7}",
            subsequent_indent=indent,
            break_on_hyphens=False,
        )
    ]
    parts += [
        textwrap.fill(each, _WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
        for each in rest
    ]
    return "\n".join(parts)
