"""`matwarden install`: lay unit, user, directories and example settings; print the rest, apply none of it.

It can be carried out again and again: what is as it should be is left, what a keeper changed is never written over.
Nothing is started, and nothing of the boot configuration is touched: both belong to a person who stands at the shelf.
Not tried on a Raspberry Pi.
"""

from __future__ import annotations

import argparse
import errno
import os
import pwd
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Callable
from pathlib import Path, PurePosixPath

from matwarden import install_plan as plan
from matwarden.exit_codes import Exit
from matwarden.install_plan import Deed, PlannedFile
from matwarden.settings import Settings, SettingsError, load

__all__ = ["add_arguments", "carry_out"]

_SHIPPED_PROGRAM = "/opt/matwarden/bin/matwarden"
_LINK = "/usr/local/bin/matwarden"
_SETTINGS = f"{plan.ETC}/matwarden.toml"


def add_arguments(sub: argparse.ArgumentParser) -> None:
    """The options of `matwarden install`."""
    sub.add_argument("--root", type=Path, metavar="DIR", help="lay it below DIR, as into an image; runs nothing")
    sub.add_argument("--dry-run", action="store_true", help="print what would be done; do nothing")
    sub.add_argument(
        "--program",
        type=PurePosixPath,
        metavar="PATH",
        help=f"the program on that machine (default: this one; with --root: {_SHIPPED_PROGRAM})",
    )
    sub.add_argument(
        "-s",
        "--settings",
        type=Path,
        metavar="FILE",
        help=f"print the boot lines its probes need (default: {_SETTINGS})",
    )


def carry_out(
    asked: argparse.Namespace, is_root: bool | None = None, run: Callable[[list[str]], str] | None = None
) -> int:
    """Lay what is missing, tell what was done and what a person does next.

    Args:
        is_root: whether this process is root's; None: look. run: runs a command, "" or why it failed.

    Raises:
        SettingsError: settings were named and cannot be used.
    """
    root: Path = (asked.root or Path("/")).resolve()
    live = root == Path("/")
    program = asked.program or PurePosixPath(f"{sys.prefix}/bin/matwarden" if live else _SHIPPED_PROGRAM)
    why_not = _refusal(root, live, program, asked.dry_run, os.geteuid() == 0 if is_root is None else is_root)
    if why_not:
        print(_filled(f"matwarden install: {why_not}"), file=sys.stderr)
        return Exit.REFUSED
    settings = _settings(asked.settings, root)
    work = _Work(root, asked.dry_run)
    try:
        unit, example, schema = (_shipped(f"matwarden.{kind}") for kind in ("service", "example.toml", "schema.json"))
        files = plan.files(unit, example, schema, program)
        print(_heading(root, live, asked.dry_run))
        work.lay(files)
        if program != PurePosixPath(_LINK):
            work.link(_LINK, str(program))
    except OSError as error:
        where = error.filename or "a file"
        print(f"matwarden install: {where}: {error.strerror or error}; look at it, then do this again", file=sys.stderr)
        return Exit.STORE
    trouble = "" if asked.dry_run or not live else _make_user(run or _run)
    _print_advice(root, settings)
    if trouble:
        print(_filled(f"matwarden install: {trouble}"), file=sys.stderr)
        return Exit.REFUSED
    return Exit.OK


class _Work:
    """Lays files, directories and a link below a root; tells each, and only tells it when dry."""

    def __init__(self, root: Path, dry: bool) -> None:
        self._root = root
        self._dry = dry

    def lay(self, files: list[PlannedFile]) -> None:
        """Directories first, then each file, then the record of what was laid."""
        for directory in plan.DIRECTORIES:
            self._directory(directory.path, directory.mode, directory.why)
        record = self._read(plan.LAID)
        digests = plan.parse_laid((record or b"").decode("utf-8", "replace"))
        for file in files:
            if self._file(file, digests.get(file.path)) is not Deed.BESIDE:
                digests[file.path] = plan.digest_of(file.content)
        text = plan.written_laid(digests).encode()
        if text != record:
            self._write(plan.LAID, text, 0o644)

    def link(self, path: str, target: str) -> None:
        """A link for people's PATH; whatever else is there stays."""
        place = self._place(path)
        if place.is_symlink() and os.readlink(place) == target:
            self._tell(Deed.LEAVE.value, f"{path} -> {target}")
        elif place.is_symlink() or place.exists():
            self._tell(Deed.BESIDE.value, f"{path}: it is something else; type {target} instead")
        else:
            self._tell("linked", f"{path} -> {target}")
            if not self._dry:
                place.parent.mkdir(parents=True, exist_ok=True)
                place.symlink_to(target)

    def _directory(self, path: str, mode: int, why: str) -> None:
        place = self._place(path)
        if not place.is_dir():
            self._tell("made", f"{path}, mode {mode:04o}: {why}")
            if not self._dry:
                place.parent.mkdir(parents=True, exist_ok=True)
                place.mkdir(mode)
                place.chmod(mode)  # whatever the umask
            return
        there = place.stat().st_mode & 0o7777
        if there & ~mode & 0o077:
            self._tell(Deed.BESIDE.value, f"{path}, mode {there:04o}: others may use it; do: chmod {mode:o} {path}")
        else:
            self._tell(Deed.LEAVE.value, path)

    def _file(self, file: PlannedFile, laid_before: str | None) -> Deed:
        done = plan.deed(file.content, self._read(file.path), laid_before)
        if done is Deed.BESIDE:
            beside = f"{file.path}.new"
            self._tell(done.value, f"{file.path}: it was changed here; ours is in {beside}")
            if self._read(beside) != file.content:
                self._write(beside, file.content, file.mode)
        else:
            self._tell(done.value, file.path)
            if done is not Deed.LEAVE:
                self._write(file.path, file.content, file.mode)
        return done

    def _place(self, path: str) -> Path:
        place = self._root / path.lstrip("/")
        if not place.parent.resolve().is_relative_to(self._root):
            raise OSError(errno.EXDEV, f"a link there leads out of {self._root}", str(place.parent))
        return place

    def _read(self, path: str) -> bytes | None:
        try:
            return self._place(path).read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return None

    def _write(self, path: str, content: bytes, mode: int) -> None:
        """The old file or the new one is there, never half of one."""
        if self._dry:
            return
        place = self._place(path)
        place.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                os.fchmod(file.fileno(), mode)
                file.flush()
                os.fsync(file.fileno())
            os.replace(name, place)
        except BaseException:
            os.unlink(name)
            raise

    def _tell(self, what: str, text: str) -> None:
        print(_filled(f"{text}", f"  {what:<10} ", " " * 13))


def _refusal(root: Path, live: bool, program: PurePosixPath, dry: bool, is_root: bool) -> str:
    if not root.is_dir():
        return f"--root {root} is not a directory"
    if live and not is_root and not dry:
        return "only root can do this: put sudo before it, or see with --dry-run what it would do"
    others = (
        [PurePosixPath(os.path.realpath(sys.executable)), PurePosixPath(os.path.realpath(__file__))] if live else []
    )
    if live and not Path(program).exists():
        return f"there is no program {program}; install matwarden into an environment, or name it with --program"
    return plan.unusable_program(program, others)


def _settings(named: Path | None, root: Path) -> Settings | None:
    if named is not None:
        return load(named)
    place = root / _SETTINGS.lstrip("/")
    try:
        return load(place) if place.exists() else None
    except SettingsError:
        return None  # `matwarden check` tells; a newer program is not kept out by it


def _shipped(name: str) -> bytes:
    """A file that comes with the program: beside an installed one, or in the source tree."""
    source = Path(__file__).resolve().parents[2]
    places = [Path(sys.prefix) / "share" / "matwarden", source / "config", source / "systemd"]
    found = next((place / name for place in places if (place / name).exists()), places[0] / name)
    return found.read_bytes()


def _make_user(run: Callable[[list[str]], str]) -> str:
    """The user of the unit, where there is none yet; why it could not be made, and what to do."""
    try:
        pwd.getpwnam("matwarden")
    except KeyError:
        why = run(["systemd-sysusers", plan.SYSUSERS])
        if why:
            return (
                f"the user matwarden was not made ({why}); do: useradd --system --gid gpio --no-create-home matwarden"
            )
        print("  made       user matwarden, in the group gpio")
    return ""


def _run(command: list[str]) -> str:
    try:
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=60, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        return str(error)
    return (done.stderr.strip() or f"it ended with code {done.returncode}") if done.returncode else ""


def _heading(root: Path, live: bool, dry: bool) -> str:
    where = "On this machine" if live else f"Below {root}"
    return f"{where}, nothing done yet: it would be" if dry else f"{where}:"


def _print_advice(root: Path, settings: Settings | None) -> None:
    """What only a person does."""
    boot = root / plan.BOOT_FILE.lstrip("/")
    config = boot.read_text(encoding="utf-8", errors="replace") if boot.is_file() else ""
    print(f"\nNot done here. For {plan.BOOT_FILE}, then a restart:")
    for line, why in plan.boot_lines(settings):
        print(f"  {line:<32} # {'there already' if plan.already_there(line, config) else why}")
    path, text = plan.WATCHDOG_DROP_IN
    print(f"\nNot done here. The hardware watchdog, as {path}:")
    print(textwrap.indent(text, "  "), end="")
    print(
        "\nNext:\n"
        f"  cp {plan.ETC}/matwarden.example.toml {_SETTINGS}\n"
        "  matwarden probes                 # what the bus has, and the lines to paste\n"
        f"  matwarden check {_SETTINGS}\n"
        f"  matwarden check --live {_SETTINGS}\n"
        "  systemctl daemon-reload\n"
        "  systemctl enable --now matwarden # only then does anything run"
    )


def _filled(text: str, first: str = "", rest: str = "") -> str:
    return textwrap.fill(
        text, 80, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False, break_long_words=False
    )
