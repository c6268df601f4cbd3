"""A real service manager for the unit file: systemd as process 1 of name spaces of its own, thrown away afterwards.

It has its own processes, mounts, network (loopback only) and control groups; the machine's files are below an overlay
in memory, so that nothing it does lasts, and it dies with the tests' process. It needs root, systemd installed but not
running the machine, and a version 2 control-group tree; without them the tests that want it are skipped, and say why.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import sysconfig
import tempfile
import time
from pathlib import Path

import pytest

from helpers_process import ROOT

_SYSTEMD = Path("/usr/lib/systemd/systemd")
# It boots in two seconds here; on a machine that is busy with other things it has taken longer than thirty.
_BOOT_PATIENCE_S = 60.0
_BOOTS_N = 2
_PATH = "/usr/sbin:/usr/bin:/sbin:/bin"
_UNSHARE = ("unshare", "--cgroup", "--mount", "--pid", "--ipc", "--uts", "--net", "--fork", "--kill-child")
# What would reach past the name spaces, or only takes time.
_MASKED = (
    "systemd-udevd.service systemd-udev-trigger.service systemd-sysctl.service systemd-modules-load.service",
    "systemd-tmpfiles-setup-dev.service systemd-binfmt.service systemd-journald.service systemd-journald.socket",
    "systemd-journald-dev-log.socket systemd-journald-audit.socket systemd-journal-flush.service timers.target",
    "systemd-remount-fs.service systemd-update-utmp.service modprobe@.service sys-kernel-config.mount",
    "dev-hugepages.mount dev-mqueue.mount sys-kernel-debug.mount sys-kernel-tracing.mount",
    "sys-fs-fuse-connections.mount proc-sys-fs-binfmt_misc.automount",
)

# A root of our own. What fails here is not allowed on this machine, and no fault of the unit's.
_ROOT = r"""
set -e
mount --make-rprivate /
mount -t tmpfs tmpfs "$BASE"
mkdir "$BASE/upper" "$BASE/work" "$BASE/root"
mount -t overlay overlay -o lowerdir=/,upperdir="$BASE/upper",workdir="$BASE/work" "$BASE/root"
cd "$BASE/root"
mount -t proc proc proc
mount --bind -o ro proc/sys proc/sys
mount -t sysfs -o ro sysfs sys
mount -t cgroup2 cgroup2 sys/fs/cgroup
"""

# The program in it, and systemd as its process 1.
_BOOT = r"""
ip link set lo up
mount -t tmpfs -o mode=755 tmpfs run
mount -t tmpfs -o mode=755 tmpfs dev
for node in null zero full random urandom tty kmsg; do touch dev/$node; mount --bind /dev/$node dev/$node; done
mkdir dev/shm dev/pts; ln -s /proc/self/fd dev/fd
mkdir -p opt/python opt/libraries opt/matwarden/bin
mount --bind "$PYTHON" opt/python
mount --bind "$LIBRARIES" opt/libraries
cp -r "$SOURCE/daemon" "$SOURCE/hardware" opt/matwarden/
cat > opt/matwarden/bin/python <<'END'
#!/bin/sh
export LD_LIBRARY_PATH=/opt/python/lib
PYTHONPATH=/opt/matwarden/daemon:/opt/matwarden/hardware:/opt/libraries exec /opt/python/bin/python3 "$@"
END
printf '#!/bin/sh\nexec /opt/matwarden/bin/python -m matwarden "$@"\n' > opt/matwarden/bin/matwarden
chmod 755 opt/matwarden/bin/*
for unit in $MASKED; do ln -sf /dev/null etc/systemd/system/$unit; done
# Shared inside, as a container's manager leaves it: systemd hands credentials over by such mounts.
mkdir -p old
pivot_root . old
exec chroot . /bin/sh -c 'umount -l /old; mount --make-rshared /
    exec env -i container=other PATH=/usr/sbin:/usr/bin:/sbin:/bin /usr/lib/systemd/systemd \
        --unit=basic.target --log-target=null --show-status=0'
"""


def missing() -> str:
    """Why no systemd can be tried here; empty when it can."""
    tools = ("unshare", "nsenter", "setpriv", "pivot_root", "ip")
    if os.geteuid() != 0:
        return "only root can make the name spaces"
    if not _SYSTEMD.exists() or any(shutil.which(tool) is None for tool in tools):
        return "systemd, util-linux or iproute2 is not installed"
    if Path("/run/systemd/system").exists():
        return "systemd runs this machine: its control groups are its own"
    if _groups() is None:
        return "no version 2 control-group tree is mounted"
    with tempfile.TemporaryDirectory() as base:
        probe = [*_UNSHARE, "--", "sh", "-c", _ROOT]
        done = subprocess.run(
            probe, env={"PATH": _PATH, "BASE": base}, capture_output=True, text=True, timeout=60, check=False
        )
    return f"name spaces or their mounts are not allowed here: {done.stderr.strip()}" if done.returncode else ""


def _groups() -> Path | None:
    for path in (Path("/sys/fs/cgroup"), Path("/sys/fs/cgroup/unified")):
        if (path / "cgroup.procs").exists() and (path / "cgroup.controllers").exists() and os.access(path, os.W_OK):
            return path
    return None


class Machine:
    """A booted systemd. `directory` is any empty one: the name spaces' root is mounted there, seen by nobody else."""

    def __init__(self, directory: Path) -> None:
        why = missing()
        if why:
            pytest.skip(why)
        groups = _groups()
        assert groups is not None
        for left_behind in groups.glob("matwarden-test-*"):  # by tests that were killed
            _take_away(left_behind)
        told = ""
        for boot in range(_BOOTS_N):
            told = self._boot(groups / f"matwarden-test-{os.getpid()}-{boot}", directory / f"boot-{boot}")
            if not told:
                return
        # Our units are not in it yet: a manager that does not come up is this machine's, and no fault of theirs.
        pytest.skip(f"systemd did not boot here, {_BOOTS_N} times over: {told}")

    def _boot(self, group: Path, directory: Path) -> str:
        """Start it, and wait until it is up. Says what it hung at; empty when it is up."""
        self._group = group
        self._group.mkdir()
        directory.mkdir()
        self._log = directory / "boot.txt"
        base = directory / "base"
        base.mkdir()
        with self._log.open("wb") as log:
            self._outer = subprocess.Popen(
                # It enters its control group before it makes the name space of it: that becomes the root inside. It
                # ends with the process of the tests, whatever ends that, and takes everything inside with it.
                ["sh", "-c", f'echo $$ > "{self._group}/cgroup.procs" && exec "$@"', "sh"]
                + ["setpriv", "--pdeathsig", "KILL", *_UNSHARE, "--", "sh", "-c", _ROOT + _BOOT],
                stdout=log,
                stderr=log,
                stdin=subprocess.DEVNULL,
                env={
                    "PATH": _PATH,
                    "BASE": str(base),
                    "SOURCE": str(ROOT),
                    # Not the environment itself: its Python is a link into a place the unit's sandbox may not show.
                    "PYTHON": sys.base_prefix,
                    "LIBRARIES": sysconfig.get_path("platlib"),
                    "MASKED": " ".join(_MASKED),
                },
            )
        deadline, state = time.monotonic() + _BOOT_PATIENCE_S, ""
        told: list[str] = []
        try:
            while time.monotonic() < deadline and self._outer.poll() is None:
                asked = self.run("systemctl", "is-active", "basic.target")
                state = (asked.stdout + asked.stderr).strip()
                if state == "active":
                    return ""
                time.sleep(0.1)
            told = [f"basic.target is {state!r}", self._log.read_text(errors="replace").strip()]
            if self._outer.poll() is None:
                told.append(self.run("ps", "-e", "-o", "pid,stat,wchan:20,args").stdout.strip())
                told.append(self.run("systemctl", "list-jobs", "--no-legend").stdout.strip())
        except subprocess.TimeoutExpired as error:
            told.append(f"no answer to {error.cmd}")
        except BaseException:
            self.close()
            raise
        self.close()
        return "\n".join(part for part in told if part)

    @property
    def _first(self) -> int | None:
        """Process 1 of the name spaces, as seen from outside."""
        children = Path(f"/proc/{self._outer.pid}/task/{self._outer.pid}/children")
        found = children.read_text().split() if children.exists() else []
        return int(found[0]) if found else None

    def run(self, *words: str, check: bool = False) -> subprocess.CompletedProcess[str]:
        """A command inside."""
        if self._outer.poll() is not None:
            pytest.fail(f"systemd has ended: {self._log.read_text()}")
        first = self._first
        enter = ["nsenter", "-t", str(first), "-m", "-p", "-i", "-u", "-n", "-C", f"--root=/proc/{first}/root"]
        done = subprocess.run([*enter, *words], capture_output=True, text=True, timeout=60, check=False)
        assert not check or done.returncode == 0, f"{words}: {done.stdout}{done.stderr}"
        return done

    def path(self, inside: str) -> Path:
        """A file inside, as this process can reach it."""
        return Path(f"/proc/{self._first}/root") / inside.lstrip("/")

    def shows(self, unit: str, what: str) -> str:
        """One property of a unit."""
        return self.run("systemctl", "show", "--value", "-p", what, unit).stdout.strip()

    def close(self) -> None:
        """End everything inside, and leave nothing behind."""
        first = self._first
        if first is not None:
            os.kill(first, signal.SIGKILL)
        self._outer.wait(30)
        deadline = time.monotonic() + 10
        while self._group.exists() and time.monotonic() < deadline:
            _take_away(self._group)
            time.sleep(0.05)


def _take_away(group: Path) -> None:
    """A control group and all below it, as far as they are empty."""
    for each in (*sorted(group.rglob("*/"), reverse=True), group):
        with contextlib.suppress(OSError):
            each.rmdir()
