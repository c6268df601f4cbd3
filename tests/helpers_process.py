"""The real program in processes of its own, on a simulated shelf in real time; all it needs is in one directory.

What the shelf's relays did is read from their record, a file the program only appends to: it tells the levels from
outside, and outlives a kill.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from matwarden.control_client import NotRunningError, ask
from matwarden.sinks.store_read import Recorded

ROOT = Path(__file__).resolve().parent.parent
PATIENCE_S = 30.0
# The shortest the settings allow: readings every second, ten seconds of rest before heat.
REST_S = 10.0

_HOUSE = """\
[house]
id = "shelf"
name = "Our shelf"
temperature_unit = "{unit}"
zone = "Europe/Amsterdam"

[polling]
every_s = 1
deadline_s = 0.5
stale_after_s = 30

[store]
directory = "data"
commit_every_s = 1

[control]
socket = "control.sock"

[simulation]
start = "2026-01-16T17:00:00Z"
step_s = 1
start_temperature = {start}
record = "relays.txt"

[simulation.room]
mean = {room}
"""
_TUB = """
[[enclosure]]
id = "{tub}"

[[probe]]
id = "{tub}-wall"
role = "wall"
enclosure = "{tub}"
driver = "twin"

[[probe]]
id = "{tub}-air"
role = "air"
enclosure = "{tub}"
side = "moist"
driver = "twin"
humidity = true

[[mat]]
enclosure = "{tub}"
placement = "side"
minimum_on_s = 0
minimum_off_s = 10
prove_readings = {prove}
driver = "twin"

[[twin]]
enclosure = "{tub}"
"""
# A room, and a tub without a mat in it.
_ROWAN = """
[[enclosure]]
id = "rowan"

[[probe]]
id = "rowan-air"
role = "air"
enclosure = "rowan"
driver = "twin"

[[probe]]
id = "room"
role = "room"
driver = "twin"

[[twin]]
enclosure = "rowan"
"""


def offset(probe: str, amount_k: float, at_s: float = 0.0, until_s: float | None = None) -> str:
    """A probe that reads too high for a while, in seconds from the start of the process."""
    until = "" if until_s is None else f"until_h = {until_s / 3600:.6f}\n"
    return (
        f'\n[[fault]]\nkind = "probe-offset"\nsubject = "{probe}"\namount = {amount_k}\n'
        f"at_h = {at_s / 3600:.6f}\n{until}"
    )


def shelf_text(*tubs: str, fahrenheit: bool = False, prove: int = 3, more: str = "") -> str:
    """Settings of a cool shelf: each of `tubs` has a mat and asks for heat at once; rowan is only watched."""
    unit, start, room = ("F", 73.4, 64.4) if fahrenheit else ("C", 23.0, 18.0)
    house = _HOUSE.format(unit=unit, start=start, room=room)
    return house + "".join(_TUB.format(tub=tub, prove=prove) for tub in tubs) + _ROWAN + more


class Ran(NamedTuple):
    """A command that has ended."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """What it printed, as JSON."""
        return json.loads(self.out)


def begun(*words: str | Path) -> subprocess.Popen[bytes]:
    """`matwarden WORDS`, begun in a process of its own and not waited for."""
    return subprocess.Popen(
        _command(words),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        env=environment(),
    )


def ended(process: subprocess.Popen[bytes]) -> Ran:
    """Wait for what was begun."""
    out, err = process.communicate(timeout=PATIENCE_S)
    return Ran(process.returncode, out.decode(), err.decode())


def command(*words: str | Path, stdout: int = subprocess.PIPE) -> Ran:
    """Carry out `matwarden WORDS` in a process of its own."""
    done = subprocess.run(
        _command(words),
        stdout=stdout,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        env=environment(),
        timeout=PATIENCE_S,
        check=False,
    )
    return Ran(done.returncode, (done.stdout or b"").decode(), done.stderr.decode())


def settings_file(directory: Path, text: str) -> Path:
    """A settings file of this text in the directory."""
    path = directory / "shelf.toml"
    path.write_text(text, encoding="utf-8")
    return path


def eventually(condition: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
    """Return as soon as `condition` holds; fail the test, naming `what`, when it does not in time."""
    deadline = time.monotonic() + patience_s
    while not condition():
        if time.monotonic() > deadline:
            pytest.fail(f"waited {patience_s:.0f} s in vain for: {what}")
        time.sleep(0.05)


class Level(NamedTuple):
    """One line of the relays' record; `at_s` on the machine's monotonic clock."""

    at_s: float
    allow: bool
    tub: str


def full_pipe() -> tuple[int, int]:
    """Both ends of a pipe that takes nothing more: whoever writes waits until somebody reads."""
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    with contextlib.suppress(BlockingIOError):
        while True:
            os.write(writing, b"x" * 4096)
    with contextlib.suppress(BlockingIOError):
        while True:
            os.write(writing, b"x")
    os.set_blocking(writing, True)
    return reading, writing


class Daemon:
    """`matwarden run` as a process. Several may follow each other in one directory, each with its own settings.

    Args:
        text: of its settings. more_environment: what its environment has besides ours.
        stderr: where its log goes; None: to a file, see `log`.
        script: Python lines to be carried out before the program begins.
        program: what Python is to run instead of the program itself.
    """

    def __init__(
        self,
        directory: Path,
        text: str,
        more_environment: Mapping[str, str] | None = None,
        *,
        stderr: int | None = None,
        script: str = "",
        program: Sequence[str] | None = None,
    ) -> None:
        self.settings = settings_file(directory, text)
        self.directory = directory
        self.socket = directory / "control.sock"
        self._record = directory / "relays.txt"
        self._log = directory / f"log-{time.monotonic_ns()}.txt"
        self._lines_before = len(self._lines())
        self.started_s = time.monotonic()
        run = ("run", "-s", self.settings)
        with self._log.open("wb") as log:
            self.process = subprocess.Popen(
                _command(run, script) if program is None else [sys.executable, *program, *map(str, run)],
                stdout=log,
                stderr=log if stderr is None else stderr,
                stdin=subprocess.DEVNULL,
                env={**environment(), **(more_environment or {})},
                preexec_fn=heed_signals,
            )

    @property
    def log(self) -> str:
        """Everything it has printed."""
        return self._log.read_text(encoding="utf-8")

    def levels(self, tub: str) -> list[Level]:
        """What this run's relay of the tub has done so far."""
        return [level for level in self._levels() if level.tub == tub]

    def allows(self, tub: str) -> bool:
        """Whether the relay's line lets the mat have power now."""
        levels = self.levels(tub)
        return bool(levels) and levels[-1].allow

    def until_allowed(self, *tubs: str) -> None:
        """Wait until each tub's mat may have power."""
        eventually(lambda: all(self.allows(tub) for tub in tubs), f"heat for {', '.join(tubs)}: {self.log}")

    def until_answering(self) -> None:
        """Wait until its socket answers."""
        eventually(self._answers, f"an answer at the socket: {self.log}")

    def ask(self, do: str, **more: Any) -> dict[str, Any]:
        """The station's own answer to a verb."""
        return ask(self.socket, {"do": do, **more})

    def status(self) -> dict[str, Any]:
        """The station's status document."""
        found: dict[str, Any] = self.ask("status")["status"]
        return found

    def heat(self, tub: str) -> dict[str, Any]:
        """What its status says of the tub's heat."""
        found: dict[str, Any] = next(each["heat"] for each in self.status()["enclosures"] if each["id"] == tub)
        return found

    def remembered(self, key: str) -> dict[str, Any]:
        """What its record on the disk remembers under a key."""
        return Recorded(self.directory / "data").remembered().get(key, {})

    def command(self, *words: str) -> Ran:
        """Carry out a command against this settings file."""
        return command(*words, "-s", self.settings)

    def kill(self) -> None:
        """`kill -9`: nothing of its own runs any more."""
        self.process.kill()
        self.process.wait(PATIENCE_S)

    def stop(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Ask it to stop and return its exit code."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_S)

    def _answers(self) -> bool:
        assert self.process.poll() is None, f"it ended with {self.process.returncode}: {self.log}"
        try:
            return bool(self.ask("status")["ok"])
        except NotRunningError:
            return False

    def _lines(self) -> list[str]:
        if not self._record.exists():
            return []
        text = self._record.read_text(encoding="utf-8")
        return text[: text.rfind("\n") + 1].splitlines()

    def _levels(self) -> list[Level]:
        levels = []
        for line in self._lines()[self._lines_before :]:
            at_s, word, tub = line.split()
            levels.append(Level(float(at_s), word == "allow", tub))
        return levels


def _command(words: tuple[str | Path, ...], script: str = "") -> list[str]:
    program = ["-c", f"{script}\nimport sys\nfrom matwarden.entry import main\nsys.exit(main())"]
    return [sys.executable, *(program if script else ["-m", "matwarden"]), *map(str, words)]


def heed_signals() -> None:
    """Take the signals as a terminal gives them."""
    # Tests may run under nohup or in a script's background, where some are ignored; a child would inherit that.
    for number in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT):
        signal.signal(number, signal.SIG_DFL)


def environment() -> dict[str, str]:
    # Also without an installation, and with help texts as wide as the terminal they are made for.
    paths = [str(ROOT / "daemon"), str(ROOT / "hardware"), os.environ.get("PYTHONPATH", "")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths)), "COLUMNS": "80", "PYTHONUTF8": "1"}
