"""A DHT22 whose pulses are written by a test, behind the library's real decoder in a real child process.

Run as a program this is such a child: it serves the product's protocol with the library's own class, of which only the
capture of pulses is replaced. Its steps stand in a file, one a line, and each is taken out as it is used, so that a
child which is started anew goes on where the last one ended. Steps:

    frame HEX     five bytes as pulses          late HEX     the same, beginning one edge late
    train N,N,..  pulses in microseconds        hang, crash, exit, index-error, lose-helper
"""

from __future__ import annotations

import array
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from matwarden_hardware.dht22 import Dht22Probe

# Longer than a child needs to start or to answer on a busy machine.
PATIENCE_S = 20.0
LABEL = "probe DHT22 on GPIO 4"
PULSE_MODULE = "adafruit_blinka.microcontroller.bcm283x.pulseio.PulseIn"


class Dht22Rig:
    """A probe over a child whose captures are scripted. `clock_s` is the probe's own clock, moved by the test."""

    def __init__(self, directory: Path, *steps: str, deadline_s: float = PATIENCE_S, backend: str = "bitbang") -> None:
        self._steps = directory / "steps"
        self._steps.write_text("")
        self.pids_file = directory / "pids"
        self.then(*steps)
        self.clock_s = 100.0
        self.probe = Dht22Probe(
            4,
            command=child_command(directory, backend),
            deadline_s=deadline_s,
            monotonic_s=lambda: self.clock_s,
        )

    def then(self, *steps: str) -> None:
        """Further steps."""
        with self._steps.open("a") as file:
            file.writelines(f"{step}\n" for step in steps)

    def only(self, *steps: str) -> None:
        """These steps from now on, whatever was still to come."""
        self._steps.write_text("")
        self.then(*steps)

    def later(self, by_s: float = 10.0) -> Dht22Rig:
        """Let time pass for the probe."""
        self.clock_s += by_s
        return self

    def pids(self) -> list[int]:
        """Every process of the rig so far: children, and their helpers."""
        return [int(line) for line in self.pids_file.read_text().split()]


def child_command(directory: Path, backend: str) -> Sequence[str]:
    return (sys.executable, "-P", __file__, str(directory), backend)


@contextmanager
def rigged(directory: Path, *steps: str, **options: Any) -> Iterator[Dht22Rig]:
    rig = Dht22Rig(directory, *steps, **options)
    try:
        yield rig
    finally:
        rig.probe.close()


def pulses(data: bytes, low: int = 50, zero: int = 26, one: int = 70) -> list[int]:
    """The 81 widths of a frame in microseconds (AM2302 datasheet: low 50, then 26 to 28 for 0 and 70 for 1)."""
    bits = [byte >> place & 1 for byte in data for place in range(7, -1, -1)]
    return [width for bit in bits for width in (low, one if bit else zero)] + [low]


def gone(pid: int) -> bool:
    """True once the process has ended, even if nobody has collected it."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except (FileNotFoundError, ProcessLookupError):
        return True


def queue_exists(directory: Path, queue: str | None = None) -> bool:
    """Whether the kernel still lists the message queue of the latest child, or the one given."""
    wanted = queue or (directory / "queue").read_text()
    return wanted in [line.split()[1] for line in Path("/proc/sysvipc/msg").read_text().splitlines()]


def wait_for(holds: Callable[[], bool]) -> None:
    """Wait for another process; only a failing test waits long."""
    give_up_s = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < give_up_s
        time.sleep(0.01)


def wait_for_end(pid: int) -> tuple[int, int]:
    """Wait until a child of this process has ended with all its threads; how it ended. It is not collected."""
    ended = os.waitid(os.P_PID, pid, os.WEXITED | os.WNOWAIT)
    assert ended is not None
    return ended.si_code, ended.si_status


def _take(directory: Path) -> str:
    first, _, rest = (directory / "steps").read_text().partition("\n")
    (directory / "steps").write_text(rest)
    return first


def _note_pid(directory: Path, pid: int) -> None:
    with (directory / "pids").open("a") as file:
        file.write(f"{pid}\n")


def _captured(directory: Path) -> array.array[int]:
    kind, _, argument = _take(directory).partition(" ")
    if kind == "hang":
        threading.Event().wait()
    elif kind == "crash":
        os.kill(os.getpid(), signal.SIGSEGV)
    elif kind == "exit":
        os._exit(3)
    elif kind == "index-error":
        raise IndexError("pop from empty list")
    elif kind == "train":
        return array.array("H", [int(width) for width in argument.split(",") if width])
    widths = pulses(bytes.fromhex(argument))
    return array.array("H", widths[1:] if kind == "late" else widths)


class _StandInHelper:
    """In place of the library's compiled helper: answers on the library's queue, in a process of its own."""

    def __init__(self, command: list[str], directory: Path) -> None:
        key = int(command[command.index("--queue") + 1])
        self.pid = os.fork()
        if self.pid == 0:
            os.closerange(3, 100)  # a helper that is executed holds none of these
            try:
                _help(key, directory)
            except BaseException:
                threading.Event().wait()  # the real one lives on without its queue, and holds the line
            finally:
                os._exit(0)
        _note_pid(directory, self.pid)

    def terminate(self) -> None:
        os.kill(self.pid, signal.SIGTERM)


def _help(key: int, directory: Path) -> None:
    import sysv_ipc

    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    messages = sysv_ipc.MessageQueue(key)
    held: list[int] = []
    messages.send("!", type=2)
    while True:
        asked = messages.receive(type=1)[0]
        if asked[:1] == b"t":
            kind, _, argument = _take(directory).partition(" ")
            if kind == "lose-helper":
                return
            held = pulses(bytes.fromhex(argument))
        elif asked == b"l":
            messages.send(str(len(held)), type=2)
        elif asked == b"^":
            messages.send(str(held.pop(0)), type=2)


def _scripted(directory: Path, backend: str) -> Any:
    import adafruit_dht
    import board

    pin = board.Dx_INPUT_TRUE  # type: ignore[attr-defined, unused-ignore]
    if backend == "pulseio":
        from importlib import import_module
        from types import SimpleNamespace

        module: Any = import_module(PULSE_MODULE)
        module.subprocess = SimpleNamespace(Popen=lambda command: _StandInHelper(command, directory))
        adafruit_dht.PulseIn = module.PulseIn
        _note_pid(directory, os.getpid())
        sensor = adafruit_dht.DHT22(pin, use_pulseio=True)
        (directory / "queue").write_text(str(sensor.pulse_in._mq.id))
        return sensor

    class Scripted(adafruit_dht.DHT22):  # type: ignore[misc, unused-ignore]
        def _get_pulses_bitbang(self) -> array.array[int]:
            return _captured(directory)

    _note_pid(directory, os.getpid())
    return Scripted(pin, use_pulseio=False)


def _main(directory: Path, backend: str) -> None:
    from matwarden_hardware import dht22_child

    os.environ["BLINKA_OS_AGNOSTIC"] = "1"
    os.environ["BLINKA_SKIP_DEPENDENCY_CHECK"] = "1"
    if backend == "parent":  # a daemon's stand-in, which will be killed in the middle of a read
        probe = Dht22Probe(4, command=child_command(directory, "pulseio"), deadline_s=600.0)
        probe.read()
    dht22_child.serve(lambda: _scripted(directory, backend), spacing_s=0.0)


if __name__ == "__main__":
    _main(Path(sys.argv[1]), sys.argv[2])
