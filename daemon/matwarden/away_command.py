"""`matwarden away`: is it safe to leave for so many days?"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from matwarden.asking import ask
from matwarden.exit_codes import Exit
from matwarden.settings import load

__all__ = ["add_arguments", "carry_out"]

_DAYS_AT_MOST = 60.0


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden away`."""
    sub.add_argument("--days", type=float, default=7.0, metavar="N", help="for how many days (default: 7)")
    sub.add_argument("--machine", type=Path, default=Path("/"), help=argparse.SUPPRESS)


def carry_out(asked: argparse.Namespace) -> int:
    """Print the page; returns the exit code: OK only when it is safe as it is.

    Raises:
        SettingsError: the settings cannot be used.
    """
    from matwarden.away import facts_of
    from matwarden.clocks import SystemClock
    from matwarden.core.away import Verdict, judge, verdict_of
    from matwarden.recorded import recorded_status
    from matwarden.report.away_text import away_text
    from matwarden.sinks.store_schema import StoreError

    if not 0.0 < asked.days <= _DAYS_AT_MOST:
        print(f"matwarden: --days {asked.days:g} is not between 0 and {_DAYS_AT_MOST:g}", file=sys.stderr)
        return Exit.USAGE
    settings = load(asked.settings)
    now_s = SystemClock().now().wall_s
    try:
        answer = ask(settings, {"do": "status"})
        if answer is not None and "status" not in answer:
            print(f"matwarden: {answer['text']}", file=sys.stderr)
            return Exit.REFUSED
        status = recorded_status(settings, now_s) if answer is None else answer["status"]
        if status is None:
            print("matwarden: not running, and nothing was ever recorded", file=sys.stderr)
            return Exit.NOT_RUNNING
        reasons = judge(facts_of(settings, status, asked.days, now_s, asked.machine), settings.unit)
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE
    verdict = verdict_of(reasons)
    if asked.json:
        told = [{"state": each.state.value, "subject": each.subject, "text": each.text} for each in reasons]
        print(json.dumps({"days": asked.days, "verdict": verdict.value, "reasons": told}, indent=2, ensure_ascii=False))
    else:
        print(away_text(settings.house_name, asked.days, reasons))
    return Exit.OK if verdict is Verdict.SAFE else Exit.UNFIT
