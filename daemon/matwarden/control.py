"""A person's verbs, over a Unix socket with file permissions: nothing listens on the network.

One line of JSON asks, one line of JSON answers. The verbs can look, cut, give back, reset at the shelf and say what is
told of alarms; none can allow heat, raise a limit or skip a rule. The station does each in its own thread, between two
cycles. Who asks is what the kernel says of the other end of the socket (SO_PEERCRED, unix(7)).
"""

from __future__ import annotations

import contextlib
import json
import os
import pwd
import socket
import socketserver
import struct
import threading
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from matwarden.control_client import ANSWER_WITHIN_S, no_mat_text, unknown_text
from matwarden.control_verbs import ALARM_VERBS, AlarmVerbs, recorded_deed, reset_latch
from matwarden.events import Event, Notice
from matwarden.station import Station, Tub
from matwarden.status import status_document
from matwarden.terms import At
from matwarden.upkeep import UPKEEP_VERBS, upkeep_deed

__all__ = ["ControlError", "ControlServer", "act_on"]

_LONGEST_LINE = 4096
# Askers at a time; one more ends the oldest, who is silent or slow. Probes need file handles too.
_ASKERS_N = 32
# What changes something, and is therefore kept with who did it.
_DEEDS = ("hold", "release", "reset")


class ControlError(Exception):
    """The socket cannot be made. The text says where, why, and what to do."""


class ControlServer:
    """Listens on the socket and hands each request to the station.

    Args:
        sinks: how the sinks are, for `status`.
        verbs: those about alarms.

    Raises:
        ControlError: the socket cannot be made there.
    """

    def __init__(self, path: Path, station: Station, sinks: Callable[[], dict[str, Any]], verbs: AlarmVerbs) -> None:
        self._path = path
        self._station = station
        self._sinks = sinks
        self._verbs = verbs
        serve = self._serve
        askers: deque[socket.socket] = deque()

        class Handler(socketserver.StreamRequestHandler):
            timeout = ANSWER_WITHIN_S

            def handle(self) -> None:
                with contextlib.suppress(OSError):
                    answer = serve(self.rfile.readline(_LONGEST_LINE), _who(self.request))
                    self.wfile.write(json.dumps(answer).encode() + b"\n")

        class Server(socketserver.ThreadingUnixStreamServer):
            daemon_threads = True
            request_queue_size = _ASKERS_N

            def process_request(self, request: Any, client_address: Any) -> None:
                askers.append(request)
                if len(askers) > _ASKERS_N:
                    with contextlib.suppress(OSError):
                        askers.popleft().shutdown(socket.SHUT_RDWR)
                super().process_request(request, client_address)

            def process_request_thread(self, request: Any, client_address: Any) -> None:
                try:
                    super().process_request_thread(request, client_address)
                finally:
                    with contextlib.suppress(ValueError):  # ended to make room
                        askers.remove(request)

        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            # The store's lock has made sure that no other daemon lives: a socket that is there is a dead one's.
            with contextlib.suppress(FileNotFoundError):
                path.unlink()
            before = os.umask(0o117)  # rw-rw----: the owner and the group may speak
            try:
                self._server = Server(str(path), Handler)
            finally:
                os.umask(before)
        except OSError as error:
            raise ControlError(
                f"cannot make the control socket {path}: {error.strerror or error}; name another [control] socket, in "
                "a directory matwarden may write to"
            ) from error
        self._thread = threading.Thread(target=self._server.serve_forever, name="control", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop listening and take the socket away."""
        self._server.shutdown()
        self._server.server_close()
        with contextlib.suppress(FileNotFoundError):
            self._path.unlink()

    def _serve(self, line: bytes, by: str) -> dict[str, Any]:
        try:
            request = json.loads(line)
            verb = request["do"]
        except (ValueError, KeyError, TypeError, RecursionError):
            return {"ok": False, "text": "not understood: one line of JSON with the key 'do' was expected"}
        done = threading.Event()
        answer: dict[str, Any] = {"ok": False, "text": "the station did not answer in time"}

        def act(at: At) -> list[Event]:
            events, found = self._act(str(verb), request, by, at)
            answer.clear()
            answer.update(found)
            done.set()
            return events

        self._station.call(act)
        done.wait(ANSWER_WITHIN_S)
        return dict(answer)

    def _act(self, verb: str, request: Mapping[str, Any], by: str, at: At) -> tuple[list[Event], dict[str, Any]]:
        if verb == "status":
            return [], {"ok": True, "status": status_document(self._station, at, self._sinks())}
        if verb == "alarms":
            return [], self._verbs.listed(at)
        if verb in ALARM_VERBS:
            return self._verbs.do(verb, request, by, at)
        tub = self._station.tubs.get(str(request.get("enclosure")))
        if tub is None:
            return [], {"ok": False, "unknown": True, "text": unknown_text(self._station.tubs)}
        if verb in UPKEEP_VERBS:
            return upkeep_deed(verb, request, tub.enclosure, by, at)
        events, answer = act_on(tub, verb, request, by, at)
        if verb in _DEEDS:
            events = [*events, recorded_deed(at, by, verb, tub.enclosure.id, answer)]
        return events, answer


def _who(line: socket.socket) -> str:
    """The user at the other end, by name. Asked of the user database: never in the station's thread."""
    three = struct.Struct("3i")
    _, uid, _ = three.unpack(line.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, three.size))
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"uid {uid}"


def act_on(tub: Tub, verb: str, request: Mapping[str, Any], by: str, at: At) -> tuple[list[Event], dict[str, Any]]:
    """A person's verb about one tub's heat: why, hold, release, reset. In the station's own thread."""
    name = tub.enclosure.name
    if tub.guard is None:
        return [], {"ok": False, "text": no_mat_text(name)}
    keeper = tub.guard
    if verb == "why":
        return [], {
            "ok": True,
            "text": keeper.why(),
            "allowed": keeper.verdict.allowed,
            "reason": keeper.verdict.reason,
        }
    if verb == "hold":
        try:
            for_s = float(request["for_s"])
        except (KeyError, TypeError, ValueError, OverflowError):
            return [], {"ok": False, "text": "a hold needs a length: for_s, in seconds"}
        if not 0.0 < for_s < float("inf"):
            return [], {"ok": False, "text": "a hold must be longer than nothing"}
        events = keeper.hold(for_s, at)
        return events, {"ok": True, "text": keeper.why(), "hold_left_s": keeper.hold_left_s}
    if verb == "release":
        events = keeper.release(at)
        return events, {"ok": True, "text": keeper.why()}
    if verb == "reset":
        return _reset(tub, by, at)
    return [], {"ok": False, "text": f"there is no verb '{verb}'"}


def _reset(tub: Tub, by: str, at: At) -> tuple[list[Event], dict[str, Any]]:
    """Whatever a person can reset of it: a trip, a relay fault, the latch of a mat that stayed hot."""
    keeper, name = tub.guard, tub.enclosure.name
    assert keeper is not None
    events, refused, latched = reset_latch(tub, at, by)
    faulty = keeper.tripped or keeper.relay_fault
    if not faulty and not latched:
        text = f"{name} is neither tripped nor faulty: nothing to reset. {keeper.why()}"
        return events, {"ok": True, "text": text}
    if faulty:
        more, why_not = keeper.reset(at)
        events, refused = [*events, *more], "; ".join(filter(None, (why_not, refused)))
    if refused:
        return events, {"ok": False, "refused": True, "text": f"not reset: {refused}. {keeper.why()}"}
    events.append(Notice(at, f"{tub.enclosure.id}: reset by a person at the shelf", warning=False))
    return events, {"ok": True, "text": f"{name} is reset. {keeper.why()}"}
