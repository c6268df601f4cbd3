"""`check --live --click`: one relay, on for a moment, only for a person who has typed that the mat is unplugged."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from helpers_machine import MachineTree
from helpers_process import Daemon, command, settings_file, shelf_text
from helpers_settings import TWIN, checked
from helpers_station import HandRelay
from helpers_terminal import at_terminal
from matwarden.devices import Devices
from matwarden.exit_codes import Exit
from matwarden.live_judge import Finding, State
from matwarden.relay_click import click
from matwarden_hardware.ports import RelayError

SENTENCE = "the mat of oak is unplugged"


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> MachineTree:
    return MachineTree(tmp_path, monkeypatch)


def levels(directory: Path) -> list[str]:
    record = directory / "relays.txt"
    return [" ".join(line.split()[1:]) for line in record.read_text().splitlines()] if record.exists() else []


def test_after_the_sentence_the_one_relay_is_on_for_a_moment(tmp_path: Path, machine: MachineTree) -> None:
    """Opened cut, allowed, cut: oak's line and no other (read from the simulated relay's record)."""
    file = settings_file(tmp_path, shelf_text("oak", "alder"))
    with at_terminal("check", "--live", file, "--machine", machine.root, "--click", "oak") as terminal:
        terminal.until("> ")
        assert levels(tmp_path) == []
        terminal.type(f"  {SENTENCE.capitalize()}.\n")
        assert terminal.end() == Exit.OK, terminal.seen
    assert levels(tmp_path) == ["cut oak", "allow oak", "cut oak"]
    assert "ok    click oak: the line went to allow and back to cut" in terminal.seen


@pytest.mark.parametrize("typed", ["yes\n", "\n", "the mat of alder is unplugged\n", "\x04"])
def test_without_the_sentence_the_relay_is_not_touched(tmp_path: Path, machine: MachineTree, typed: str) -> None:
    """Yes, nothing, another tub's mat, end of input: none of them is the sentence."""
    file = settings_file(tmp_path, shelf_text("oak", "alder"))
    with at_terminal("check", "--live", file, "--machine", machine.root, "--click", "oak") as terminal:
        terminal.until("> ")
        terminal.type(typed)
        assert terminal.end() == Exit.REFUSED, terminal.seen
    assert "the relay was not touched" in terminal.seen
    assert levels(tmp_path) == []


def test_ctrl_c_at_the_question_leaves_the_relay_alone(tmp_path: Path, machine: MachineTree) -> None:
    """It ends as every command does."""
    file = settings_file(tmp_path, shelf_text("oak"))
    with at_terminal("check", "--live", file, "--machine", machine.root, "--click", "oak") as terminal:
        terminal.until("> ")
        terminal.type("\x03")
        assert terminal.end() == Exit.INTERRUPTED, terminal.seen
    assert "Traceback" not in terminal.seen
    assert levels(tmp_path) == []


def test_ctrl_c_while_it_is_on_cuts(tmp_path: Path, machine: MachineTree) -> None:
    """Whenever it comes, the last level is cut."""
    file = settings_file(tmp_path, shelf_text("oak"))
    with at_terminal("check", "--live", file, "--machine", machine.root, "--click", "oak") as terminal:
        terminal.until("> ")
        terminal.type(f"{SENTENCE}\n")
        terminal.until("on ...")
        terminal.type("\x03\x03")
        terminal.end()
    assert "Traceback" not in terminal.seen
    assert levels(tmp_path)[-1] == "cut oak"


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("--click", "oak"), Exit.REFUSED, "needs a person at a terminal"),
        (("--click", "willow"), Exit.UNKNOWN, "there is no enclosure of that name"),
        (("--click", "rowan"), Exit.REFUSED, "Rowan has no mat"),
        (("--click", "oak", "--json"), Exit.USAGE, "does not go with --json"),
    ],
)
def test_a_script_can_switch_nothing(tmp_path: Path, words: tuple[str, ...], code: Exit, told: str) -> None:
    """Neither terminal nor mat nor tub: refused before anything is looked at."""
    ran = command("check", "--live", settings_file(tmp_path, shelf_text("oak")), *words)
    assert (ran.code, ran.out) == (code, "")
    assert told in ran.err
    assert levels(tmp_path) == []


@pytest.mark.parametrize("words", [("--click", "oak"), ("--push",)])
def test_what_touches_the_machine_goes_with_live_only(tmp_path: Path, words: tuple[str, ...]) -> None:
    """`check` alone touches no device, whatever stands behind it."""
    ran = command("check", settings_file(tmp_path, shelf_text("oak")), *words)
    assert (ran.code, ran.out) == (Exit.USAGE, "")


def test_a_running_station_keeps_its_relays(tmp_path: Path, machine: MachineTree) -> None:
    """Beside a station that runs: no click, no look at the lines, and no level of them changes."""
    daemon = Daemon(tmp_path, shelf_text("oak"))
    try:
        daemon.until_answering()
        before = daemon.levels("oak")
        with at_terminal("check", "--live", daemon.settings, "--machine", machine.root, "--click", "oak") as terminal:
            assert terminal.end() == Exit.REFUSED
        assert "systemctl stop matwarden first" in terminal.seen
        ran = command("check", "--live", daemon.settings, "--machine", machine.root)
        assert "warn  relays: not looked at (oak): the running station holds them" in ran.out
        assert ran.code == Exit.OK, ran.out
        daemon.process.send_signal(signal.SIGSTOP)  # it answers nobody, and is there all the same
        hung = command("check", "--live", daemon.settings, "--machine", machine.root)
        assert "the running station holds them" in hung.out
        assert levels(tmp_path) == ["cut oak"] * len(before)
    finally:
        daemon.kill()


class Rude(HandRelay):
    """A relay in whose reading-back something strikes, just after it was switched on."""

    def __init__(self, strike: int | Exception) -> None:
        super().__init__()
        self.strike = strike
        self.past: list[bool] = []

    def drive(self, allow: bool) -> None:
        super().drive(allow)
        self.past.append(allow)

    def read_back(self) -> bool:
        level = super().read_back()
        if self.past == [True]:
            if isinstance(self.strike, Exception):
                raise self.strike
            for _ in range(2):
                os.kill(os.getpid(), self.strike)
        return level

    def close(self) -> None:
        self.drive(False)


def clicked(tmp_path: Path, relay: HandRelay) -> Finding:
    settings = checked(tmp_path, TWIN).settings
    assert settings is not None
    return click(settings, "oak", lambda *_: Devices({}, {"oak": relay}, None), lambda: 0.0, lambda text: None)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT], ids=lambda n: n.name)
def test_every_signal_that_can_be_caught_cuts_first(tmp_path: Path, number: signal.Signals) -> None:
    """Sent twice, so that the second falls into the cutting; afterwards the signal means what it meant before."""
    before = signal.getsignal(number)
    relay = Rude(number)
    with pytest.raises(KeyboardInterrupt):
        clicked(tmp_path, relay)
    assert relay.past == [True, False, False]
    assert signal.getsignal(number) == before


def test_it_cannot_be_suspended_while_it_is_on(tmp_path: Path) -> None:
    """Ctrl-Z does nothing for that second."""
    relay = Rude(signal.SIGTSTP)
    assert clicked(tmp_path, relay).state is State.OK
    assert relay.past[-1] is False


@pytest.mark.parametrize("error", [RelayError("its level cannot be read"), RuntimeError("our mistake")], ids=repr)
def test_every_error_cuts_first(tmp_path: Path, error: Exception) -> None:
    """The driver's is told with what to do; a mistake of ours goes on to where mistakes are told."""
    relay = Rude(error)
    if isinstance(error, RelayError):
        found = clicked(tmp_path, relay)
        assert (found.state, found.told) == (State.FAIL, "its level cannot be read")
        assert "Leave the plug out" in found.advice
    else:
        with pytest.raises(RuntimeError):
            clicked(tmp_path, relay)
    assert relay.past[0] is True
    assert relay.past[-1] is False


@pytest.mark.parametrize("stuck_at", [True, False])
def test_a_line_that_does_not_follow_is_told(tmp_path: Path, stuck_at: bool) -> None:
    """Stuck at allow, or never getting there: both fail, with the plug left out."""

    class Stuck(HandRelay):
        def read_back(self) -> bool:
            return stuck_at

    found = clicked(tmp_path, Stuck())
    assert found.state is State.FAIL
    assert "does not read back" in found.told
