"""Switching one relay on for a moment, by a person who has pulled the mat's plug. It ends cut, whatever happens.

This is the only way past the guard, and it is narrow: a terminal, a sentence typed in full, one relay, one second, and
no running station. The relay is cut again on Ctrl-C, on every signal that can be caught, and on every mistake of ours.
A kill that cannot be caught leaves the line as it was: the mat's plug is out.
"""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from types import FrameType

from matwarden.devices import OpenDevices
from matwarden.live_judge import Finding, State
from matwarden.settings import Settings
from matwarden_hardware.ports import DriverError, Relay

__all__ = ["click", "confirmed", "sentence"]

ON_S = 1.0

_WRONG = "Leave the plug out. Then: matwarden cut; look at line and active in the settings, and at the wiring."


def sentence(enclosure: str) -> str:
    """What a person types before the relay is touched."""
    return f"the mat of {enclosure} is unplugged"


def confirmed(enclosure: str, ask: Callable[[str], str], say: Callable[[str], None]) -> bool:
    """Whether a person says that the mat's plug is out."""
    say(f"\nThe relay of {enclosure} is switched on for {ON_S:g} s. Pull the mat's plug out of the wall first.")
    say(f"Then type: {sentence(enclosure)}")
    try:
        return " ".join(ask("> ").split()).rstrip(".").lower() == sentence(enclosure).lower()
    except EOFError:
        return False


def click(
    settings: Settings,
    enclosure: str,
    open_devices: OpenDevices,
    now_s: Callable[[], float],
    say: Callable[[str], None],
) -> Finding:
    """Allow, wait, cut, reading the line back each time.

    Raises:
        KeyboardInterrupt: a person, or a signal, ended it; the relay was cut first.
    """
    subject = f"click {enclosure}"
    drivers = {enclosure: settings.relay_drivers[enclosure]}
    only = replace(settings, permit=None, probe_drivers={}, relay_drivers=drivers)
    try:
        with _signals_raise():
            devices = open_devices(only, now_s, True)
            try:
                wrong = _switch(devices.relays[enclosure], say)
            finally:
                try:
                    left = _cut(devices.relays[enclosure])
                finally:
                    devices.close()  # cuts as well
    except DriverError as error:
        return Finding(subject, State.FAIL, str(error), _WRONG)
    if wrong or left:
        return Finding(subject, State.FAIL, wrong or left, _WRONG)
    told = "the line went to allow and back to cut; two clicks were to be heard"
    if settings.permit is not None:
        # The permit is the control loop's alone: what drops the relay without its pulses must do so now.
        told = "the line went to allow and back to cut; nothing pulsed the permit, so no click was to be heard"
        return Finding(subject, State.OK, told, "A click: what the permit feeds does not drop the relay.")
    return Finding(subject, State.OK, told, "No click: look at the relay's supply and control wire.")


def _switch(relay: Relay, say: Callable[[str], None]) -> str:
    """What was wrong; empty when nothing was."""
    if relay.read_back():
        return "the line does not read back as cut before it was switched on"
    say("on ...")
    relay.drive(True)
    threading.Event().wait(ON_S)
    followed = relay.read_back()
    relay.drive(False)
    say("... and cut")
    if not followed:
        return "the line was driven to allow and does not read back so"
    return "the line was driven to cut and DOES NOT READ BACK SO" if relay.read_back() else ""


def _cut(relay: Relay) -> str:
    try:
        relay.drive(False)
        return "the line DOES NOT READ BACK AS CUT" if relay.read_back() else ""
    except DriverError as error:
        return str(error)


@contextlib.contextmanager
def _signals_raise() -> Iterator[None]:
    """Whatever would end this process without a word ends it by way of the cut; nothing suspends it meanwhile.

    Only the first signal does: a second one must not end the cutting.
    """
    leaving = False

    def leave(number: int, frame: FrameType | None) -> None:
        nonlocal leaving
        if not leaving:
            leaving = True
            raise KeyboardInterrupt

    ends = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)
    before = {number: signal.getsignal(number) for number in (*ends, signal.SIGTSTP)}
    signal.signal(signal.SIGTSTP, signal.SIG_IGN)
    for number in ends:
        signal.signal(number, leave)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
