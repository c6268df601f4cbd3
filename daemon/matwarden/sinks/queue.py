"""Between the control thread and a sink: a queue that never blocks and never raises, and a thread that empties it.

When it is full, the oldest batches without a durable event are dropped and counted. Batches with one are kept up to
`HARD_BOUND`, far above what alarms can make in a day; beyond it the oldest of them goes, counted apart.
"""

from __future__ import annotations

import threading
from collections import OrderedDict, deque
from collections.abc import Callable, Sequence

from matwarden.events import Event, Sink

__all__ = ["HARD_BOUND", "InlineSink", "OnFailure", "SinkThread"]

HARD_BOUND = 10_000
# A sink that has been at one batch for so long counts as failing: a call into a dying disk may never return.
STUCK_S = 60.0

# Called with the sink's name and what went wrong, from the thread the sink runs in: when a sink begins to fail, and
# when it goes on failing in another way.
OnFailure = Callable[[str, str], None]


class _Caller:
    """Hands batches to a sink and keeps count of its failures."""

    def __init__(self, sink: Sink, on_failure: OnFailure) -> None:
        self.sink = sink
        self.failing = False
        self.failures_n = 0
        self._on_failure = on_failure
        self._told: set[type[Exception]] = set()

    def accept(self, events: Sequence[Event]) -> None:
        self._guarded(lambda: self.sink.accept(events))

    def close(self) -> None:
        self._guarded(self.sink.close)

    def _guarded(self, call: Callable[[], None]) -> None:
        try:
            call()
        except Exception as error:  # a sink may fail in any way; warming must not depend on how
            self.failures_n += 1
            self.failing = True
            if type(error) not in self._told:
                self._told.add(type(error))
                self._on_failure(self.sink.name, _in_words(error))
        else:
            self.failing = False
            self._told.clear()


class SinkThread:
    """A sink in a thread of its own.

    A batch whose `accept` raised is not offered again: a sink that must not lose anything keeps it itself. The next
    batch is offered as if nothing had happened.

    Args:
        bound: batches kept waiting, durable ones aside.
        now_s: a monotonic clock; without one nobody notices a sink that never returns.

    Attributes:
        dropped_n: batches dropped because the sink was too slow.
        lost_durable_n: batches with durable events dropped beyond `HARD_BOUND`.
    """

    def __init__(self, sink: Sink, bound: int, on_failure: OnFailure, now_s: Callable[[], float] = lambda: 0.0) -> None:
        self.name = sink.name
        self.dropped_n = 0
        self.lost_durable_n = 0
        self._now_s = now_s
        self._busy_since_s = 0.0
        self._bound = bound
        self._caller = _Caller(sink, on_failure)
        self._waiting: OrderedDict[int, Sequence[Event]] = OrderedDict()
        self._droppable: deque[int] = deque()
        self._offered_n = 0
        self._busy = False
        self._stopping = False
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._run, name=f"sink-{sink.name}", daemon=True)
        self._thread.start()

    @property
    def failing(self) -> bool:
        """True from the sink's first failure until it accepts a batch again; while it is stuck, or its thread dead."""
        stuck = self._busy and self._now_s() - self._busy_since_s > STUCK_S
        return self._caller.failing or stuck or not (self._stopping or self._thread.is_alive())

    @property
    def failures_n(self) -> int:
        """How often the sink raised."""
        return self._caller.failures_n

    def offer(self, events: Sequence[Event]) -> None:
        """Queue one batch. Never blocks on the sink, never raises."""
        durable = any(event.durable for event in events)
        with self._changed:
            if self._stopping or not events:
                return
            self._offered_n += 1
            self._waiting[self._offered_n] = events
            if not durable:
                self._droppable.append(self._offered_n)
            if len(self._waiting) > self._bound:
                self._make_room()
            self._changed.notify_all()

    def drain(self, timeout_s: float) -> bool:
        """Wait until the sink has accepted everything offered so far; False when it did not in time."""
        with self._changed:
            return self._changed.wait_for(lambda: not self._waiting and not self._busy, timeout_s)

    def close(self, timeout_s: float) -> bool:
        """Take nothing more, let the sink finish what waits, and close it; False when it did not in time.

        A sink that hangs is left behind: its thread ends with the process.
        """
        with self._changed:
            self._stopping = True
            self._changed.notify_all()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _make_room(self) -> None:
        if self._droppable:
            del self._waiting[self._droppable.popleft()]
            self.dropped_n += 1
        elif len(self._waiting) > max(self._bound, HARD_BOUND):
            self._waiting.popitem(last=False)
            self.lost_durable_n += 1

    def _run(self) -> None:
        while True:
            with self._changed:
                self._busy = False
                self._changed.notify_all()
                self._changed.wait_for(lambda: self._waiting or self._stopping)
                if not self._waiting:
                    break
                number, events = self._waiting.popitem(last=False)
                if self._droppable and self._droppable[0] == number:
                    self._droppable.popleft()
                self._busy_since_s = self._now_s()
                self._busy = True
            self._caller.accept(events)
        self._caller.close()


class InlineSink:
    """A sink called in place: for a simulated clock, where everything happens in one thread and in order."""

    def __init__(self, sink: Sink, on_failure: OnFailure) -> None:
        self.name = sink.name
        self.dropped_n = 0
        self.lost_durable_n = 0
        self._caller = _Caller(sink, on_failure)

    @property
    def failing(self) -> bool:
        """True from the sink's first failure until it accepts a batch again."""
        return self._caller.failing

    @property
    def failures_n(self) -> int:
        """How often the sink raised."""
        return self._caller.failures_n

    def offer(self, events: Sequence[Event]) -> None:
        """Let the sink accept the batch now. Never raises."""
        if events:
            self._caller.accept(events)

    def drain(self, timeout_s: float) -> bool:
        """Nothing ever waits."""
        return True

    def close(self, timeout_s: float) -> bool:
        """Close the sink now."""
        self._caller.close()
        return True


def _in_words(error: Exception) -> str:
    """Our own errors speak to the keeper already; any other says which it was."""
    text = str(error)
    return text if type(error).__module__.startswith("matwarden") else f"{type(error).__name__}: {text}"
