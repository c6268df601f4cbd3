"""The queue between control and a sink: never blocks, never raises, drops the oldest of what may be dropped."""

from __future__ import annotations

import threading
from collections.abc import Sequence

import pytest

from helpers_store import alarm, at, readings
from matwarden.events import Event
from matwarden.sinks import queue
from matwarden.sinks.queue import InlineSink, SinkThread
from matwarden.terms import AlarmState


class Listener:
    """A sink that keeps what it is told, waits while its gate is shut, and fails when told to."""

    name = "listener"

    def __init__(self) -> None:
        self.told: list[float] = []
        self.gate = threading.Event()
        self.gate.set()
        self.reached = threading.Event()
        self.failing = False
        self.error: type[Exception] = ValueError
        self.closed_n = 0

    def accept(self, events: Sequence[Event]) -> None:
        self.reached.set()
        self.gate.wait()
        if self.failing:
            raise self.error("out of order")
        self.told.extend(event.at.mono_s for event in events)

    def close(self) -> None:
        self.closed_n += 1


def nobody(name: str, text: str) -> None:
    raise AssertionError(f"{name} failed: {text}")


def loose(second: float) -> list[Event]:
    return [readings(at(second), 25.0)]


def durable(second: float) -> list[Event]:
    return [readings(at(second), 25.0), alarm(at(second), AlarmState.UNACKNOWLEDGED)]


def stuck(bound: int) -> tuple[Listener, SinkThread]:
    """A queue whose sink is busy with batch 0 and does not come back."""
    listener = Listener()
    listener.gate.clear()
    thread = SinkThread(listener, bound, nobody)
    thread.offer(loose(0))
    assert listener.reached.wait(5)
    return listener, thread


def test_batches_arrive_whole_and_in_order() -> None:
    """Everything offered to a sink that keeps up is accepted, in order."""
    listener = Listener()
    thread = SinkThread(listener, 1000, nobody)
    for second in range(500):
        thread.offer(loose(second))
    assert thread.drain(5)
    assert listener.told == list(range(500))
    assert thread.close(5)
    assert (listener.closed_n, thread.dropped_n) == (1, 0)


def test_a_full_queue_drops_the_oldest_batch_and_counts_it() -> None:
    """With room for three, batches 8, 9 and 10 of ten are left."""
    listener, thread = stuck(3)
    for second in range(1, 11):
        thread.offer(loose(second))
    assert thread.dropped_n == 7
    listener.gate.set()
    assert thread.close(5)
    assert listener.told == [0, 8, 9, 10]


def test_a_batch_with_a_durable_event_is_never_dropped_for_room() -> None:
    """Readings go before alarms, however old the alarm is."""
    listener, thread = stuck(3)
    for second in range(1, 21):
        thread.offer(durable(second) if second in (2, 5) else loose(second))
    listener.gate.set()
    assert thread.close(5)
    assert listener.told == [0, 2, 2, 5, 5, 20]


def test_durable_batches_have_a_bound_of_their_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the hard bound the oldest durable batch goes, and is counted apart."""
    monkeypatch.setattr(queue, "HARD_BOUND", 10)
    listener, thread = stuck(3)
    for second in range(1, 15):
        thread.offer(durable(second))
    assert (thread.lost_durable_n, thread.dropped_n) == (4, 0)
    listener.gate.set()
    assert thread.close(5)
    assert sorted(set(listener.told)) == [0, *range(5, 15)]


def test_a_failing_sink_is_told_once_a_spell_and_offered_the_next_batch() -> None:
    """Many failures in a row are one message; a failure after a recovery is another."""
    listener = Listener()
    messages: list[tuple[str, str]] = []
    thread = SinkThread(listener, 100, lambda name, text: messages.append((name, text)))
    for second, failing in enumerate([True, True, True, False, True]):
        listener.failing = failing
        thread.offer(loose(second))
        assert thread.drain(5)
        assert thread.failing is failing
    assert messages == [("listener", "ValueError: out of order")] * 2
    assert (listener.told, thread.failures_n) == ([3], 4)
    thread.close(5)


def test_a_failure_of_another_kind_is_told_too() -> None:
    """A sink that fails in a new way while it is failing says so, once for each way."""
    listener = Listener()
    messages: list[str] = []
    thread = SinkThread(listener, 100, lambda name, text: messages.append(text))
    listener.failing = True
    for error in (ValueError, ValueError, OSError, ValueError, OSError):
        listener.error = error
        thread.offer(loose(0))
        assert thread.drain(5)
    assert messages == ["ValueError: out of order", "OSError: out of order"]
    thread.close(5)


def test_a_hanging_sink_is_left_behind_at_the_end() -> None:
    """Draining and closing come back in time and say that not everything was accepted."""
    listener, thread = stuck(10)
    assert not thread.drain(0.01)
    assert not thread.close(0.01)
    thread.offer(loose(2))
    listener.gate.set()
    assert thread.close(5)
    assert listener.told == [0]


def test_in_line_the_sink_is_called_in_place() -> None:
    """On a simulated clock `offer` returns when the batch is accepted; failures stay away from the caller too."""
    listener = Listener()
    messages: list[str] = []
    sink = InlineSink(listener, lambda name, text: messages.append(text))
    sink.offer(loose(1))
    assert listener.told == [1]
    listener.failing = True
    sink.offer(loose(2))
    sink.offer(loose(3))
    assert (messages, sink.failures_n, sink.drain(0), sink.close(0)) == (["ValueError: out of order"], 2, True, True)
    assert listener.closed_n == 1


def test_a_sink_that_never_returns_counts_as_failing() -> None:
    """A call into a dying disk raises nothing: after a minute at one batch it is a failure, until it comes back."""
    listener = Listener()
    listener.gate.clear()
    clock_s = 1000.0
    thread = SinkThread(listener, 10, nobody, lambda: clock_s)
    thread.offer(loose(0))
    assert listener.reached.wait(5)
    clock_s += 59.0
    assert not thread.failing
    clock_s += 2.0
    assert thread.failing
    listener.gate.set()
    assert thread.drain(5)
    assert not thread.failing
    thread.close(5)
