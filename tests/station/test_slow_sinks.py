"""Who is told cannot disturb who decides: sinks that raise, block or are full, behind their real queues."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import pytest

from helpers_station import Bench, tub
from matwarden.events import Event, PushAsked, VerdictChanged
from matwarden.sinks.queue import SinkThread

_BOUND = 20


class _Raises:
    name = "raises"

    def accept(self, events: Sequence[Event]) -> None:
        raise OSError("no route to host")

    def close(self) -> None:
        raise OSError("no route to host")


class _Blocks:
    """Hangs in its first call until it is let go."""

    name = "blocks"

    def __init__(self) -> None:
        self.hanging = threading.Event()
        self.let_go = threading.Event()
        self.got: list[Event] = []

    def accept(self, events: Sequence[Event]) -> None:
        self.hanging.set()
        self.let_go.wait()
        self.got += events

    def close(self) -> None:
        """Nothing to release."""


def _story(bench: Bench) -> list[tuple[Any, ...]]:
    return [(e.at.mono_s, e.verdict, e.sentence) for e in bench.told if isinstance(e, VerdictChanged)]


def _evening(on_tell: Callable[[list[Event]], None]) -> Bench:
    """Two hours with heat, a cold spell that alarms, a dead probe and a trip."""
    bench = Bench(tub(), start_c=24.0, on_tell=on_tell)
    bench.run(600.0)
    for value_c in (23.2, 22.4, 21.8):
        bench.set(oak_air=value_c)
        bench.poll()
    bench.run(4000.0)
    bench.set(oak_air=None)
    bench.run(1200.0)
    bench.set(oak_air=22.0)
    bench.run(600.0)
    for value_c in (24.9, 25.8, 26.7, 27.6, 28.4, 29.3, 30.1):
        bench.set(oak_wall=value_c)
        bench.poll()
    bench.run(600.0)
    return bench


@pytest.fixture(scope="module")
def undisturbed() -> list[tuple[Any, ...]]:
    """The verdicts of an evening in which telling costs nothing."""
    story = _story(_evening(lambda events: None))
    assert len(story) > 8
    return story


@pytest.fixture
def blocked() -> Iterator[tuple[_Blocks, SinkThread]]:
    """A sink that hangs, behind a short queue."""
    sink = _Blocks()
    queue = SinkThread(sink, _BOUND, lambda name, text: None)
    yield sink, queue
    sink.let_go.set()
    assert queue.close(10.0)


def test_a_sink_that_raises_changes_no_verdict(undisturbed: list[tuple[Any, ...]]) -> None:
    """A sink that fails at every batch is told of once, and the station does not notice."""
    failures: list[str] = []
    queue = SinkThread(_Raises(), _BOUND, lambda name, text: failures.append(text))
    assert _story(_evening(queue.offer)) == undisturbed
    assert queue.drain(10.0)
    assert queue.failing
    assert len(failures) == 1
    queue.close(10.0)


def test_a_sink_that_hangs_and_fills_its_queue_changes_no_verdict(
    undisturbed: list[tuple[Any, ...]], blocked: tuple[_Blocks, SinkThread]
) -> None:
    """With a sink that hangs all evening every verdict comes at its time; readings are dropped, and counted."""
    sink, queue = blocked
    bench = _evening(queue.offer)
    assert sink.hanging.wait(10.0)
    assert _story(bench) == undisturbed
    assert queue.dropped_n > 100


def test_what_must_not_be_lost_waits_for_a_sink_that_hangs(blocked: tuple[_Blocks, SinkThread]) -> None:
    """When the sink that hung all evening comes back it gets every push, in order, though its queue was full."""
    sink, queue = blocked
    bench = _evening(queue.offer)
    sink.let_go.set()
    assert queue.drain(10.0)
    asked = [event for event in bench.told if isinstance(event, PushAsked)]
    assert len(asked) >= 3
    assert [event for event in sink.got if isinstance(event, PushAsked)] == asked
