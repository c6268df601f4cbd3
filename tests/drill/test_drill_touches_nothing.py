"""A drill opens no device, no broker, no push target, no socket, and leaves the keeper's record as it was."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_drill import commission, real_settings, recorded_nights
from helpers_process import environment

_SERVICES = """
[mqtt]
host = "127.0.0.1"
port = {port}
[push]
[[push.target]]
name = "phone"
url = "json://127.0.0.1:{port}/secret-path"
[[push.target]]
name = "paper"
url = "file:{directory}/paper.txt"
[heartbeat]
url_file = "{directory}/heartbeat"
[[watch]]
id = "shelf-2"
"""
_WATCHED = Path(__file__).with_name("watched.py")
# Four lives of a day each: on a machine that is busy with other tests it takes a while.
_PATIENCE_S = 300.0
pytestmark = pytest.mark.timeout(500)


@pytest.fixture
def listening() -> Iterator[socket.socket]:
    """Where broker, phone and heartbeat would be."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.setblocking(False)
        yield server


@pytest.fixture
def keeper(tmp_path: Path, listening: socket.socket) -> Path:
    """A keeper's directory: real drivers and every service in the settings, a recorded night, a commissioned tub."""
    port = listening.getsockname()[1]
    (tmp_path / "heartbeat").write_text(f"http://127.0.0.1:{port}/alive\n")
    (tmp_path / "temporary").mkdir()
    real_settings(tmp_path, _SERVICES.format(port=port, directory=tmp_path))
    recorded_nights(tmp_path, 17.0)
    commission(tmp_path)
    # The drawing library looks for the machine's fonts once and keeps what it found: no drill's doing.
    subprocess.run([sys.executable, "-c", "import matplotlib.font_manager"], env=_environment(tmp_path), check=True)
    return tmp_path


def _words(keeper: Path) -> list[str]:
    range_ = ("--from", "2026-01-16T18:00", "--to", "2026-01-17T10:30")
    return [
        "drill",
        "oak",
        "--fault",
        "relay-welded",
        *range_,
        "--out",
        f"{keeper}/out",
        "-s",
        f"{keeper}/matwarden.toml",
    ]


def _environment(keeper: Path) -> dict[str, str]:
    kept = {
        "TMPDIR": str(keeper / "temporary"),
        "MPLCONFIGDIR": str(keeper / "temporary"),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    return {**environment(), **kept}


def _files(directory: Path) -> dict[str, str]:
    """Every file below, by its contents."""
    return {
        str(path.relative_to(directory)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(directory.rglob("*"))
        if path.is_file()
    }


def _nobody_called(listening: socket.socket) -> bool:
    try:
        listening.accept()
    except BlockingIOError:
        return True
    return False


def test_nothing_is_opened_or_written_but_a_directory_of_its_own_and_out(
    keeper: Path, listening: socket.socket
) -> None:
    """Every open for writing, socket, process, database and device that the interpreter sees, in a whole drill."""
    before = _files(keeper / "data")
    heard_in = keeper / "heard.jsonl"
    done = subprocess.run(
        [sys.executable, str(_WATCHED), str(heard_in), *_words(keeper)],
        env=_environment(keeper),
        capture_output=True,
        text=True,
        timeout=_PATIENCE_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "rings after" in done.stdout
    heard = [json.loads(line) for line in heard_in.read_text(encoding="utf-8").splitlines()]
    own = (f"{keeper}/temporary", f"{keeper}/out")
    # The hook works: the drill's own record and its picture are heard.
    assert any(event == "sqlite3.connect" and arguments[0].startswith(own) for event, arguments in heard)
    assert any(event == "open" and arguments[0].endswith("drill-oak-relay-welded.png") for event, arguments in heard)
    assert [(event, arguments) for event, arguments in heard if not _is_harmless(event, arguments, own, keeper)] == []
    assert _files(keeper / "data") == before
    assert not (keeper / "paper.txt").exists()
    assert not list((keeper / "temporary").glob("matwarden-drill-*"))
    assert _nobody_called(listening)


def _is_harmless(event: str, arguments: list[str], own: tuple[str, ...], keeper: Path) -> bool:
    if event.startswith("sqlite3.connect"):
        # The keeper's record is only read, and as a file alone: not even an index is made beside it.
        alone = f"file://{keeper}/data/matwarden.db?mode=ro&immutable=1"
        where = arguments[0].removeprefix("file://")
        return event == "sqlite3.connect/handle" or arguments[0] in (":memory:", alone) or where.startswith(own)
    if event == "os.remove":
        # By its name within a directory that is open: `rmtree`, whose own event tells which.
        return arguments[0].startswith(own) or ("/" not in arguments[0] and arguments[1] != "-1")
    if event == "os.truncate":
        # By its number: of a file that was opened, which was heard.
        return arguments[0].isdigit()
    if event == "ctypes.dlopen":
        return arguments == ["None"]
    return event in ("open", "os.mkdir", "os.rmdir", "shutil.rmtree") and arguments[0].startswith(own)


@pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace")
def test_the_kernel_is_asked_for_no_device_and_no_connection(keeper: Path, listening: socket.socket) -> None:
    """The same seen from outside, libraries in C included: system calls of the drill and of every child."""
    trace = keeper / "trace.txt"
    calls = "trace=openat,open,creat,connect,bind,sendto,socket,execve,unlink,unlinkat,rename,mkdir"
    command = ["strace", "-f", "-qq", "-o", str(trace), "-e", calls, sys.executable, "-m", "matwarden", *_words(keeper)]
    done = subprocess.run(
        command, env=_environment(keeper), capture_output=True, text=True, timeout=_PATIENCE_S, check=False
    )
    if not trace.exists() or "ptrace" in done.stderr:
        pytest.skip("strace may not trace here")
    assert done.returncode == 0, done.stderr
    lines = trace.read_text(encoding="utf-8", errors="replace").splitlines()
    assert any("matwarden-drill-" in line and "O_RDWR" in line for line in lines)
    assert [line for line in lines if not _is_harmless_call(line, keeper)] == []
    assert _nobody_called(listening)


def _is_harmless_call(line: str, keeper: Path) -> bool:
    call, path = re.search(r"^\d+ +(\w+)\(", line), re.search(r'"([^"]*)"', line)
    if call is None or path is None:
        return call is None  # a signal, or an end
    name, where = call[1], path[1]
    if name in ("connect", "bind", "sendto", "socket"):
        return False
    if name == "execve":
        return where == sys.executable
    if where.startswith(("/dev/", "/sys/")):
        # The numeric libraries count the processors they may use.
        return where in ("/dev/null", "/dev/urandom") or where.startswith(("/sys/devices/system/cpu", "/sys/fs/cgroup"))
    writes = name in ("creat", "unlink", "rename", "mkdir") or re.search("O_WRONLY|O_RDWR|O_CREAT", line)
    # `unlinkat` names a file within a directory that is open: rmtree.
    return not writes or where.startswith((f"{keeper}/temporary", f"{keeper}/out"))
