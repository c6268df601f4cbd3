"""Shows the recorded winter as it runs, then what must hold of it."""

from __future__ import annotations

import sys
from pathlib import Path

from matwarden.report.units import local_day_and_clock
from matwarden.sinks.console import ConsoleSink
from winter.checks import CHECKS, ZONE, Check, Facts
from winter.evidence import DigestRow
from winter.rehearse import Winter, rehearse

__all__ = ["main"]

# On a machine with two slow cores and nothing else to do.
WITHIN_S = 60.0
# An ordinary night, one in the failure, and the one in which the warmth comes back.
_SHOWN_WHOLE = ("2019-12-24", "2019-12-30", "2020-01-02")


def main(out: Path) -> int:
    """Run, print, check; 0 when everything holds, else 1."""
    print("33 recorded winter days on a simulated shelf of four tubs; the heating fails for 106 hours on 25 December.")
    console = ConsoleSink(sys.stdout, ZONE, sys.stdout.isatty())
    winter = rehearse(out, [console], lambda share, wall_s: console.progress(share, local_day_and_clock(wall_s, ZONE)))
    facts = Facts(winter)
    for digest in facts.digests:
        if digest.date in _SHOWN_WHOLE:
            _show(digest)
    checks = [check(facts) for check in CHECKS] + [in_time(winter)]
    print(f"\n{len(facts.digests)} digests; every reading, verdict, alarm and digest is in {winter.database}\n")
    for check in checks:
        print(f"{'holds ' if check.holds else 'FAILS '} {check.rule:48} {check.found}")
    failed = sum(not check.holds for check in checks)
    print(f"\n{len(checks) - failed} of {len(checks)} checks hold.")
    return 1 if failed else 0


def in_time(winter: Winter) -> Check:
    """The whole run is a test one is willing to wait for."""
    found = f"{winter.took_s:.1f} s, of which {winter.user_s:.1f} s at work"
    return Check(f"33 days in under {WITHIN_S:.0f} s", winter.took_s < WITHIN_S, found)


def _show(digest: DigestRow) -> None:
    print(f"\n--- digest of {digest.date} ---\n{digest.text}")
