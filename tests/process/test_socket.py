"""The control socket of a running station: what it obeys, what it never does, and whom it does not let disturb it.

The shelf is the living one: in Fahrenheit, with oak and hazel heated.
"""

from __future__ import annotations

import contextlib
import json
import socket
import stat
import time
from collections.abc import Iterator

import pytest

from helpers_kindled import Kindled
from helpers_process import Daemon


@pytest.fixture(scope="module")
def shelf(kindled: Kindled) -> Daemon:
    kindled.living.until_allowed("oak", "hazel")
    return kindled.living


@pytest.fixture
def held(shelf: Daemon) -> Iterator[Daemon]:
    """Hazel is held, whatever the tests before have left."""
    assert shelf.ask("hold", enclosure="hazel", for_s=3600)["ok"]
    yield shelf
    shelf.ask("release", enclosure="hazel")


def connected(shelf: Daemon) -> socket.socket:
    line = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    line.connect(str(shelf.socket))
    line.settimeout(15.0)
    return line


def said(shelf: Daemon, words: bytes) -> dict[str, object]:
    """The answer to a line; {} when the line was cut off."""
    with connected(shelf) as line, contextlib.suppress(BrokenPipeError, ConnectionResetError):
        line.sendall(words)
        line.shutdown(socket.SHUT_WR)
        answer = line.makefile("rb").readline()
        return dict(json.loads(answer)) if answer else {}
    return {}


def goes_on(shelf: Daemon) -> None:
    """It answers, and has read every probe within the last poll or two."""
    ages_s = [probe["age_s"] for tub in shelf.status()["enclosures"] for probe in tub["probes"]]
    assert max(ages_s) < 2.5


def test_only_owner_and_group_may_speak(shelf: Daemon) -> None:
    """The socket's mode is 0660: file permissions are the lock on this door."""
    assert stat.S_IMODE(shelf.socket.stat().st_mode) == 0o660


def test_a_hold_cuts_within_a_cycle(shelf: Daemon) -> None:
    """From the asking to the relay's line no more than a second passes: the longest between two cycles."""
    asked_s = time.monotonic()
    answer = shelf.ask("hold", enclosure="oak", for_s=60)
    level = shelf.levels("oak")[-1]
    shelf.ask("release", enclosure="oak")
    assert answer["ok"]
    assert not level.allow
    # And half a second for a busy machine.
    assert level.at_s - asked_s < 1.5


def test_a_release_gives_back_no_more_than_the_guard_allows(shelf: Daemon) -> None:
    """After a hold has ended, the relay still rests its ten seconds."""
    shelf.ask("hold", enclosure="oak", for_s=60)
    assert shelf.ask("release", enclosure="oak")["ok"]
    heat = shelf.heat("oak")
    assert (heat["allowed"], heat["reason"], heat["hold_left_s"]) == (False, "resting", None)


def test_a_hold_is_no_longer_than_half_a_day(held: Daemon) -> None:
    """A forgotten hold must not let a tub go cold for days: asked for a year, it is twelve hours."""
    assert held.ask("hold", enclosure="hazel", for_s=365 * 86400)["hold_left_s"] == 12 * 3600.0


@pytest.mark.parametrize(
    "verb", ["status", "why", "release", "reset", "allow", "force", "limit", "on", "run", "set", ""]
)
def test_no_verb_can_allow_heat(held: Daemon, verb: str) -> None:
    """Whatever is asked, with whatever else in the line, the relay's line stays cut."""
    levels_n = len(held.levels("hazel"))
    more = {"allow": True, "allowed": True, "limiter": 99, "cut_out": 99, "force": True, "for_s": -1, "value": "on"}
    answer = held.ask(verb, enclosure="hazel", **more)
    assert answer["ok"] == (verb in ("status", "why", "release", "reset"))
    goes_on(held)
    assert not held.heat("hazel")["allowed"]
    assert len(held.levels("hazel")) == levels_n


@pytest.mark.parametrize(
    "for_s", [0, -1, "soon", None, float("nan"), float("inf"), 10**400, [1]], ids=lambda for_s: repr(for_s)[:8]
)
def test_a_hold_of_no_length_is_refused(shelf: Daemon, for_s: object) -> None:
    """Anything but a number of seconds above zero gets a sentence, and holds nothing."""
    answer = shelf.ask("hold", enclosure="oak", for_s=for_s)
    assert not answer["ok"]
    assert "hold" in answer["text"]
    assert shelf.heat("oak")["hold_left_s"] is None


@pytest.mark.parametrize(
    "line",
    [
        b"\n",
        b"status\n",
        b"{}\n",
        b'"do"\n',
        b"null\n",
        b"\x00\xff\xfe\n",
        b'{"do": "status"',
        b"[" * 4000 + b"\n",
        b"9" * 4000 + b"\n",
        b'{"do": "why", "enclosure": "\\ud800"}\n',
        b'{"do": {"do": "status"}}\n',
        b"x" * 1_000_000 + b"\n",
    ],
    ids=lambda line: repr(line[:12]),
)
def test_junk_is_answered_and_disturbs_nobody(shelf: Daemon, line: bytes) -> None:
    """A line that means nothing gets a refusal at most; others are answered, and no traceback is printed."""
    assert not said(shelf, line).get("ok", False)
    assert shelf.ask("status")["ok"]
    assert "Traceback" not in shelf.log


def test_the_silent_do_not_keep_others_waiting(shelf: Daemon) -> None:
    """With a hundred clients that say nothing, or half a line, another one is served at once, and cycles go on."""
    with contextlib.ExitStack() as silent:
        for number in range(100):
            line = silent.enter_context(connected(shelf))
            if number % 2:
                line.sendall(b'{"do": "ho')
        asked_s = time.monotonic()
        assert shelf.ask("status")["ok"]
        assert time.monotonic() - asked_s < 3.0
        goes_on(shelf)


def test_one_who_leaves_without_listening_disturbs_nobody(shelf: Daemon) -> None:
    """Clients that ask and hang up before the answer leave no trace in the log."""
    for _ in range(20):
        with connected(shelf) as line:
            line.sendall(b'{"do": "status"}\n')
    goes_on(shelf)
    assert "Traceback" not in shelf.log
