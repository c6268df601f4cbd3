"""The sink that pushes: every push to every target it is for, in order, tried until it is there or given up.

Pushes lie in the outbox on the disk; here is their copy in memory, and the sending. A target gets a key once. The one
exception is a crash, or a failing record, between a delivery and the note of it: then it is delivered again rather than
perhaps not at all.

The store puts a push into the outbox in one transaction with the alarm behind it, so a push is sent once it is found
there. When the record fails it is not found: after `STORE_GRACE_S` it is sent from memory alone. What an earlier run
left in a record that cannot be read at the start is sent once it can be, with newer ones perhaps before it.

All waiting is counted on the monotonic clock while the program runs: a step of the wall clock neither hurries nor gives
up anything. Only quiet hours go by the wall clock: low pushes step aside in them, hold up nobody, and the time they are
held is not counted against them.
"""

from __future__ import annotations

import contextlib
import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence

from matwarden.events import Event, Notice, PushAsked
from matwarden.sinks import outbox as note
from matwarden.sinks.outbox import INSERT_PUSH, Outbox, Statement, Undelivered, push_row
from matwarden.sinks.push_lane import FIRST_WAIT_S, LONGEST_WAIT_S, Lane, Push
from matwarden.sinks.push_send import Sender, send
from matwarden.sinks.push_terms import PushTerms
from matwarden.sinks.store_schema import StoreError
from matwarden.terms import At, Priority

__all__ = ["FIRST_WAIT_S", "LONGEST_WAIT_S", "STORE_GRACE_S", "PushSink"]

_log = logging.getLogger(__name__)

STORE_GRACE_S = 10.0
# How often a push that the store has not written yet is looked for.
_LOOK_S = 0.25
# How often the outbox is tried again when it cannot be read or written.
_REPAIR_S = 60.0
# How often in quiet hours the wall clock is looked at: it may have been set.
_QUIET_LOOK_S = 60.0

_RANK = {Priority.LOW: 0, Priority.MEDIUM: 1, Priority.HIGH: 2}


class PushSink:
    """Delivers `PushAsked` events.

    Args:
        terms: the targets and how long they are tried.
        outbox: where pushes lie on the disk.
        clock: the time now, on both clocks; a simulated one where `step` is called by hand.
        on_notice: told when a target begins to fail, when it is back, and when a push is given up.
        sender: what delivers one push; the real one unless a test has another.
    """

    name = "push"

    def __init__(
        self,
        terms: PushTerms,
        outbox: Outbox,
        clock: Callable[[], At],
        on_notice: Callable[[Notice], None],
        sender: Sender = send,
    ) -> None:
        self._terms = terms
        self._outbox = outbox
        self._clock = clock
        self._on_notice = on_notice
        self._send = sender
        self._asked: deque[PushAsked] = deque(maxlen=max(1, terms.keep))
        self._lanes = [Lane(target) for target in terms.targets]
        self._waiting: dict[str, Push] = {}
        self._unwritten: list[Statement] = []
        self._loaded = False
        self._quiet_mono_s: float | None = None
        self._repair_s = float("-inf")
        self._stop = False
        self._wake = threading.Event()
        self._worker: threading.Thread | None = None

    @property
    def waiting_n(self) -> int:
        """Pushes that some target still lacks, as far as this run knows of them."""
        return len(self._waiting) + len(self._asked)

    def start(self) -> None:
        """Begin to deliver, in a thread of its own. Not for a simulated clock: there `step` is called."""
        self._worker = threading.Thread(target=self._run, name="push", daemon=True)
        self._worker.start()

    def accept(self, events: Sequence[Event]) -> None:
        """Take note of the pushes; never waits for a delivery."""
        for event in events:
            if isinstance(event, PushAsked):
                self._asked.append(event)
                self._wake.set()

    def close(self) -> None:
        """Stop delivering; what is undelivered is in the outbox for the next run. Safe to call twice.

        A delivery under way gets a few seconds, then it is left behind and repeated by the next run.
        """
        self._stop = True
        self._wake.set()
        if self._worker is not None:
            self._worker.join(5.0)
        # Where the store has put them there already nothing changes; where it failed they would be lost.
        rows = [push.row for push in list(self._waiting.values()) if push.row is not None]
        rows += [(INSERT_PUSH, push_row(asked)) for asked in list(self._asked)]
        with contextlib.suppress(StoreError):
            self._outbox.write([*self._unwritten, *rows])
            self._unwritten.clear()

    def step(self) -> float | None:
        """Do what is due now, at most one delivery a target; seconds until there is more, None when nothing waits."""
        now = self._clock()
        self._hold(now)
        self._take(now)
        for lane in self._lanes:
            if not self._stop:
                self._serve(lane, now)
        self._write(now)
        return self._next(self._clock())

    def _run(self) -> None:
        while not self._stop:
            self._wake.clear()
            try:
                wait_s = self.step()
            except Exception:  # our bug; it must not end every push to come
                _log.exception("push: internal error")
                wait_s = _REPAIR_S
            self._wake.wait(wait_s)

    def _take(self, now: At) -> None:
        """Bring the copy in memory up to date with the outbox and with what was asked."""
        if not self._loaded and now.mono_s >= self._repair_s:
            # What was sent from memory is noted before the outbox is read, or it would look undelivered there.
            self._write(now)
            try:
                if not self._unwritten:
                    # Where the record was away at the start, newer ones wait already: behind these.
                    for old in reversed(self._outbox.undelivered()):
                        self._add_old(old, now)
                    self._loaded = True
            except StoreError:
                self._repair_s = now.mono_s + _REPAIR_S
        while self._asked:
            asked = self._asked.popleft()
            known = self._waiting.get(asked.key)
            if known is not None:
                # The store was quicker than the first look into the outbox: it is of this run all the same.
                known.new = known.new or known.since_s == now.mono_s
            else:
                row = (INSERT_PUSH, push_row(asked))
                about = (asked.key, asked.title, asked.body, asked.priority, asked.recipients, asked.attachment)
                self._add(Push(*about, since_s=now.mono_s, new=True, row=row, ready=False), frozenset(), now)
        for push in [push for push in self._waiting.values() if not push.ready]:
            self._look_for(push, now)
        while len(self._waiting) > self._terms.keep:
            least = min(self._waiting.values(), key=lambda push: _RANK[push.priority])
            self._give_up(least, now, f"more than {self._terms.keep} pushes wait")

    def _add_old(self, old: Undelivered, now: At) -> None:
        if old.key in self._waiting:
            return
        about = (old.key, old.title, old.body, old.priority, old.recipients, old.attachment)
        push = Push(*about, since_s=now.mono_s - old.waited_s, new=False, row=None, ready=True)
        self._add(push, old.done, now, first=True)

    def _add(self, push: Push, done: frozenset[str], now: At, first: bool = False) -> None:
        self._waiting[push.key] = push
        for lane in self._lanes:
            if lane.target.takes(push.priority, push.recipients) and lane.target.name not in done:
                push.lacking.add(lane.target.name)
                (lane.queue.appendleft if first else lane.queue.append)(push)
        if not push.lacking:
            self._finish(push, now)

    def _look_for(self, push: Push, now: At) -> None:
        """Is it in the outbox by now? Known there as finished: forget it. Not there for too long: send it anyway."""
        try:
            finished = self._outbox.finished(push.key)
        except StoreError:
            finished = None
        if finished:
            self._forget(push)
        elif finished is False:
            push.ready = True
            push.row = None
        elif now.mono_s - push.since_s >= STORE_GRACE_S:
            push.ready = True

    def _quiet_left_s(self, now: At) -> float:
        return self._terms.quiet.left_s(now.wall_s) if self._terms.quiet is not None else 0.0

    def _hold(self, now: At) -> None:
        """The time that quiet hours hold a push is not time in which it could have been delivered."""
        if self._quiet_mono_s is not None:
            held_s = now.mono_s - self._quiet_mono_s
            for push in self._waiting.values():
                if push.priority is Priority.LOW:
                    push.held_s += held_s
        self._quiet_mono_s = now.mono_s if self._quiet_left_s(now) > 0.0 else None

    def _serve(self, lane: Lane, now: At) -> None:
        # Asked anew for each: the lane before may have taken its time, and the quiet hours begun.
        push = lane.first(quiet=bool(lane.queue) and self._quiet_left_s(self._clock()) > 0.0)
        if push is None:
            return
        if push.waited_s(now.mono_s) >= self._terms.give_up_after_s:
            hours = self._terms.give_up_after_s / 3600
            self._give_up(push, now, f"{lane.target.name} did not take it for {hours:g} h", lane)
            return
        if not push.ready or now.mono_s < lane.next_s:
            return
        about = (push.title, push.body, push.priority.value)
        error = self._send(lane.target, *about, now.wall_s, push.attachment)
        now = self._clock()
        if error is None:
            if lane.took(now.mono_s):
                self._tell(now, f"Pushes reach {lane.target.name} again.", warning=False)
            took_s = now.mono_s - push.since_s if push.new else None
            self._note(push, note.delivered(push.key, lane.target.name, now.wall_s, took_s))
            self._done(lane, push, now)
        else:
            if not lane.failures_n:
                again = f"it is tried again, at first after {FIRST_WAIT_S:.0f} s"
                self._tell(now, f"A push did not reach {lane.target.name}: {error}; {again}.", warning=True)
            lane.failed(now.mono_s)
            self._note(push, note.tried(push.key, lane.target.name, error))
            self._note(push, note.waited(push.key, push.waited_s(now.mono_s)))
        self._write(now)

    def _give_up(self, push: Push, now: At, why: str, only: Lane | None = None) -> None:
        self._tell(now, f"The push {push.title!r} was given up: {why}.", warning=True)
        for lane in [only] if only else [lane for lane in self._lanes if push in lane.queue]:
            self._note(push, note.given_up(push.key, lane.target.name, now.wall_s))
            self._done(lane, push, now)

    def _done(self, lane: Lane, push: Push, now: At) -> None:
        lane.queue.remove(push)
        push.lacking.discard(lane.target.name)
        if not push.lacking:
            self._finish(push, now)

    def _finish(self, push: Push, now: At) -> None:
        for statement in note.finished(push.key, now.wall_s, self._terms.keep):
            self._note(push, statement)
        self._forget(push)

    def _forget(self, push: Push) -> None:
        del self._waiting[push.key]
        for lane in self._lanes:
            if push in lane.queue:
                lane.queue.remove(push)

    def _note(self, push: Push, statement: Statement) -> None:
        if push.row is not None:
            self._unwritten.append(push.row)
            push.row = None
        self._unwritten.append(statement)

    def _write(self, now: At) -> None:
        """Put on the disk what is noted; when that fails, keep it and try again later."""
        if not self._unwritten or (self._repair_s > now.mono_s and self._loaded):
            return
        try:
            self._outbox.write(self._unwritten)
            self._unwritten.clear()
        except StoreError:
            self._repair_s = now.mono_s + _REPAIR_S
            # A record that fails for weeks must not fill the memory: the newest notes are worth the most.
            del self._unwritten[: -10 * self._terms.keep]

    def _next(self, now: At) -> float | None:
        times = [self._repair_s] if self._unwritten or not self._loaded else []
        if self._asked:
            return 0.0
        left_s = self._quiet_left_s(now) if self._waiting else 0.0
        for lane in self._lanes:
            push = lane.first(quiet=left_s > 0.0)
            if push is not None:
                given_up_s = now.mono_s + self._terms.give_up_after_s - push.waited_s(now.mono_s)
                times.append(min(given_up_s, lane.next_s if push.ready else now.mono_s + _LOOK_S))
        if self._waiting and self._terms.quiet is not None:
            times.append(now.mono_s + (min(left_s, _QUIET_LOOK_S) or _QUIET_LOOK_S))
        return max(0.0, min(times) - now.mono_s) if times else None

    def _tell(self, now: At, text: str, *, warning: bool) -> None:
        self._on_notice(Notice(now, text, warning))
