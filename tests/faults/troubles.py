"""What begins and ends each trouble of the scenes: one small function each."""

from __future__ import annotations

import contextlib
import os
import resource
import signal
import threading
from collections.abc import Callable
from pathlib import Path

from faults.services import Flooding, Refusing, free_port, locked
from faults.spoiler import Spoiler
from faults.stage import Stage
from helpers_kindled import Silent
from helpers_process import ROOT, command
from helpers_push import WebEndpoint

_Act = Callable[[Stage], None]


def no_broker(stage: Stage) -> None:
    """Nobody listens where it should be."""
    _mqtt(stage, free_port())


def broker(kind: type[Refusing] | type[Flooding] | type[Silent]) -> _Act:
    """One that misbehaves from the start."""

    def prepare(stage: Stage) -> None:
        service = kind()
        stage.closing.callback(service.close)
        _mqtt(stage, service.port)

    return prepare


def no_phone(stage: Stage) -> None:
    """Nobody listens where pushes go; `phone_is_back` makes it listen."""
    stage.phone = WebEndpoint()
    stage.phone.port = free_port()
    _push_to(stage, stage.phone)


def phone_is_back(stage: Stage) -> None:
    assert stage.phone is not None
    stage.closing.enter_context(stage.phone.up())


def phone(*, status: int = 200, hang: bool = False) -> _Act:
    """One that answers so, or not at all, until `phone_works`."""

    def prepare(stage: Stage) -> None:
        stage.phone = WebEndpoint()
        stage.phone.status, stage.phone.hang = status, hang
        stage.closing.enter_context(stage.phone.up())
        _push_to(stage, stage.phone)

    return prepare


def phone_works(stage: Stage) -> None:
    assert stage.phone is not None
    stage.phone.status, stage.phone.hang = 200, False
    stage.phone.release.set()


def spoilt(stage: Stage) -> None:
    """Disk and clock can be spoilt from now on."""
    stage.spoiler = Spoiler(stage.directory, stage.data)
    stage.environment.update(stage.spoiler.environment)


def spoilt_from_the_start(error: int) -> _Act:
    """Changes of the record are refused from the start."""

    def prepare(stage: Stage) -> None:
        spoilt(stage)
        assert stage.spoiler is not None
        stage.spoiler.refuse(error)

    return prepare


def refuse(error: int) -> _Act:
    """Changes of the record are refused with this error; 0: no more."""

    def act(stage: Stage) -> None:
        assert stage.spoiler is not None
        stage.spoiler.refuse(error)

    return act


def refuse_and_kill(error: int) -> _Act:
    """The same, and the next life begins with it."""

    def act(stage: Stage) -> None:
        refuse(error)(stage)
        stage.daemon.kill()

    return act


def slow_disk(by_s: float) -> _Act:
    """Each write and each sync of the record takes so much longer."""

    def act(stage: Stage) -> None:
        assert stage.spoiler is not None
        stage.spoiler.slow_disk(by_s)

    return act


def step_clock(by_s: float) -> _Act:
    """The wall clock is set."""

    def act(stage: Stage) -> None:
        assert stage.spoiler is not None
        stage.spoiler.step_clock(by_s)
        stage.clock_set = True

    return act


def lock(stage: Stage) -> None:
    """Another process holds the record until `unlock`."""
    holding, free = threading.Event(), threading.Event()

    def hold() -> None:
        with locked(stage.database):
            holding.set()
            free.wait()

    # In a thread of its own: SQLite's connections want to be closed where they were opened.
    thread = threading.Thread(target=hold, daemon=True)
    thread.start()
    holding.wait()
    stage.unlock = free
    stage.closing.callback(free.set)


def unlock(stage: Stage) -> None:
    assert stage.unlock is not None
    stage.unlock.set()


def no_bigger_files(stage: Stage) -> None:
    """Every further byte is refused with EFBIG; the short files of relays and phone still grow."""
    size = max(path.stat().st_size for path in stage.data.iterdir())
    resource.prlimit(stage.pid, resource.RLIMIT_FSIZE, (size, -1))


def bigger_files(stage: Stage) -> None:
    resource.prlimit(stage.pid, resource.RLIMIT_FSIZE, (-1, -1))


def damage(stage: Stage) -> None:
    """Noise over the first pages of the record and of its log."""
    for name in (stage.database, stage.database.with_name("matwarden.db-wal")):
        with contextlib.suppress(FileNotFoundError), name.open("r+b") as file:
            file.write(os.urandom(8192))


def damage_and_kill(stage: Stage) -> None:
    stage.daemon.kill()
    damage(stage)


def no_more_memory(stage: Stage) -> None:
    """Not a page more than it has now."""
    pages = int(Path(f"/proc/{stage.pid}/statm").read_text().split()[0])
    size = pages * resource.getpagesize()
    resource.prlimit(stage.pid, resource.RLIMIT_AS, (size, size))


def send(number: signal.Signals) -> _Act:
    return lambda stage: stage.daemon.process.send_signal(number)


def second_daemon(stage: Stage) -> None:
    """Started on the same record; it must refuse."""
    settings = stage.directory / "second.toml"
    text = stage.text(None).replace("relays.txt", "second.txt").replace("control.sock", "second.sock")
    settings.write_text(text, encoding="utf-8")
    ran = command("run", "-s", settings)
    assert ran.code == 4, ran
    stage.said.append(ran.err)


def change_settings(stage: Stage) -> None:
    """Higher limits, written while it runs."""
    text = stage.daemon.settings.read_text(encoding="utf-8")
    higher = text.replace("prove_readings", "setpoint = 29.0\nlimiter = 30.5\ncut_out = 31.0\nprove_readings")
    stage.daemon.settings.write_text(higher, encoding="utf-8")


def zone(name: str) -> _Act:
    """The machine's own time zone; the settings name theirs."""
    return lambda stage: stage.environment.update(TZ=name)


def little_memory(stage: Stage) -> None:
    """Too little to start with: set by a launcher, before the program is loaded."""
    stage.program = (str(ROOT / "tests" / "faults" / "launcher.py"), "memory", str(60_000_000))


def dht22(stage: Stage) -> None:
    """Alder's air is read from a DHT22 in its child process; its pulses come from a file."""
    _frames(stage, ["frame 028c00f07e"] * 400)
    stage.program = (str(ROOT / "tests" / "faults" / "launcher.py"), "dht22", str(stage.directory))


def dht22_does(step: str) -> _Act:
    """Its next capture hangs or crashes; after that it works again."""
    return lambda stage: _frames(stage, [step] + ["frame 028c00f07e"] * 400)


def _frames(stage: Stage, steps: list[str]) -> None:
    # In one move: the child takes its steps from this file all the while.
    unfinished = stage.directory / "steps.new"
    unfinished.write_text("".join(f"{step}\n" for step in steps))
    unfinished.rename(stage.directory / "steps")


def _mqtt(stage: Stage, port: int) -> None:
    stage.more += f'\n[mqtt]\nhost = "127.0.0.1"\nport = {port}\n'


def _push_to(stage: Stage, endpoint: WebEndpoint) -> None:
    port = endpoint.port
    stage.more += f'\n[push]\n[[push.target]]\nname = "phone"\nurl = "json://127.0.0.1:{port}/secret-path-7f3a"\n'
