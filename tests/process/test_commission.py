"""`matwarden commission` beside the real daemon, each in a process of its own: begun, ended, killed, taken up again."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_process import (
    PATIENCE_S,
    Daemon,
    Ran,
    command,
    ended,
    environment,
    eventually,
    heed_signals,
    settings_file,
    shelf_text,
)
from helpers_terminal import at_terminal
from matwarden.course_file import CourseFile
from matwarden.exit_codes import Exit

# A course whose first look is followed by a cooling at once, and whose holds and looks are short.
_QUICK = """
import matwarden.core.course as course
import matwarden.course_run as run
course.PARTS = (course.Part("first cooling", course.Kind.COOL, 3600.0), course.Part("heat", course.Kind.HEAT, 3600.0))
course.HOLD_S = {hold_s}
run.LOOK_EVERY_S = 0.3
terms = course.CourseTerms
course.CourseTerms = lambda low_c: terms(low_c, course.PARTS, course.HOLD_S)
import sys
from matwarden.entry import main
sys.exit(main())
"""


def quick(directory: Path, hold_s: float = 60.0) -> subprocess.Popen[bytes]:
    """The command with a quick course, begun and not waited for."""
    return subprocess.Popen(
        [sys.executable, "-c", _QUICK.format(hold_s=hold_s), "commission", "oak", "-s", str(directory / "shelf.toml")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        env=environment(),
        preexec_fn=heed_signals,
    )


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    """A shelf whose oak is warm enough for a hold and asks for heat."""
    one = Daemon(tmp_path, shelf_text("oak"))
    try:
        one.until_allowed("oak")
        yield one
    finally:
        one.kill()


def held(daemon: Daemon) -> bool:
    return daemon.heat("oak")["hold_left_s"] is not None


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_whoever_ends_it_gets_the_heat_back_at_once(daemon: Daemon, number: signal.Signals) -> None:
    """Ctrl-C, a signal, a line that hangs up: the hold is released, the part is kept, the way to go on is told."""
    process = quick(daemon.directory)
    eventually(lambda: held(daemon), "a hold")
    process.send_signal(number)
    ran = ended(process)
    assert ran.code == Exit.INTERRUPTED
    assert "it holds nothing any more" in ran.err
    assert "matwarden commission oak" in ran.err
    assert "Traceback" not in ran.err
    assert not held(daemon)
    kept = CourseFile(daemon.directory / "data", "oak").kept()
    assert kept is not None
    assert (kept.part, kept.held_until_wall_s) == (0, None)
    again = quick(daemon.directory)
    eventually(lambda: held(daemon), "a hold of the course taken up again")
    again.terminate()
    assert ended(again).code == Exit.INTERRUPTED


def test_of_a_killed_one_the_hold_runs_out_by_itself(daemon: Daemon) -> None:
    """Nothing is left that could release it, and heat is back all the same; the next process may go on."""
    process = quick(daemon.directory, hold_s=8.0)
    eventually(lambda: held(daemon), "a hold")
    process.kill()
    process.communicate(timeout=PATIENCE_S)
    assert held(daemon)
    assert daemon.heat("oak")["hold_left_s"] <= 8.0
    eventually(lambda: not held(daemon), "the end of the hold")
    daemon.until_allowed("oak")


def test_two_of_one_tub_are_one_too_many(daemon: Daemon) -> None:
    """The second is refused and the first goes on."""
    first = quick(daemon.directory)
    try:
        eventually(lambda: held(daemon), "a hold")
        second = daemon.command("commission", "oak")
        assert second.code == Exit.STORE
        assert "another process" in second.err
        assert held(daemon)
    finally:
        first.terminate()
        ended(first)


def test_a_persons_hold_is_respected(daemon: Daemon) -> None:
    """Neither begun nor released."""
    assert daemon.command("hold", "oak", "--for", "1h").code == Exit.OK
    ran = daemon.command("commission", "oak")
    assert ran.code == Exit.REFUSED
    assert "held by a person" in ran.err
    assert daemon.heat("oak")["hold_left_s"] > 3500.0


def test_it_shows_one_line_on_a_terminal_and_ends_with_ctrl_c(daemon: Daemon) -> None:
    """Part, temperatures with their unit, heat, and the longest it may still take."""
    with at_terminal("commission", "oak", "-s", daemon.settings) as terminal:
        terminal.until("\x1b[K")
        assert re.search(r"1/11 as it is, up to .* left: inside [\d.]+ °C, wall ", terminal.seen)
        assert ", heat" in terminal.seen
        terminal.type("\x03")
        terminal.until("To go on: matwarden commission oak")
        assert terminal.end() == Exit.INTERRUPTED
        assert "Traceback" not in terminal.seen


def test_without_a_station_there_is_no_experiment(tmp_path: Path) -> None:
    """And nothing to go on with."""
    ran = command("commission", "oak", "-s", settings_file(tmp_path, shelf_text("oak")))
    assert ran.code == Exit.NOT_RUNNING
    assert "not running" in ran.err
    assert "To go on" not in ran.err


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("beech",), Exit.UNKNOWN, "there is no enclosure"),
        (("rowan",), Exit.REFUSED, "has no mat"),
        (("oak", "--room", "99"), Exit.USAGE, "99 °C is no room"),
        (("oak", "--from", "yesterday"), Exit.STORE, "recorded"),
    ],
)
def test_what_cannot_be_done_is_said(tmp_path: Path, words: tuple[str, ...], code: Exit, said: str) -> None:
    """In one sentence, before anything is begun."""
    ran: Ran = command("commission", *words, "-s", settings_file(tmp_path, shelf_text("oak")))
    assert ran.code == code
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_without_numpy_it_says_what_to_install(tmp_path: Path) -> None:
    """At once, and not after a day."""
    settings = settings_file(tmp_path, shelf_text("oak"))
    (tmp_path / "numpy.py").write_text("raise ModuleNotFoundError(name='numpy')\n", encoding="utf-8")
    program = f"import sys; sys.path.insert(0, {str(tmp_path)!r}); from matwarden.entry import main; sys.exit(main())"
    done = subprocess.run(
        [sys.executable, "-c", program, "commission", "oak", "-s", str(settings)],
        capture_output=True,
        text=True,
        check=False,
        env=environment(),
        timeout=PATIENCE_S,
    )
    assert done.returncode == Exit.REFUSED
    assert "pip install 'matwarden[analysis]'" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_record_that_cannot_tell_is_refused_by_name(daemon: Daemon) -> None:
    """A minute of a running station is too little, in words and as JSON; the daemon has no part in it."""
    time.sleep(2.0)
    ran = daemon.command("commission", "oak", "--from", "1h")
    assert ran.code == Exit.REFUSED
    assert "cannot tell" in ran.err
    as_json = daemon.command("commission", "oak", "--from", "1h", "--json")
    assert as_json.code == Exit.REFUSED
    assert {"name", "missing", "advice"} == set(json.loads(as_json.out)["refused"][0])
    assert not list((daemon.directory / "data").glob("commissioned/oak/*Z"))
