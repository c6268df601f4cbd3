"""A machine for `matwarden check --live`: the kernel's files below a directory, and its service manager's answers."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from helpers_sysfs import SysfsTree


class MachineTree:
    """In good order until something is changed. `systemctl` and `timedatectl` answer what they are told to."""

    def __init__(self, directory: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.root = directory / "machine"
        self.sys = SysfsTree(self.root / "sys")
        self._tools = directory / "tools"
        self._tools.mkdir(parents=True)
        self.path = f"{self._tools}{os.pathsep}{os.environ['PATH']}"
        monkeypatch.setenv("PATH", self.path)
        self.put("dev/watchdog0", "")
        self.put("proc/cmdline", "console=tty1 root=PARTUUID=00000000-02 rootwait\n")
        self.put("run/systemd/timesync/synchronized", "")
        self.put("sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs", "N\n")
        self.answers("systemctl", "14s")
        self.answers("timedatectl", "yes")

    def put(self, path: str, text: str) -> None:
        place = self.root / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text, encoding="utf-8")

    def remove(self, path: str) -> None:
        (self.root / path).unlink()

    def answers(self, command: str, text: str) -> None:
        place = self._tools / command
        place.write_text(f"#!/bin/sh\necho '{text}'\n", encoding="utf-8")
        place.chmod(0o755)
