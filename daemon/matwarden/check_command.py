"""`matwarden check`: a settings file judged; with `--live` the machine it is for as well."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from matwarden.clocks import SystemClock
from matwarden.devices import Discover, IdleLevel, OpenDevices
from matwarden.exit_codes import Exit
from matwarden.settings import Settings, SettingsError
from matwarden.settings import check as check_settings

__all__ = ["add_arguments", "carry_out"]


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """What `check` takes."""
    sub.add_argument("file", type=Path, metavar="FILE", help="the settings file")
    sub.add_argument("--live", action="store_true", help="look at this machine too: clock, broker, probes, relays ...")
    sub.add_argument("--push", action="store_true", help="with --live: send one push to each target")
    sub.add_argument(
        "--click",
        metavar="ENCLOSURE",
        help="with --live: switch its relay on for a second, once you have typed that its mat is unplugged",
    )
    sub.add_argument("--machine", type=Path, default=Path("/"), help=argparse.SUPPRESS)


def carry_out(asked: argparse.Namespace, open_devices: OpenDevices, discover: Discover, idle_level: IdleLevel) -> int:
    """Judge the file; then, if asked, the machine."""
    if (asked.push or asked.click) and not asked.live:
        return _usage("--push and --click go with --live")
    if asked.click and asked.json:
        return _usage("--click speaks with a person: it does not go with --json")
    from matwarden.settings.render import render_resolved

    outcome = check_settings(asked.file)
    settings = outcome.settings
    warnings = list(outcome.warnings) + _offset_warnings(settings)
    about_file: dict[str, Any] = {
        "usable": settings is not None,
        "problems": [problem._asdict() for problem in outcome.problems],
        "warnings": warnings,
    }
    if settings is not None and asked.live:
        return _live(asked, settings, about_file, open_devices, discover, idle_level)
    if asked.json:
        print(json.dumps(about_file, indent=2, ensure_ascii=False))
    elif settings is None:
        print(SettingsError(asked.file, outcome.problems), file=sys.stderr)
    else:
        print(render_resolved(settings, warnings))
    return Exit.OK if settings is not None else Exit.SETTINGS


def _live(
    asked: argparse.Namespace,
    settings: Settings,
    about_file: dict[str, Any],
    open_devices: OpenDevices,
    discover: Discover,
    idle_level: IdleLevel,
) -> int:
    from matwarden.live_check import Hands, findings, is_running
    from matwarden.live_judge import Finding, State
    from matwarden.live_secrets import with_kept_secrets
    from matwarden.relay_click import click, confirmed
    from matwarden.report.live_text import finding_text, verdict_text

    clock = SystemClock()
    settings = with_kept_secrets(settings, asked.machine)
    running = is_running(settings)
    if asked.click:
        code = _click_refused(asked.click, settings, running)
        if code is not None:
            return code
    found: list[Finding] = [Finding("settings", State.WARN, text) for text in about_file["warnings"]]
    if not asked.json:
        print("\n".join(map(finding_text, found)), end="\n" if found else "")
    for finding in findings(
        settings, Hands(asked.machine, open_devices, discover, idle_level, clock.now), running, asked.push
    ):
        found.append(finding)
        if not asked.json:
            print(finding_text(finding), flush=True)
    if asked.click:
        if not confirmed(asked.click, input, print):
            print("matwarden: that was not the sentence: the relay was not touched", file=sys.stderr)
            return Exit.REFUSED
        found.append(click(settings, asked.click, open_devices, lambda: clock.now().mono_s, print))
        print(finding_text(found[-1]))
    if asked.json:
        checks = [finding._asdict() | {"state": finding.state.value} for finding in found]
        print(json.dumps(about_file | {"running": running, "checks": checks}, indent=2, ensure_ascii=False))
    else:
        print(verdict_text(found))
    return Exit.UNFIT if any(finding.state is State.FAIL for finding in found) else Exit.OK


def _click_refused(enclosure: str, settings: Settings, running: bool) -> int | None:
    """Why a relay is not switched at all; None when a person may be asked."""
    from matwarden.control_client import no_mat_text, unknown_text

    code, why = Exit.REFUSED, ""
    names = {each.id: each.name for each in settings.enclosures}
    if enclosure not in names:
        code, why = Exit.UNKNOWN, unknown_text(names)
    elif enclosure not in settings.relay_drivers:
        why = no_mat_text(names[enclosure])
    elif not (sys.stdin.isatty() and sys.stdout.isatty()):
        why = "--click needs a person at a terminal: the relay was not touched"
    elif running:
        why = "a station is running and holds the relay: systemctl stop matwarden first"
    if not why:
        return None
    print(f"matwarden: {why}", file=sys.stderr)
    return code


def _usage(why: str) -> int:
    print(f"matwarden check: {why}; see: matwarden check --help", file=sys.stderr)
    return Exit.USAGE


def _offset_warnings(settings: Settings | None) -> list[str]:
    from matwarden.core.dates import local_date
    from matwarden.settings.offsets import offset_warnings

    if settings is None:
        return []
    return offset_warnings(settings, local_date(SystemClock().now().wall_s, ZoneInfo(settings.zone)))
