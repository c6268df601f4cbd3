"""What the running daemon costs: memory, processor, start, a broker that goes and comes, a night's picture."""

from __future__ import annotations

import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bench.table import Row
from bench.workload import settings_text

ROOT = Path(__file__).resolve().parents[2]
_TICKS = os.sysconf("SC_CLK_TCK")
_PATIENCE_S = 60.0
_MOSQUITTO = shutil.which("mosquitto") or "/usr/sbin/mosquitto"


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": f"{ROOT / 'daemon'}{os.pathsep}{ROOT / 'hardware'}"}


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


@contextmanager
def broker(port: int, directory: Path) -> Iterator[subprocess.Popen[bytes]]:
    settings = directory / "mosquitto.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n", encoding="utf-8")
    quiet = subprocess.DEVNULL
    process = subprocess.Popen([_MOSQUITTO, "-c", str(settings)], stdout=quiet, stderr=quiet)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@contextmanager
def daemon(directory: Path, text: str) -> Iterator[tuple[subprocess.Popen[bytes], float]]:
    """A running daemon, and the seconds until its first complete cycle."""
    settings = directory / "bench.toml"
    settings.write_text(text, encoding="utf-8")
    address = directory / "notify"
    address.unlink(missing_ok=True)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as told, (directory / "log").open("wb") as log:
        told.bind(str(address))
        told.settimeout(_PATIENCE_S)
        began_s = time.monotonic()
        process = subprocess.Popen(
            [sys.executable, "-m", "matwarden", "run", "-s", str(settings)],
            env={**environment(), "NOTIFY_SOCKET": str(address)},
            stderr=log,
            stdout=log,
        )
        try:
            while b"READY=1" not in told.recv(4096):
                pass
            yield process, time.monotonic() - began_s
        finally:
            process.terminate()
            process.wait(_PATIENCE_S)


def status_kb(pid: int, key: str) -> int:
    for line in Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines():
        if line.startswith(f"{key}:"):
            return int(line.split()[1])
    raise KeyError(key)


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / _TICKS


def bare_kb() -> int:
    program = "import sys; sys.stdout.write('x'); sys.stdout.flush(); sys.stdin.read()"
    with subprocess.Popen([sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        process.stdout.read(1)
        return status_kb(process.pid, "VmRSS")


def start() -> list[Row]:
    """From the start of the program to its first verdict, against a Python that does nothing."""
    bare = statistics.median(_seconds([sys.executable, "-c", "pass"]) for _ in range(15))
    with tempfile.TemporaryDirectory() as name:
        took = []
        for n in range(5):
            directory = Path(name) / str(n % 2)
            directory.mkdir(exist_ok=True)
            with daemon(directory, settings_text(directory)) as (_, ready_s):
                took.append(ready_s)
    ratio = statistics.median(took) / bare
    figure = f"{statistics.median(took):.2f} s, {ratio:.0f} ×"
    return [Row("start to first verdict", figure, f"`python -c pass` {bare * 1000:.0f} ms", "30 ×", ratio <= 30.0)]


def memory(settle_s: float = 100.0) -> list[Row]:
    """Steady and peak memory and processor time at W with every sink on, the digest made meanwhile."""
    bare = bare_kb()
    with tempfile.TemporaryDirectory() as name:
        directory, port = Path(name), free_port()
        at = (datetime.now(UTC) + timedelta(seconds=75)).strftime("%H:%M")
        text = settings_text(directory, port=port, digest_at=at, picture=True)
        with broker(port, directory), daemon(directory, text) as (process, _):
            time.sleep(10.0)
            began_s, before_s = time.monotonic(), cpu_s(process.pid)
            time.sleep(30.0)
            used = (cpu_s(process.pid) - before_s) / (time.monotonic() - began_s) * 3600.0
            time.sleep(settle_s)
            steady, peak = status_kb(process.pid, "VmRSS"), status_kb(process.pid, "VmHWM")
            threads = status_kb(process.pid, "Threads")
            made = (directory / "pushes.txt").exists()
    ratio = steady / bare
    night = "digest night included" if made else "no digest was made meanwhile"
    return [
        Row(
            "steady memory at W, all sinks on",
            f"{steady / 1024:.1f} MB, {ratio:.1f} ×, {threads} threads",
            f"bare python {bare / 1024:.1f} MB",
            "48 MB and 5.5 ×",
            steady <= 48 * 1024 and ratio <= 5.5,
        ),
        Row(f"peak memory at W, {night}", f"{peak / 1024:.1f} MB", "as above", "64 MB", made and peak <= 64 * 1024),
        Row(
            "processor at W",
            f"{used:.1f} s an hour (from 30 s, the simulated shelf included)",
            "–",
            "6 s an hour",
            used <= 6.0,
        ),
    ]


def broker_back() -> list[Row]:
    """How soon a daemon is at its broker again that was away for ten seconds."""
    from paho.mqtt import subscribe

    with tempfile.TemporaryDirectory() as name:
        directory, port = Path(name), free_port()
        text = settings_text(directory, 2, port=port)
        with broker(port, directory):
            process_of = daemon(directory, text)
            process, _ = process_of.__enter__()
            time.sleep(3.0)
        try:
            before = status_kb(process.pid, "VmRSS")
            time.sleep(10.0)
            with broker(port, directory):
                began_s = time.monotonic()
                while True:
                    try:
                        found = subscribe.simple(  # type: ignore[no-untyped-call]
                            "homie/5/bench/$state", hostname="127.0.0.1", port=port, keepalive=5
                        )
                        if not isinstance(found, list) and found.payload == b"ready":
                            break
                    except OSError:
                        time.sleep(0.05)
                took_s = time.monotonic() - began_s
                after = status_kb(process.pid, "VmRSS")
        finally:
            process_of.__exit__(None, None, None)
    return [
        Row("broker back after 10 s", f"{took_s:.1f} s", "back-off 1 to 5 s", "6 s", took_s <= 6.0),
        Row(
            "memory while the broker is away (10 s; days were not tried)",
            f"+{max(0, after - before) / 1024:.1f} MB",
            "–",
            "+4 MB",
            None,
        ),
    ]


def picture() -> list[Row]:
    """One night's picture: what the child costs, which is gone with it."""
    program = (
        "import resource, sys, time; began = time.monotonic(); from night_examples import night_of;"
        " from matwarden.report.picture import picture; picture(night_of());"
        " print(time.monotonic() - began, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    env = environment()
    env["PYTHONPATH"] += f"{os.pathsep}{ROOT / 'tests'}"
    bare = (
        "import matplotlib.figure, matplotlib.backends.backend_agg, resource;"
        " print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    took_s, peak_kb = subprocess.run(
        [sys.executable, "-c", program], env=env, capture_output=True, text=True, check=True
    ).stdout.split()
    bare_mb = (
        int(subprocess.run([sys.executable, "-c", bare], capture_output=True, text=True, check=True).stdout) / 1024
    )
    figure = f"{float(took_s):.1f} s, {int(peak_kb) / 1024:.0f} MB in a child"
    return [
        Row(
            "one night's picture (2 tubs)",
            figure,
            f"matplotlib alone {bare_mb:.0f} MB",
            "a child process; daemon + 0 MB",
            True,
        )
    ]


def exposure() -> list[Row]:
    """What systemd says of the unit."""
    rows = []
    if shutil.which("systemd-analyze") is None:
        return [Row("unit exposure", "systemd-analyze is not installed", "–", "1.3", None)]
    for drop_in, budget in ((None, 1.3), ("broker-only.conf", 1.2)):
        with tempfile.TemporaryDirectory() as name:
            unit = Path(shutil.copy(ROOT / "systemd" / "matwarden.service", name))
            if drop_in is not None:
                Path(f"{unit}.d").mkdir()
                shutil.copy(ROOT / "systemd" / drop_in, f"{unit}.d")
            words = ["systemd-analyze", "security", "--offline=yes", str(unit)]
            told = subprocess.run(words, capture_output=True, text=True, check=False).stdout
        line = next(line for line in told.splitlines() if "Overall exposure level" in line)
        level = float(line.rpartition(": ")[2].split()[0])
        what = "unit exposure" if drop_in is None else "unit exposure, broker only"
        rows.append(Row(what, f"{level}", "Debian 12: median 9.5", f"{budget}", level <= budget))
    return rows


def _seconds(words: list[str]) -> float:
    began_s = time.perf_counter()
    subprocess.run(words, check=True)
    return time.perf_counter() - began_s
