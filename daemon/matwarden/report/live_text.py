"""What `matwarden check --live` prints, within 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matwarden.live_judge import Finding, State

__all__ = ["finding_text", "verdict_text"]


def finding_text(finding: Finding) -> str:
    """One finding: state, subject, what was found, and below it what to do."""
    lines = [_filled(f"{finding.subject}: {finding.told}", f"{finding.state.value:<5} ")]
    if finding.advice:
        lines.append(_filled(finding.advice, "      -> ", " " * 9))
    return "\n".join(lines)


def verdict_text(findings: Sequence[Finding]) -> str:
    """The last line."""
    failed = sum(finding.state is State.FAIL for finding in findings)
    warned = sum(finding.state is State.WARN for finding in findings)
    if failed:
        return f"\n{failed} to be put right, {warned} to know of."
    return f"\nNothing to be put right, {warned} to know of."


def _filled(text: str, first: str, rest: str = "      ") -> str:
    return textwrap.fill(
        text, 80, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False, break_long_words=False
    )
