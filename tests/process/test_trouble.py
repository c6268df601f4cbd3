"""Broker, phone and disk all in trouble at once: no verdict waits for any of them.

The broker and the phone's service take connections and never answer. Another process keeps the record locked for
longer than SQLite is told to wait.
"""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing
from typing import Any, NamedTuple

import pytest

from helpers_kindled import Kindled
from helpers_process import Daemon, Level, eventually
from matwarden.sinks.store_read import Recorded


class Trouble(NamedTuple):
    """What was seen while it lasted, and after."""

    lasted_s: float
    cycles: int
    status: dict[str, Any]
    text: str
    oak_before_hold: list[Level]
    hold_took_s: float
    heard_by_phone: bytes
    heard_by_broker: bytes
    readings_locked: int
    readings_after: int
    sinks_after: dict[str, Any]


@pytest.fixture(scope="module")
def trouble(kindled: Kindled) -> Trouble:
    shelf = kindled.troubled
    shelf.until_allowed("oak")
    eventually(lambda: bool(shelf.heat("alder")["tripped"]), "alder's trip")
    eventually(lambda: b"POST" in kindled.phone.heard, "the push of it on its way")
    with closing(sqlite3.connect(shelf.directory / "data" / "matwarden.db", isolation_level=None)) as lock:
        lock.execute("BEGIN IMMEDIATE")
        began_s, began_cycles = time.monotonic(), shelf.status()["cycles"]
        locked = _readings(shelf)
        # Not asked meanwhile: each answer takes a cycle, and they are to be counted without.
        eventually(lambda: "store: cannot write the record" in shelf.log, "the store to fail")
        status = shelf.status()
        text = shelf.command("status").out
        before_hold = shelf.levels("oak")
        asked_s = time.monotonic()
        shelf.ask("hold", enclosure="oak", for_s=60)
        took_s = shelf.levels("oak")[-1].at_s - asked_s
        lasted_s = time.monotonic() - began_s
        lock.execute("ROLLBACK")
        eventually(lambda: not shelf.status()["sinks"]["store"]["failing"], "the store to work again")
        sinks = shelf.status()["sinks"]
        after = _readings(shelf)
    heard = kindled.phone.heard, kindled.broker.heard
    return Trouble(
        lasted_s, status["cycles"] - began_cycles, status, text, before_hold, took_s, *heard, locked, after, sinks
    )


def _readings(shelf: Daemon) -> int:
    recorded = Recorded(shelf.directory / "data")
    return sum(len(points) for points in recorded.window(None, recorded.mark()).series.values())


def test_all_three_were_in_trouble(trouble: Trouble) -> None:
    """Both services were called and left hanging, and the record was locked: the rest of this file means something."""
    assert trouble.heard_by_phone.startswith(b"POST")
    # MQTT 5, section 3.1: the first packet of a client is CONNECT, type 1 in the high bits.
    assert trouble.heard_by_broker[0] == 0x10
    assert trouble.status["sinks"]["store"]["failing"]


def test_cycles_and_readings_go_on_all_the_while(trouble: Trouble) -> None:
    """One cycle a second at least, and at the end every reading is fresh, as without any trouble."""
    assert trouble.cycles >= int(trouble.lasted_s) - 1 >= 4
    ages_s = [probe["age_s"] for tub in trouble.status["enclosures"] for probe in tub["probes"]]
    # Polled every second; and half a second for a busy machine.
    assert max(ages_s) < 1.5


def test_a_person_is_told(trouble: Trouble) -> None:
    """`status` says which of them does not work."""
    assert "store: does not work now" in trouble.text


def test_no_verdict_changed(trouble: Trouble) -> None:
    """Oak is allowed all the while, and tripped alder is cut."""
    assert [level.allow for level in trouble.oak_before_hold] == [False, True]
    heat = {tub["id"]: tub["heat"] for tub in trouble.status["enclosures"] if tub["heat"]}
    assert (heat["oak"]["allowed"], heat["alder"]["allowed"]) == (True, False)


def test_a_hold_cuts_at_once_all_the_same(trouble: Trouble) -> None:
    """A person at the shelf waits for no disk: cut within a cycle of a second, and half a second for a busy machine."""
    assert 0.0 < trouble.hold_took_s < 1.5


def test_what_happened_meanwhile_is_recorded_afterwards(trouble: Trouble) -> None:
    """Six series a second were read while the record was locked; all are in it once it is free, none was dropped."""
    assert trouble.readings_after - trouble.readings_locked >= 6 * int(trouble.lasted_s - 1)
    assert trouble.sinks_after["store"] == {"failing": False, "dropped": 0}


def test_it_stops_in_order_all_the_same(trouble: Trouble, kindled: Kindled) -> None:
    """Asked to stop with everybody still silent, it ends with code 0, its mats cut and the hold remembered."""
    shelf: Daemon = kindled.troubled
    assert shelf.stop() == 0
    assert not shelf.allows("oak")
    assert shelf.remembered("guard/oak")["hold_until_wall_s"] is not None
