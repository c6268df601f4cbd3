"""The command line: parse, call, print. What is decided is decided elsewhere."""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from matwarden import __version__
from matwarden.alarm_commands import add_arguments as add_alarm_arguments
from matwarden.alarm_commands import request_of
from matwarden.alarm_listing import add_arguments as add_listing_arguments
from matwarden.alarm_listing import carry_out as list_alarms
from matwarden.asking import ask, span_s, told
from matwarden.away_command import add_arguments as add_away_arguments
from matwarden.away_command import carry_out as judge_away
from matwarden.check_command import add_arguments as add_check_arguments
from matwarden.check_command import carry_out as check
from matwarden.commission_command import add_arguments as add_commission_arguments
from matwarden.commission_command import carry_out as commission
from matwarden.cut import add_arguments as add_cut_arguments
from matwarden.cut import carry_out as cut_lines
from matwarden.devices import Discover, IdleLevel, OpenDevices
from matwarden.drill_command import add_arguments as add_drill_arguments
from matwarden.drill_command import carry_out as drill
from matwarden.exit_codes import Exit
from matwarden.export_command import add_arguments as add_export_arguments
from matwarden.export_command import carry_out as export
from matwarden.extremes_command import add_arguments as add_extremes_arguments
from matwarden.extremes_command import carry_out as list_extremes
from matwarden.first_cut import DEFAULT_SETTINGS
from matwarden.history_command import add_arguments as add_history_arguments
from matwarden.history_command import carry_out as draw_history
from matwarden.install import add_arguments as add_install_arguments
from matwarden.install import carry_out as install
from matwarden.probes_command import add_arguments as add_probes_arguments
from matwarden.probes_command import carry_out as list_probes
from matwarden.push_commands import add_list_arguments as add_pushes_arguments
from matwarden.push_commands import add_test_arguments as add_push_arguments
from matwarden.push_commands import list_pushes, send_test
from matwarden.record_commands import digest, status, why
from matwarden.settings import SettingsError
from matwarden.siting_command import add_arguments as add_siting_arguments
from matwarden.siting_command import carry_out as compare_places
from matwarden.upkeep_command import add_done_arguments, carry_out_done, carry_out_upkeep

__all__ = ["parser", "run"]


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.print_usage(sys.stderr)
        print(f"{self.prog}: {message}; see: {self.prog} --help", file=sys.stderr)
        raise SystemExit(Exit.USAGE)


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = _Parser(
        prog="matwarden",
        description="Watches and guards the warmth of tubs of small tropical leaf-litter animals.",
        epilog="example: matwarden status --json\n\nMore: matwarden COMMAND --help. The README lists the exit codes.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"matwarden {__version__}")
    verbs = top.add_subparsers(dest="verb", required=True, metavar="COMMAND", parser_class=_Parser)

    def verb(name: str, what: str, example: str, machine: bool = True) -> argparse.ArgumentParser:
        sub = verbs.add_parser(
            name,
            help=what,
            description=what[0].upper() + what[1:] + ".",
            epilog=f"example: {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        if machine:
            sub.add_argument("--json", action="store_true", help="print JSON, for scripts")
        return sub

    def settings(sub: argparse.ArgumentParser) -> None:
        sub.add_argument(
            "-s",
            "--settings",
            type=Path,
            default=DEFAULT_SETTINGS,
            metavar="FILE",
            help=f"the settings (default: {DEFAULT_SETTINGS})",
        )

    sub = verb("run", "watch and guard until stopped", "matwarden run -s /etc/matwarden/matwarden.toml", machine=False)
    settings(sub)
    sub = verb("check", "judge a settings file, with --live the machine too", "matwarden check my.toml")
    add_check_arguments(sub)
    sub = verb("demo", "three winter nights on a simulated shelf", "matwarden demo --out /tmp/demo", machine=False)
    sub.add_argument("file", type=Path, nargs="?", metavar="FILE", help="other settings with a simulated shelf")
    sub.add_argument(
        "--out", type=Path, default=Path("demo-run"), metavar="DIR", help="where its files go (default: demo-run)"
    )
    sub = verb("watch", "watch other stations, without tubs of its own", "matwarden watch my-watch.toml", machine=False)
    sub.add_argument(
        "file",
        type=Path,
        nargs="?",
        default=DEFAULT_SETTINGS.with_name("watch.toml"),
        metavar="FILE",
        help="its settings (default: %(default)s)",
    )
    sub = verb("status", "show every tub, its heat and its alarms", "matwarden status --follow")
    sub.add_argument("--follow", action="store_true", help="draw it anew every 2 s, until Ctrl-C")
    settings(sub)
    sub = verb("digest", "show the digest of a night, or of the time since", "matwarden digest --date 2026-01-14")
    settings(sub)
    sub.add_argument("--date", metavar="YYYY-MM-DD", help="the one made on that date (default: since the last one)")
    sub = verb("alarms", "list the alarms, their history, or every alarm there is", "matwarden alarms --history")
    settings(sub)
    add_listing_arguments(sub)
    sub = verb("done", "tell what was done for a tub: substrate, food and the like", "matwarden done oak substrate")
    add_done_arguments(sub)
    settings(sub)
    settings(verb("upkeep", "list what was done for each tub, and what is due", "matwarden upkeep"))
    sub = verb("away", "say whether it is safe to leave for some days", "matwarden away --days 7")
    add_away_arguments(sub)
    settings(sub)
    sub = verb(
        "drill",
        "play what would happen if something broke, on a simulated tub",
        "matwarden drill oak --fault relay-welded",
    )
    add_drill_arguments(sub)
    settings(sub)
    sub = verb("commission", "find out what a tub's mat can do, by experiment", "matwarden commission oak --room 30")
    add_commission_arguments(sub)
    settings(sub)
    sub = verb("history", "draw a tub's past on the terminal", "matwarden history oak --from 7d")
    add_history_arguments(sub)
    settings(sub)
    sub = verb("extremes", "list lowest and highest of every probe over any range", "matwarden extremes --from 365d")
    add_extremes_arguments(sub)
    settings(sub)
    sub = verb("siting", "compare places by probes left on shelves", "matwarden siting shelf-top floor --from 7d")
    add_siting_arguments(sub)
    settings(sub)
    sub = verb(
        "export", "write readings of any range to standard output", "matwarden export oak --from 7d", machine=False
    )
    add_export_arguments(sub)
    settings(sub)
    sub = verb("why", "say why a tub's heat is cut or allowed", "matwarden why oak")
    _enclosure(sub, settings)
    sub = verb("reset", "reset a trip or relay fault, once you have looked at the shelf", "matwarden reset oak")
    _enclosure(sub, settings)
    sub = verb("hold", "cut a tub's heat for a while: lid open, cleaning", "matwarden hold oak --for 30min")
    _enclosure(sub, settings)
    sub.add_argument(
        "--for", dest="span", required=True, metavar="TIME", help="how long: 90s, 30min or 2h; 12h at the most"
    )
    sub = verb("release", "end a hold before its time", "matwarden release oak")
    _enclosure(sub, settings)
    for name, what, example in (
        ("ack", "acknowledge an alarm: it rings no more until it is over", "matwarden ack cold/oak"),
        ("shelve", "put an alarm aside for a while", "matwarden shelve oak --for 4h"),
        ("unshelve", "take an alarm off the shelf before its time", "matwarden unshelve oak"),
        ("service", "take an alarm out of service, or put it back", "matwarden service off blind-probe/oak-air"),
    ):
        sub = verb(name, what, example)
        add_alarm_arguments(name, sub)
        settings(sub)
    sub = verb("push", "send a test to every push target, now", "matwarden push --test")
    settings(sub)
    add_push_arguments(sub)
    sub = verb("pushes", "list the newest pushes and what became of each", "matwarden pushes -n 5")
    settings(sub)
    add_pushes_arguments(sub)
    sub = verb("probes", "list the probes this machine has, and the lines to paste", "matwarden probes --json")
    add_probes_arguments(sub)
    sub = verb("cut", "drive every relay line to cut; works while nothing else does", "matwarden cut", machine=False)
    add_cut_arguments(sub)
    sub = verb(
        "install", "lay unit, user, directories and example settings", "matwarden install --dry-run", machine=False
    )
    add_install_arguments(sub)
    return top


def run(arguments: Sequence[str], open_devices: OpenDevices, discover: Discover, idle_level: IdleLevel) -> int:
    """Carry out one command line; returns the exit code. No traceback for anything a user can cause."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without a degree sign shows another sign in its place
    asked = parser().parse_args(arguments)
    try:
        code = _carry_out(asked, open_devices, discover, idle_level)
        sys.stdout.flush()
        return code
    except BrokenPipeError:
        # Whoever read our output has seen enough; nothing more can be said to them.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return Exit.OK
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        print(f"matwarden: {error.strerror or error}: what was asked for could not be written or read", file=sys.stderr)
        return Exit.STORE


def _carry_out(asked: argparse.Namespace, open_devices: OpenDevices, discover: Discover, idle_level: IdleLevel) -> int:
    try:
        if asked.verb == "check":
            return check(asked, open_devices, discover, idle_level)
        if asked.verb == "probes":
            return list_probes(asked, discover)
        if asked.verb == "push":
            return send_test(asked)
        if asked.verb == "done":
            return carry_out_done(asked)
        if asked.verb == "upkeep":
            return carry_out_upkeep(asked)
        if asked.verb == "away":
            return judge_away(asked)
        if asked.verb == "commission":
            return commission(asked)
        if asked.verb == "history":
            return draw_history(asked)
        if asked.verb == "drill":
            return drill(asked, open_devices)
        if asked.verb == "extremes":
            return list_extremes(asked)
        if asked.verb == "siting":
            return compare_places(asked)
        if asked.verb == "export":
            return export(asked)
        if asked.verb == "pushes":
            return list_pushes(asked)
        return _VERBS[asked.verb](asked, open_devices)
    except SettingsError as error:
        print(error, file=sys.stderr)
        return Exit.SETTINGS
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        return Exit.INTERRUPTED


def _enclosure(sub: argparse.ArgumentParser, settings: Any) -> None:
    sub.add_argument("enclosure", metavar="ENCLOSURE", help="its id in the settings file")
    settings(sub)


def _run(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    import logging

    from matwarden.settings.apart import Apart

    # First, so that the file is judged while the rest is loaded.
    apart = Apart(asked.settings)
    from matwarden.log_thread import logged_to
    from matwarden.service import serve
    from matwarden_hardware.ports import DriverError

    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    try:
        with logged_to(sys.stderr):
            return serve(apart.settings(), open_devices)
    except DriverError as error:
        print(f"matwarden: {error}", file=sys.stderr)
        return Exit.DEVICE


def _watch(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    from matwarden.log_thread import logged_to
    from matwarden.settings.watching import load_watch
    from matwarden.watcher import watch

    with logged_to(sys.stderr):
        return watch(load_watch(asked.file))


def _demo(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    from matwarden.demo import demonstrate

    return demonstrate(asked.file, asked.out, open_devices)


def _alarms(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    return list_alarms(asked, lambda settings: ask(settings, {"do": "alarms"}))


def _person(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    """The verbs that need the running station: reset, hold, release."""
    request: dict[str, Any] = {"do": asked.verb, "enclosure": asked.enclosure}
    if asked.verb == "hold":
        for_s = span_s(asked.span)
        if for_s is None:
            print(f"matwarden: '{asked.span}' is not a time such as 90s, 30min or 2h", file=sys.stderr)
            return Exit.USAGE
        request["for_s"] = for_s
    return told(asked, request)


def _alarm(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    """The verbs about alarms that need the running station."""
    request = request_of(asked, span_s)
    if isinstance(request, str):
        print(f"matwarden: {request}", file=sys.stderr)
        return Exit.USAGE
    return told(asked, request)


def _status(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    return status(asked)


def _digest(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    return digest(asked)


def _why(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    return why(asked)


def _cut(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    return cut_lines(asked)


def _install(asked: argparse.Namespace, open_devices: OpenDevices) -> int:
    return install(asked)


_VERBS: dict[str, Callable[[argparse.Namespace, OpenDevices], int]] = {
    "run": _run,
    "watch": _watch,
    "demo": _demo,
    "status": _status,
    "digest": _digest,
    "alarms": _alarms,
    "why": _why,
    "reset": _person,
    "hold": _person,
    "release": _person,
    "ack": _alarm,
    "shelve": _alarm,
    "unshelve": _alarm,
    "service": _alarm,
    "cut": _cut,
    "install": _install,
}
