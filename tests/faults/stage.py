"""A stage for one fault of the process or of what it talks to: the real program, a stand-in for its service manager.

The stand-in listens to the program's datagrams, ends it when they stop (sd_notify(3); systemd.service(5), WatchdogSec),
runs the command of `ExecStopPost=` after every end and starts it again: what the unit asks of systemd.
"""

from __future__ import annotations

import contextlib
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from faults.spoiler import Spoiler
from helpers_process import Daemon, Level, command, offset, shelf_text
from helpers_push import WebEndpoint

__all__ = ["ALDER_W", "HOT_AT_S", "WATCHDOG_S", "Scene", "Stage", "TooSlowError", "staged"]

# When alder's wall reads hot, in seconds of the shelf: well after the rest before heat, also on a busy machine.
HOT_AT_S = 20.0
# Shorter than the unit's own, so that nobody need wait for it.
WATCHDOG_S = 4.0
# RestartSec= of the unit.
RESTART_S = 2.0
# Twice what a tub of this size should have.
ALDER_W = 15.0


class TooSlowError(Exception):
    """The machine is so busy that the hot wall came before the trouble: play it again."""


@dataclass(slots=True)
class Stage:
    """One scene being played.

    Attributes:
        more: further lines of the settings. environment: of the program, besides ours.
        program: what Python runs instead of the program itself.
        lives: every process so far; the last is the one that runs, or ran last.
        said: what other programs said to whoever started them.
        clock_set: its wall clock is not that of everybody else.
        phone: where pushes go, when they go to an address. spoiler, unlock: of the scenes that have them.
    """

    directory: Path
    closing: contextlib.ExitStack
    manager: socket.socket
    more: str = ""
    environment: dict[str, str] = field(default_factory=dict)
    program: Sequence[str] | None = None
    lives: list[Daemon] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    phone: WebEndpoint | None = None
    spoiler: Spoiler | None = None
    clock_set: bool = False
    unlock: threading.Event | None = None
    pinged_s: float | None = None

    @property
    def daemon(self) -> Daemon:
        return self.lives[-1]

    @property
    def pid(self) -> int:
        return self.daemon.process.pid

    @property
    def data(self) -> Path:
        return self.directory / "data"

    @property
    def database(self) -> Path:
        return self.data / "matwarden.db"

    def text(self, hot_at_s: float | None) -> str:
        """The settings: oak and alder ask for heat; alder's wall reads 8 K more from `hot_at_s` on."""
        hot = "" if hot_at_s is None else offset("alder-wall", 8.0, at_s=hot_at_s)
        more = self.more
        if "[push]" not in more:
            more += f'\n[push]\n[[push.target]]\nname = "phone"\nurl = "file:{self.directory}/phone.txt"\n'
        text = shelf_text("oak", "alder", more=hot + more)
        twin = '[[twin]]\nenclosure = "alder"\n'
        return text.replace(twin, f"{twin}mat_w = {ALDER_W}\n")

    def start(self, hot_at_s: float | None) -> None:
        """Begin another life."""
        watched = {"NOTIFY_SOCKET": str(self.directory / "notify"), "WATCHDOG_USEC": str(int(WATCHDOG_S * 1e6))}
        self.pinged_s = None
        self.lives.append(
            Daemon(self.directory, self.text(hot_at_s), {**watched, **self.environment}, program=self.program)
        )

    def attend(self) -> None:
        """What the service manager does: the watchdog, the command after the end, and the next start."""
        with contextlib.suppress(BlockingIOError):
            while True:
                if b"WATCHDOG=1" in self.manager.recv(4096):
                    self.pinged_s = time.monotonic()
        process = self.daemon.process
        if process.poll() is None and self.pinged_s is not None and time.monotonic() - self.pinged_s > WATCHDOG_S:
            # systemd sends SIGCONT after every signal but SIGKILL (from memory).
            process.send_signal(signal.SIGABRT)
            process.send_signal(signal.SIGCONT)
            process.wait(30.0)
        if process.poll() is not None:
            self.ends.append(process.returncode)
            command("cut", "--lines", self.data / "relay-lines")
            time.sleep(RESTART_S)
            self.start(None)

    def levels(self) -> list[Level]:
        """What alder's line did, over all lives of the process."""
        return [level for life in self.lives for level in life.levels("alder")]

    def log(self) -> str:
        """Everything all lives have printed."""
        return "".join([*self.said, *(life.log for life in self.lives)])

    def pushed(self) -> list[str]:
        """The titles of everything that reached the phone."""
        file = self.directory / "phone.txt"
        lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
        return [line.split("  ")[1] for line in lines] + ([] if self.phone is None else list(self.phone.titles))

    def end(self) -> None:
        """Leave no process behind."""
        for life in self.lives:
            if life.process.poll() is None:
                with contextlib.suppress(ProcessLookupError):
                    life.process.send_signal(signal.SIGCONT)
            life.kill()


def _nothing(stage: Stage) -> None:
    """No trouble now: it was there from the start, or ends by itself."""


@dataclass(frozen=True, slots=True)
class Scene:
    """One trouble.

    Attributes:
        how: by what means, for the reader of the table.
        prepare: makes whatever has to be there before the start.
        trouble: begins it, while alder is heated. mend: ends it, after the hot wall was seen to.
        words: what the push or the log says of the trouble itself; empty: there is only alder's trip to be told.
        mend_first: nothing can be told until it is mended.
        kills: the trouble ends or freezes the process, and no wall reads hot.
        never: the program cannot start, and must never allow heat.
        watched_s: how long the keeper's word is waited for, after the hot wall or the death.
        bound_s: how long the line may go on allowing heat, at the most.
        unit_adds_s: by how much the unit's own watchdog is later than the stand-in's.
    """

    name: str
    how: str
    trouble: Callable[[Stage], None] = _nothing
    prepare: Callable[[Stage], None] = _nothing
    mend: Callable[[Stage], None] = _nothing
    words: str = ""
    mend_first: bool = False
    kills: bool = False
    never: bool = False
    watched_s: float = 20.0
    bound_s: float = 2.5
    unit_adds_s: float = 0.0


@contextlib.contextmanager
def staged(scene: Scene, directory: Path) -> Iterator[Stage]:
    """The stage, prepared and not yet started; nothing is left running afterwards."""
    directory.mkdir()
    with contextlib.ExitStack() as closing, socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(directory / "notify"))
        manager.setblocking(False)
        stage = Stage(directory, closing, manager)
        scene.prepare(stage)
        # Last entered, first left: what a scene holds must not hold up the end of its processes.
        closing.callback(stage.end)
        yield stage
