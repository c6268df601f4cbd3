"""The process that holds one DHT22 (AM2302) for `dht22.Dht22Probe`.

It exists because the library, adafruit-circuitpython-dht, may block for ever in a system call, leaves a helper process
and a message queue behind when it is killed, and takes the SIGTERM handler of whoever imports it.

Protocol, one line each. In: a number. Out, once: `{"ready": [ids of message queues]}` or `{"failed": clause}`.
Out, per number n: `{"n": n, "temperature_c": c, "humidity_pct": h}`, or `{"n": n, "failed": clause, "over": bool}`;
`over` says that the library's state is in doubt and this process ends, to be started anew.

It ends with whoever started it, SIGKILL included: its input then ends, which a thread waits for even while a capture
hangs. (The kernel's parent-death signal would be quicker than that thread, and so would orphan the helper.)
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable
from typing import Any, NoReturn, Protocol

__all__ = ["Sensor", "main", "open_sensor", "serve"]

# Two captures are never closer than this, start to start (the library itself refuses up to 2 s; AM2302 datasheet, from
# memory: at least 2 s).
SPACING_S = 2.1
# If even the thread that watches the input cannot run, the kernel ends this process: longer than any caller waits.
LAST_RESORT_S = 20
_PULSE_MODULE = "adafruit_blinka.microcontroller.bcm283x.pulseio.PulseIn"
_STATE = ("_last_called", "_temperature", "_humidity")
# The library's RuntimeErrors are ordinary failures of one capture; in words for a keeper.
_CLAUSES = {
    "sensor not found": "no answer; check its wiring and its pin",
    "full buffer": "the answer broke off",
    "Checksum": "the checksum of its answer is wrong",
    "unplausible": "the humidity it gave cannot be",
}


class Sensor(Protocol):
    """What is used of the library's class."""

    @property
    def temperature(self) -> float | None: ...

    @property
    def humidity(self) -> float | None: ...

    def measure(self) -> None: ...


def open_sensor(pin: int, use_pulseio: bool) -> Sensor:
    """The library's DHT22 on a pin of the Pi's header (BCM number). Raises whatever the library raises."""
    # Blinka would otherwise offer to install packages, or refuse to start, depending on where its input comes from.
    os.environ["BLINKA_SKIP_DEPENDENCY_CHECK"] = "1"
    import adafruit_dht
    import board

    header_pin = getattr(board, f"D{pin}", None)
    if header_pin is None:
        raise RuntimeError(f"this board has no pin D{pin}")
    sensor: Sensor = adafruit_dht.DHT22(header_pin, use_pulseio=use_pulseio)
    return sensor


def serve(opener: Callable[[], Sensor], spacing_s: float = SPACING_S) -> NoReturn:
    """Answer requests on standard input until it ends. Never returns."""
    # The library's helper inherits what is at 0 and 1: it must neither eat requests nor write among the answers.
    requests_fd, answers_fd = os.dup(0), os.dup(1)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(2, 1)
    requests: queue.SimpleQueue[int] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(requests_fd, requests), daemon=True).start()
    signal.alarm(LAST_RESORT_S)
    sensor: Sensor
    try:
        sensor = opener()
        if missing := [name for name in _STATE if not hasattr(sensor, name)]:
            raise RuntimeError(f"this version of adafruit-circuitpython-dht is not known here (no {missing[0]})")
    except Exception as error:
        _say(answers_fd, {"failed": f"cannot be opened: {_clause(error)}"})
        _end()
    # Importing the library replaced it by one that raises SystemExit.
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.alarm(0)
    _say(answers_fd, {"ready": [each.id for each in _queues()]})
    started_s = float("-inf")
    while True:
        n = requests.get()
        time.sleep(max(0.0, started_s + spacing_s - time.monotonic()))
        started_s = time.monotonic()
        signal.alarm(LAST_RESORT_S)
        answer = _capture(sensor)
        signal.alarm(0)
        _say(answers_fd, {"n": n, **answer})
        if answer.get("over"):
            _end()


def main(arguments: list[str]) -> None:
    """PIN and `pulseio` or `bitbang`."""
    pin, backend = int(arguments[0]), arguments[1]
    serve(lambda: open_sensor(pin, backend == "pulseio"))


def _capture(sensor: Any) -> dict[str, Any]:
    # Within 2 s of a failed capture the library hands out the value before it as if it were new, and says nothing:
    # so it is made to forget, both that value and the time.
    sensor._last_called, sensor._temperature, sensor._humidity = 0, None, None
    try:
        sensor.measure()
        temperature_c, humidity_pct = sensor.temperature, sensor.humidity
    except RuntimeError as error:
        return {"failed": _clause(error), "over": False}
    except Exception as error:  # a pulse too long for it, its helper or its queue gone
        return {"failed": _clause(error), "over": True}
    if temperature_c is None or humidity_pct is None:
        return {"failed": "the library made no capture", "over": True}
    return {"temperature_c": temperature_c, "humidity_pct": humidity_pct}


def _clause(error: Exception) -> str:
    said = " ".join(str(error).split())[:200]
    if isinstance(error, RuntimeError):
        return next((clause for sign, clause in _CLAUSES.items() if sign in said), said or "RuntimeError")
    return f"{type(error).__name__}: {said}" if said else type(error).__name__


def _listen(requests_fd: int, requests: queue.SimpleQueue[int]) -> None:
    held = b""
    with contextlib.suppress(OSError, ValueError):
        while chunk := os.read(requests_fd, 4096):
            *lines, held = (held + chunk).split(b"\n")
            for line in lines:
                requests.put(int(line))
    _end()


def _say(answers_fd: int, answer: dict[str, Any]) -> None:
    try:
        os.write(answers_fd, json.dumps(answer).encode() + b"\n")
    except OSError:  # nobody listens any more
        _end()


def _queues() -> list[Any]:
    """The message queues that the library has made; none with the other backend."""
    return list(getattr(sys.modules.get(_PULSE_MODULE), "queues", []))


def _end() -> NoReturn:
    """End at once, with the library's helper and its queues: from any thread, whatever the others wait for."""
    for each in _queues():
        with contextlib.suppress(Exception):
            each.remove()
    if os.getpgrp() == os.getpid():  # as started by Dht22Probe; a person's shell must not be ended with it
        os.killpg(0, signal.SIGKILL)
    os._exit(0)


if __name__ == "__main__":
    main(sys.argv[1:])
