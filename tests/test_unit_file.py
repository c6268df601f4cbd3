"""The unit file: what systemd itself says of it, where systemd's tools are installed."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

UNIT = Path(__file__).resolve().parents[1] / "systemd" / "matwarden.service"
WATCH_UNIT = UNIT.with_name("matwarden-watch.service")
needs_systemd = pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed")


@needs_systemd
@pytest.mark.parametrize("unit", [UNIT, WATCH_UNIT], ids=lambda unit: unit.stem)
def test_systemd_has_nothing_against_the_unit(unit: Path) -> None:
    """`systemd-analyze verify` finds nothing but that the program is not installed here."""
    told = subprocess.run(["systemd-analyze", "verify", str(unit)], capture_output=True, text=True, check=False).stderr
    complaints = [line for line in told.splitlines() if "is not executable: No such file" not in line]
    assert complaints == []


@needs_systemd
@pytest.mark.parametrize(("drop_in", "budget"), [(None, 1.3), ("broker-only.conf", 1.2)])
def test_the_unit_is_closed_as_far_as_its_work_allows(tmp_path: Path, drop_in: str | None, budget: float) -> None:
    """`systemd-analyze security` scores what is left open: 0 nothing, 10 all. Debian 12's own units: median 9.5."""
    unit = Path(shutil.copy(UNIT, tmp_path))
    if drop_in is not None:
        Path(f"{unit}.d").mkdir()
        shutil.copy(UNIT.with_name(drop_in), f"{unit}.d")
    command = ["systemd-analyze", "security", "--offline=yes", str(unit)]
    told = subprocess.run(command, capture_output=True, text=True, check=False).stdout
    found = re.search(r"Overall exposure level for \S+: ([0-9.]+)", told)
    assert found is not None, told
    assert float(found[1]) <= budget
    assert ("IP address allow list with" in told) == (drop_in is not None)


def test_every_end_of_the_unit_cuts_the_relays_and_nothing_stops_it_from_starting_again() -> None:
    """The lines that keep animals and house safe are there."""
    lines = set(UNIT.read_text(encoding="utf-8").splitlines())
    assert "ExecStopPost=/opt/matwarden/bin/matwarden cut --lines /var/lib/matwarden/relay-lines" in lines
    assert {"Type=notify", "WatchdogSec=20", "Restart=always", "StartLimitIntervalSec=0"} <= lines
    assert {"DevicePolicy=closed", "DeviceAllow=char-gpiochip rw"} <= lines
