"""`matwarden push --test`: one message to every target, now. `matwarden pushes`: what became of those asked."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from matwarden.clocks import SystemClock
from matwarden.exit_codes import Exit
from matwarden.settings import load

if TYPE_CHECKING:
    from matwarden.settings import Settings
    from matwarden.sinks.push_try import Tried

__all__ = ["add_list_arguments", "add_test_arguments", "list_pushes", "send_test"]


def add_test_arguments(sub: argparse.ArgumentParser) -> None:
    """What `push` takes besides the settings."""
    sub.add_argument("--test", action="store_true", required=True, help="send one message that says it is a test")
    sub.add_argument("--machine", type=Path, default=Path("/"), help=argparse.SUPPRESS)


def add_list_arguments(sub: argparse.ArgumentParser) -> None:
    """What `pushes` takes besides the settings."""
    sub.add_argument("-n", type=_count, default=20, metavar="COUNT", help="how many, newest first (default: 20)")


def send_test(asked: argparse.Namespace) -> int:
    """Send a test to each target, second ones too; tell of each as soon as it is known."""
    from matwarden.live_secrets import with_kept_secrets
    from matwarden.sinks.push_try import try_target

    settings = with_kept_secrets(load(asked.settings), asked.machine)
    if settings.push is None:
        print("matwarden: the settings have no [push]: nobody is told of an alarm", file=sys.stderr)
        return Exit.REFUSED
    clock = SystemClock()
    tried: list[Tried] = []
    for target in settings.push.targets:
        one = try_target(target, settings.house_name, "matwarden push --test", clock.now)
        tried.append(one)
        _keep(settings, one, clock.now().wall_s)
        if not asked.json:
            print(
                f"{one.target}: {one.why_not or 'took it; look whether it is there'} ({one.took_s:.1f} s)", flush=True
            )
    if asked.json:
        document = [{"target": one.target, "took_s": round(one.took_s, 3), "error": one.why_not} for one in tried]
        print(json.dumps(document, indent=2, ensure_ascii=False))
    return Exit.OK if all(one.why_not is None for one in tried) else Exit.UNFIT


def _keep(settings: Settings, one: Tried, now_wall_s: float) -> None:
    """So that `matwarden away` knows of it: where there is a record, and who tests may write it."""
    import contextlib
    import getpass

    from matwarden.away import PUSH_TESTED
    from matwarden.sinks.store_read import Deed
    from matwarden.sinks.store_schema import StoreError
    from matwarden.upkeep import record_deed

    with contextlib.suppress(StoreError, KeyError, OSError):
        told = one.why_not or "took it"
        deed = Deed(now_wall_s, getpass.getuser(), PUSH_TESTED, one.target, one.why_not is None, told)
        record_deed(settings.store.directory, deed)


def list_pushes(asked: argparse.Namespace) -> int:
    """The newest pushes of the record, and what became of each at each target."""
    from matwarden.report.pushes_text import push_document, pushes_text
    from matwarden.sinks.outbox_read import newest_pushes
    from matwarden.sinks.store_schema import StoreError

    settings = load(asked.settings)
    targets = settings.push.targets if settings.push is not None else ()
    try:
        pushes = newest_pushes(settings.store.directory, asked.n)
    except StoreError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.STORE
    if asked.json:
        print(json.dumps([push_document(push, targets) for push in pushes], indent=2, ensure_ascii=False))
    else:
        print(pushes_text(pushes, targets, ZoneInfo(settings.zone)))
    return Exit.OK


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:7]) <= 100_000:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number from 1 to 100000")
    return int(text[:7])
