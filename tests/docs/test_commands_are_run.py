"""Every command block of README.md and hardware/README.md is run here, in order, or its step needs the hardware.

The page's own paths are taken below a directory: the install goes into an image, the machine is a tree of the kernel's
files, the shelf is simulated, GPIO lines are files. Targets of make are only looked at (`make -n`): one installs from
the network, the other contains this test.
"""

from __future__ import annotations

import re
import shlex
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from helpers_bench import Bench
from helpers_machine import MachineTree
from helpers_process import ROOT, Daemon, command, settings_file, shelf_text
from helpers_terminal import at_terminal
from matwarden.exit_codes import Exit
from matwarden.install_plan import WATCHDOG_DROP_IN, boot_lines
from matwarden.relay_click import sentence

MARK = "*(needs the hardware)*"
SETTINGS = "/etc/matwarden/matwarden.toml"
# Lines of the system's own that no test can carry out here; each stands in a marked step.
NEED_HARDWARE = ("python3 -m venv ", "/opt/matwarden/bin/pip install ", "systemctl ", "dtparam=", "dtoverlay=")


def steps(document: str) -> list[tuple[str, list[str]]]:
    """Each numbered step, or part between headings, with the lines of its fenced and indented blocks."""
    # What is shown as printed is no command.
    text = re.sub(r"^<pre>.*?^</pre>", "", (ROOT / document).read_text(encoding="utf-8"), flags=re.M | re.S)
    parts = re.split(r"^(?=\d+\. |#+ )", text, flags=re.M)
    return [(part, _lines(part)) for part in parts if _lines(part)]


def _lines(part: str) -> list[str]:
    fenced = "".join(re.findall(r"^ *```\w*\n(.*?)^ *```", part, flags=re.M | re.S))
    rest = re.sub(r"^ *```.*?^ *```", "", part, flags=re.M | re.S)
    indented = "" if re.match(r"\d+\. ", part) else "\n".join(re.findall(r"^    (?! )(.+)", rest, flags=re.M))
    return [line.split(" # ")[0].strip() for line in f"{fenced}\n{indented}".splitlines() if line.strip()]


class World:
    """A machine on which the page is followed."""

    def __init__(self, directory: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.directory = directory
        self.machine = MachineTree(directory, monkeypatch)
        self.image = self.machine.root
        self.bench = Bench(directory)
        # What a keeper makes of the example: here a simulated shelf, whose files are beside it.
        push = '\n[push]\n[[push.target]]\nname = "paper"\nurl = "file:pushes.txt"\n'
        self.text = shelf_text("oak", more=push)

    @property
    def settings(self) -> str:
        return str(settings_file(self.directory, self.text))

    def shell(self, line: str) -> None:
        """As typed, with the machine's directories taken below the image."""
        below = re.sub(r"(?<=[ \"'])/etc/", f"{self.image}/etc/", line)
        done = subprocess.run(["sh", "-ec", below], capture_output=True, text=True, check=False, cwd=self.directory)
        assert done.returncode == 0, done.stderr

    def matwarden(self, line: str, *more: str | Path) -> None:
        """The program as typed, with the simulated shelf's settings in place of those the keeper writes."""
        words = [self.settings if word == SETTINGS else word for word in shlex.split(line)[1:]]
        ran = command(*words, *more)
        assert ran.code == Exit.OK, ran.out + ran.err


def _check_live(world: World, line: str) -> None:
    world.matwarden(line, "--machine", world.machine.root)


def _click(world: World, line: str) -> None:
    words = [world.settings if word == SETTINGS else word for word in shlex.split(line)[1:]]
    with at_terminal(*words, "--machine", world.machine.root) as terminal:
        terminal.until("> ")
        terminal.type(f"{sentence('oak')}\n")
        assert terminal.end() == Exit.OK, terminal.seen


def _cut(world: World, line: str) -> None:
    ran = world.bench.matwarden(*shlex.split(line)[1:])
    assert ran.code == Exit.OK, ran.err
    assert world.bench.levels(17) == [False]


def _status(world: World, line: str) -> None:
    daemon = Daemon(world.directory, world.text)
    try:
        daemon.until_answering()
        world.matwarden(line, "-s", daemon.settings)
    finally:
        daemon.kill()


def _drop_in(world: World, line: str) -> None:
    world.shell(line)
    path, text = WATCHDOG_DROP_IN
    assert (world.image / path.lstrip("/")).read_text() == text


def _make(world: World, line: str) -> None:
    done = subprocess.run(["make", "-n", *shlex.split(line)[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


INSTALL = "/opt/matwarden/bin/matwarden install"
RUN: dict[str, Callable[[World, str], None]] = {
    "make demo": _make,
    "make test": _make,
    f"{INSTALL} --dry-run": lambda world, line: world.matwarden(line, "--root", world.image),
    INSTALL: lambda world, line: world.matwarden(line, "--root", world.image),
    "mkdir -p /etc/systemd/system.conf.d": World.shell,
    "printf '[Manager]\\nRuntimeWatchdogSec=14\\n' > /etc/systemd/system.conf.d/matwarden-watchdog.conf": _drop_in,
    f"cp /etc/matwarden/matwarden.example.toml {SETTINGS}": World.shell,
    "matwarden probes": lambda world, line: world.matwarden(line, "--sysfs", world.image / "sys"),
    f"matwarden check {SETTINGS}": World.matwarden,
    f"matwarden check --live {SETTINGS}": _check_live,
    f"matwarden check --live --push {SETTINGS}": _check_live,
    f"matwarden check --live {SETTINGS} --click oak": _click,
    "matwarden cut --line /dev/gpiochip0:17:high": _cut,
    "matwarden status": _status,
}


@pytest.mark.parametrize("document", ["README.md", "hardware/README.md"])
def test_every_command_of_a_page_is_run_or_needs_the_hardware(
    document: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From top to bottom, as a keeper would; what cannot be run is known and its step is marked."""
    world = World(tmp_path, monkeypatch)
    found = steps(document)
    assert found
    for step, lines in found:
        for line in lines:
            if line in RUN:
                RUN[line](world, line)
            else:
                assert line.startswith(NEED_HARDWARE), f"{document}: neither run nor known: {line}"
                assert MARK in step, f"{document}: not marked: {line}"


def test_nothing_is_run_here_that_no_page_tells() -> None:
    """Every line that this test knows stands in one of the pages."""
    told = {line for document in ("README.md", "hardware/README.md") for _, lines in steps(document) for line in lines}
    assert set(RUN) - told == set()


def test_the_boot_lines_of_the_page_are_those_that_install_prints() -> None:
    """For 1-wire probes, in the same order."""
    lines = [line for _, block in steps("hardware/README.md") for line in block if line.startswith("dt")]
    assert lines == [each.line for each in boot_lines(None)]
