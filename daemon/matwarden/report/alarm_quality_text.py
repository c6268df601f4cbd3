"""How good the alarms were, in a line or two of the digest, and in full on a terminal of 80 columns."""

from __future__ import annotations

from matwarden.core.alarm_quality import CHATTERING_N, DAYS, AlarmQuality, Spell
from matwarden.core.units import duration_text

__all__ = ["digest_lines", "quality_lines"]

_DAY_S = 86_400.0
# A push that took longer is told in the digest: the phone rang, but late.
_LATE_S = 300.0


def digest_lines(quality: AlarmQuality) -> list[str]:
    """One line of how many; a second one only when some of them were bad alarms, or reached nobody in time."""
    lines = [_count(quality, DAYS)]
    bad = [
        *(f"{alarm} chatters" for alarm, _ in quality.chattering),
        *(f"{spell.alarm} on for {duration_text(spell.lasts_s)}" for spell in quality.stale[:1]),
    ]
    unseen, delay = quality.longest_unacknowledged, quality.delay
    if unseen is not None and unseen.lasts_s > _DAY_S:
        bad.append(f"{unseen.alarm} unacknowledged for {duration_text(unseen.lasts_s)}")
    if delay.worst_s is not None and delay.worst_s > _LATE_S:
        bad.append(f"a push took {duration_text(delay.worst_s)}")
    if delay.lost_n:
        bad.append(f"{delay.lost_n} push{'' if delay.lost_n == 1 else 'es'} never arrived")
    return lines + (["  " + ", ".join(bad)] if bad else [])


def quality_lines(quality: AlarmQuality, days: float = DAYS) -> list[str]:
    """Every figure, also those that are good. `days`: so much was asked for."""
    delay, unseen = quality.delay, quality.longest_unacknowledged
    often = ", ".join(f"{alarm} {n}" for alarm, n in quality.most_frequent[:3])
    chatter = ", ".join(f"{alarm} ({n} times at once)" for alarm, n in quality.chattering)
    if delay.worst_s is None or delay.median_s is None:
        took = "none was delivered"
    else:
        took = f"{delay.told_n}, half of them within {_short(delay.median_s)}, all within {_short(delay.worst_s)}"
    took += "".join(f", {n} {word}" for n, word in ((delay.lost_n, "given up"), (delay.waiting_n, "waiting")) if n)
    return [
        _count(quality, days, often=False) + ("" if quality.per_day is None else f", {quality.per_day:.2g} a day"),
        f"  most frequent   {often or 'none'}",
        f"  chattering      {chatter or 'none'}",
        f"  on over 24 h    {', '.join(map(_spell, quality.stale)) or 'none'}",
        f"  longest unseen  {'none' if unseen is None else _spell(unseen)}",
        f"  pushes          {took}",
    ]


def _count(quality: AlarmQuality, days: float, often: bool = True) -> str:
    many = f"{quality.count or 'No'} alarm{'' if quality.count == 1 else 's'}"
    if quality.covers_s >= days * _DAY_S:
        text = f"{many} in {days:g} days"
    else:
        text = f"{many} in {duration_text(quality.covers_s)}; the record goes back no further"
    if often and quality.count >= CHATTERING_N and quality.most_frequent[0][1] > 1:
        alarm, n = quality.most_frequent[0]
        text += f", most often {alarm} ({n})"
    return text


def _spell(spell: Spell) -> str:
    return f"{spell.alarm} {duration_text(spell.lasts_s)}{' and still' if spell.standing else ''}"


def _short(seconds_s: float) -> str:
    return f"{seconds_s:.1f} s" if seconds_s < 10.0 else duration_text(seconds_s)
