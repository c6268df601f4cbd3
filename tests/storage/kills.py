"""The campaign of kills: a process that records as fast as it can is killed, again and again, on one record.

    python kills.py DIRECTORY KILLS SEED        prints what it came to as JSON

A script of its own, because it forks: the interpreter and its imports are paid for once, not once a kill.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import sys
import time
from collections import Counter
from pathlib import Path
from unittest import mock
from zoneinfo import ZoneInfo

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from helpers_store import alarm, at, push, readings, remember, started
from matwarden.sinks import store as store_module
from matwarden.sinks.outbox import Outbox
from matwarden.sinks.store import StoreError, StoreSink, open_store
from matwarden.sinks.store_cleanup import clean_up
from matwarden.sinks.store_parts import last_number
from matwarden.sinks.store_sums import sum_up
from matwarden.terms import AlarmState

# Every so many batches one is durable; between two kills some hundred of them pass.
_BATCH = 5
_PART_ROWS = 300
# A record is begun anew after so many kills, so that the making of its tables is cut short too.
_FRESH_AFTER = 40
_LONGEST_S = 0.06


def _write(directory: Path, told: int) -> None:
    """Record for ever; after each durable batch say its number."""
    store = open_store(directory, 0.0)
    number = int(store.remembered().get("n", {"n": 0})["n"])
    sink = StoreSink(store, commit_every_s=1e9)
    sink.accept([started(at(0))])
    while True:
        number += 1
        for step in range(_BATCH):
            sink.accept([readings(at(number * 100.0 + step), (number * _BATCH + step) / 1000)])
        now = at(number * 100.0 + 50)
        changed = alarm(now, AlarmState.UNACKNOWLEDGED, name=f"cold/{number}")
        sink.accept([changed, push(now, f"cold/{number}"), remember(now, "n", {"n": number}, True)])
        os.write(told, number.to_bytes(8, "little"))
        if number % 40 == 0:
            sum_up(directory, ZoneInfo("UTC"), [], [])
            clean_up(directory, 0.01)
        if number % 60 == 0:
            sink.close()
            store = open_store(directory, 0.0)
            sink = StoreSink(store, commit_every_s=1e9)
            sink.accept([started(at(number * 100.0 + 99))])


def _kill_one(directory: Path, dice: random.Random) -> int:
    """Let a child record for a moment and kill it; the last number it said, 0 for none."""
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(hear)
        try:
            _write(directory, say)
        finally:
            os._exit(1)
    os.close(say)
    time.sleep(dice.uniform(0.0, _LONGEST_S))
    os.kill(child, signal.SIGKILL)
    said = b""
    while more := os.read(hear, 1 << 16):
        said += more
    os.close(hear)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise SystemExit("the recording process ended by itself: nothing was shown")
    return int.from_bytes(said[-8:], "little")


def _judge(directory: Path, said: int) -> list[str]:
    """What is wrong with the record of a process that had said this number before it was killed."""
    try:
        store = open_store(directory, 0.0)
    except StoreError as error:
        return [f"does not open: {error}"]
    try:
        wrong = [f"set aside: {text}" for text in store.notices]
        ask = store.connection.execute
        found = ask("PRAGMA integrity_check").fetchone()[0]
        wrong += [] if found == "ok" else [f"integrity: {found}"]
        number = int(store.remembered().get("n", {"n": 0})["n"])
        wrong += [] if number >= said else [f"said {said}, remembers {number}"]
        alarms = [int(name.partition("/")[2]) for (name,) in ask("SELECT alarm FROM alarms ORDER BY id")]
        wrong += [] if alarms == list(range(1, number + 1)) else [f"alarms up to {number}, found {alarms[-3:]}"]
        pushes = [int(each.key.partition("/")[2]) for each in Outbox(directory).undelivered()]
        wrong += [] if pushes == alarms else ["an alarm without its push, or a push without its alarm"]
        kept = last_number(store.connection)
        wrong += [] if kept == number * _BATCH else [f"{kept} readings, {number * _BATCH} were kept with the alarms"]
    except (sqlite3.Error, StoreError) as error:
        wrong = [f"cannot be read: {error}"]
    finally:
        store.close()
    return wrong


def main(directory: Path, kills_n: int, seed: int) -> dict[str, object]:
    """Kill so many times; what it came to."""
    dice = random.Random(seed)
    wrong: list[str] = []
    counts: Counter[str] = Counter()
    last = 0
    for number in range(kills_n):
        record = directory / f"record-{number // _FRESH_AFTER}"
        if number % _FRESH_AFTER == 0:
            last = 0
        said = _kill_one(record, dice)
        counts["before it had said anything" if said == 0 else "while it recorded"] += 1
        last = max(last, said)
        wrong += [f"kill {number}: {text}" for text in _judge(record, last)]
    return {"kills": kills_n, "wrong": wrong, **counts}


if __name__ == "__main__":
    with mock.patch.object(store_module, "PART_ROWS", _PART_ROWS):
        print(json.dumps(main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
