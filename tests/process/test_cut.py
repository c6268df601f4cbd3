"""`matwarden cut` as a process, on lines that outlive the processes that drive them.

The GPIO library is a stand-in that several processes share (tests/process/bench); no kernel's GPIO and no Pi was used.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from helpers_bench import CHIP, Bench
from helpers_process import ROOT, Daemon, shelf_text

OTHER_CHIP = "/dev/gpiochip1"
# What the command may not need: everything heavy, and whatever reads settings or the record.
HEAVY = {"apprise", "apscheduler", "paho", "pydantic", "pydantic_core", "sqlite3", "sqlite_utils", "tomllib", "logging"}


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_every_line_of_the_list_is_cut_whatever_its_chip_and_polarity(bench: Bench) -> None:
    """Lines left allowing, on two chips, active high and low: each is at its level for cut afterwards."""
    bench.leave(17, True)
    bench.leave(27, False)
    bench.leave(3, True, OTHER_CHIP)
    kept = bench.list_lines((CHIP, 17, "high"), (CHIP, 27, "low"), (OTHER_CHIP, 3, "high"))
    ran = bench.matwarden("cut", "--lines", kept)
    assert (ran.code, ran.err) == (0, "")
    assert (bench.levels(17)[-1], bench.levels(27)[-1], bench.levels(3, OTHER_CHIP)[-1]) == (False, True, False)


def test_no_line_sees_its_allowing_level_while_it_is_cut(bench: Bench) -> None:
    """A line that was cut already gets that one level again and no other."""
    bench.leave(17, False)
    assert bench.matwarden("cut", "--line", f"{CHIP}:17:high").code == 0
    assert bench.levels(17) == [False, False]


@pytest.mark.parametrize("order", [("17", "22", "27"), ("27", "17", "22")])
def test_a_line_that_is_held_does_not_keep_the_others_on(bench: Bench, order: tuple[str, ...]) -> None:
    """One of three lines is held by a hung process: the other two are cut, that one is named, the code is 3."""
    for line in (17, 27):
        bench.leave(line, True)
    hung = bench.holder(22)
    try:
        ran = bench.matwarden("cut", *(f"--line={CHIP}:{line}:high" for line in order))
    finally:
        hung.kill()
        hung.communicate()
    assert ran.code == 3
    assert (bench.levels(17)[-1], bench.levels(22)[-1], bench.levels(27)[-1]) == (False, True, False)
    assert f'{CHIP} line 22 is NOT known to be cut: it is held by another program, which calls itself "matwarden"' in (
        ran.err
    )


def test_who_holds_a_line_is_said_with_the_way_out(bench: Bench) -> None:
    """The daemon that hangs is named by its process number, with what ends it."""
    hung = bench.holder(22)
    try:
        ran = bench.matwarden("cut", "--lines", bench.list_lines((CHIP, 22, "high")))
        assert hung.poll() is None
    finally:
        hung.kill()
        hung.communicate()
    assert f"matwarden is in charge of it (process {hung.pid})" in ran.err
    assert "matwarden cut --kill" in ran.err


def test_kill_ends_a_hung_daemon_and_cuts_its_lines(bench: Bench) -> None:
    """A stopped process that left two mats on is killed, its lines are cut, and it is said that it may come back."""
    hung = bench.holder(22, 27)
    assert (bench.levels(22)[-1], bench.levels(27)[-1]) == (True, True)
    ran = bench.matwarden("cut", "--kill", "--lines", bench.list_lines((CHIP, 22, "high"), (CHIP, 27, "high")))
    assert hung.wait() == -signal.SIGKILL
    hung.communicate()
    assert (ran.code, bench.levels(22)[-1], bench.levels(27)[-1]) == (0, False, False)
    assert f"process {hung.pid} was ended by SIGKILL; a service manager starts it again" in ran.err


@pytest.mark.parametrize("lock_is_held", [False, True])
def test_kill_harms_no_process_that_only_has_the_number(bench: Bench, lock_is_held: bool) -> None:
    """The lock's file names a process that has nothing to do with it: that one lives, and the lines are cut."""
    hung = bench.holder() if lock_is_held else None
    kept = bench.list_lines((CHIP, 17, "high"))
    bench.leave(17, True)
    with subprocess.Popen(["sleep", "600"]) as bystander:
        (bench.store / "matwarden.lock").write_text(f"{bystander.pid}\n", encoding="ascii")
        ran = bench.matwarden("cut", "--kill", "--lines", kept)
        assert bystander.poll() is None
        bystander.kill()
    if hung is not None:
        assert "is not seen to hold it" in ran.err
        hung.kill()
        hung.communicate()
    assert (ran.code, bench.levels(17)[-1]) == (0, False)


def test_a_bad_row_of_the_list_does_not_keep_the_others_on(bench: Bench) -> None:
    """Half of the list is rubbish: what can be read is cut, the rest is told, and the code is not 0."""
    bench.leave(17, True)
    kept = bench.list_lines((CHIP, 17, "high"))
    kept.write_bytes(b"\xff\xfe\x00\n" + kept.read_bytes() + b"/dev/gpiochip0\t2")
    ran = bench.matwarden("cut", "--lines", kept)
    assert (ran.code, bench.levels(17)[-1]) == (8, False)
    assert "row 1 is" in ran.err
    assert "row 3 is" in ran.err


def test_a_list_that_is_gone_does_not_keep_a_named_line_on(bench: Bench) -> None:
    """What is named by hand is cut although the list cannot be read."""
    bench.leave(17, True)
    ran = bench.matwarden("cut", "--line", f"{CHIP}:17:high", "--lines", "/nowhere/relay-lines")
    assert (ran.code, bench.levels(17)[-1]) == (8, False)


def test_what_is_named_by_hand_goes_before_the_list(bench: Bench) -> None:
    """The keeper says active low, the list says high: the keeper is at the shelf."""
    ran = bench.matwarden("cut", "--line", f"{CHIP}:17:low", "--lines", bench.list_lines((CHIP, 17, "high")))
    assert (ran.code, bench.levels(17)) == (0, [True])


def test_a_full_disk_or_a_closed_output_does_not_keep_a_line_on(bench: Bench) -> None:
    """Not a word can be printed: every line is cut all the same, and the code is 0."""
    lines = [f"--line={CHIP}:{line}:high" for line in (17, 22)]
    with open("/dev/full", "wb") as full:
        assert bench.matwarden("cut", *lines, stdout=full.fileno()).code == 0
    command = [sys.executable, "-m", "matwarden", "cut", *lines]
    closed = subprocess.run(["sh", "-c", 'exec "$@" >&- 2>&-', "sh", *command], env=bench.environment(), check=False)
    assert closed.returncode == 0
    assert bench.levels(17) == bench.levels(22) == [False, False]


def test_cut_loads_nothing_heavy(bench: Bench) -> None:
    """A whole cut, with the GPIO library, loads neither settings, record, network nor logging."""
    script = (
        f"import sys; sys.argv[1:] = ['cut', '--line', '{CHIP}:17:high']; from matwarden.entry import main\n"
        "assert main() == 0; print(*sorted({name.partition('.')[0] for name in sys.modules}))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, env=bench.environment()
    )
    assert set(ran.stdout.splitlines()[-1].split()) & HEAVY == set()


def test_a_start_cuts_what_the_last_run_left_before_it_has_read_the_settings(bench: Bench, tmp_path: Path) -> None:
    """A killed run left a mat on; the next start cannot even read its settings, and the mat is cut."""
    hung = bench.holder(22)
    bench.list_lines((CHIP, 22, "high"))
    hung.kill()
    hung.communicate()
    assert bench.levels(22)[-1]
    settings = tmp_path / "shelf.toml"
    settings.write_text('[store]\ndirectory = "data"\n[house]\nbogus = 1\n', encoding="utf-8")
    assert bench.matwarden("run", "--settings", settings).code == 2
    assert not bench.levels(22)[-1]


def test_a_start_touches_no_line_of_a_run_that_is_in_charge(bench: Bench, tmp_path: Path) -> None:
    """A second daemon cuts nothing of the first's, not even a line that the first has not opened."""
    bench.leave(17, True)
    first = bench.holder(22)
    bench.list_lines((CHIP, 17, "high"), (CHIP, 22, "high"))
    settings = tmp_path / "shelf.toml"
    settings.write_text('[store]\ndirectory = "data"\n', encoding="utf-8")
    bench.matwarden("run", "--settings", settings)
    first.kill()
    first.communicate()
    assert (bench.levels(17), bench.levels(22)[-1]) == ([True], True)


def test_a_start_cuts_before_it_asks_for_anything_heavy(bench: Bench, tmp_path: Path) -> None:
    """When `run` asks for the first heavy library, the line that the last run left on has been driven to cut."""
    bench.leave(22, True)
    bench.list_lines((CHIP, 22, "high"))
    settings = tmp_path / "shelf.toml"
    settings.write_text('[store]\ndirectory = "data"\n', encoding="utf-8")
    script = f"""
import pathlib, sys
class Look:
    def find_spec(self, name, path, target=None):
        if name.partition(".")[0] in {HEAVY - {"tomllib"}}:
            sys.meta_path.remove(self)
            print(name, *pathlib.Path({str(bench.directory / "gpiochip0-22.levels")!r}).read_text().split())
sys.meta_path.insert(0, Look())
sys.argv[1:] = ["run", "-s", {str(settings)!r}]
from matwarden.entry import main
main()
"""
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, env=bench.environment()
    )
    heavy, *levels = ran.stdout.split()
    assert heavy.partition(".")[0] in HEAVY
    assert levels == ["1", "0"]


def test_a_simulated_shelf_that_hangs_is_killed_and_cut(tmp_path: Path) -> None:
    """The real daemon, stopped while it heats: without --kill its line stays its own, with --kill it is cut."""
    daemon = Daemon(tmp_path, shelf_text("oak"))
    try:
        daemon.until_allowed("oak")
        daemon.process.send_signal(signal.SIGSTOP)
        kept = tmp_path / "data" / "relay-lines"
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(str(ROOT / part) for part in ("daemon", "hardware"))}
        codes = []
        for more in ([], ["--kill"]):
            words = [sys.executable, "-m", "matwarden", "cut", "--lines", str(kept), *more]
            codes.append(subprocess.run(words, capture_output=True, env=environment, check=False).returncode)
            assert daemon.allows("oak") is (not more)
        assert codes == [3, 0]
        assert daemon.process.wait() == -signal.SIGKILL
    finally:
        daemon.kill()
