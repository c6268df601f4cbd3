"""One page that says whether it is safe to leave."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matwarden.core.away import Reason, Verdict, verdict_of

__all__ = ["away_text"]

_WIDTH = 80
_HEADS = {
    Verdict.UNSAFE: "Not safe:",
    Verdict.FIRST: "Do first:",
    Verdict.NOTE: "Know:",
    Verdict.SAFE: "Well:",
}


def away_text(house: str, days: float, reasons: Sequence[Reason]) -> str:
    """The verdict, then every reason for it, the worst first."""
    first = sum(reason.state is Verdict.FIRST for reason in reasons)
    things = "this one thing is" if first == 1 else f"these {first} things are"
    said = {
        Verdict.SAFE: "safe to leave.",
        Verdict.FIRST: f"safe to leave when {things} done first.",
        Verdict.UNSAFE: "NOT safe to leave.",
    }[verdict_of(reasons)]
    span = "1 day" if days == 1 else f"{days:g} days"
    lines = [f"{house}, away for {span}: {said}"]
    for state, head in _HEADS.items():
        mine = [reason for reason in reasons if reason.state is state]
        if mine:
            lines += ["", head]
            for reason in mine:
                lines += _wrapped(f"{reason.subject}: {reason.text}")
    lines += ["", *textwrap.wrap("Nothing of this replaces somebody who can look in, or a thermal cut-out.", _WIDTH)]
    return "\n".join(lines)


def _wrapped(text: str) -> list[str]:
    # A number stays with its unit.
    joined = text.replace(" °", "\u00a0°").replace(" %", "\u00a0%").replace(" MB", "\u00a0MB")
    wrapped = textwrap.wrap(
        joined, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )
    return [line.replace("\u00a0", " ") for line in wrapped]
