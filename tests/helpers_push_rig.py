"""Store and push sink on one real file, with clock and phones in the test's hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from helpers_push import HandClock
from helpers_store import open_sink, push, started
from matwarden.events import Notice, PushAsked
from matwarden.sinks.outbox import Outbox
from matwarden.sinks.push import PushSink
from matwarden.sinks.push_terms import PushTarget, PushTerms, QuietHours
from matwarden.sinks.store import StoreSink
from matwarden.terms import Priority, Recipients

HOUR_S = 3600.0


class Phones:
    """Targets that take pushes, or do not. Stands for the network behind `Sender`.

    Attributes:
        out: names of targets that fail now.
        got: per target the titles it took; tries: (target, monotonic time) of every attempt, pictures: what went
            with each.
    """

    def __init__(self, clock: HandClock) -> None:
        self.out: set[str] = set()
        self.got: dict[str, list[str]] = {}
        self.tries: list[tuple[str, float]] = []
        self.pictures: list[Path | None] = []
        self._clock = clock

    def send(
        self, target: PushTarget, title: str, body: str, priority: str, wall_s: float, attachment: Path | None
    ) -> str | None:
        self.tries.append((target.name, self._clock.mono_s))
        self.pictures.append(attachment)
        if target.name in self.out:
            return "no route"
        self.got.setdefault(target.name, []).append(title.removeprefix("Oak: "))
        return None


class Rig:
    """Store and push sink on one file, told the same events, with a clock and phones in the test's hand."""

    def __init__(
        self, directory: Path, *targets: str | PushTarget, keep: int = 1000, quiet: QuietHours | None = None
    ) -> None:
        self.directory = directory
        self.clock = HandClock()
        self.phones = Phones(self.clock)
        self.notices: list[str] = []
        whom = tuple(PushTarget(each, url="unused:") if isinstance(each, str) else each for each in targets)
        self.terms = PushTerms(whom, give_up_after_s=72 * HOUR_S, keep=keep, quiet=quiet)
        self.store: StoreSink = open_sink(directory)
        self.store.accept([started(self.clock())])
        self.push = self.sink()

    def sink(self) -> PushSink:
        def hear(notice: Notice) -> None:
            self.notices.append(notice.text)

        return PushSink(self.terms, Outbox(self.directory), self.clock, hear, self.phones.send)

    def ask(self, *keys: str, priority: Priority = Priority.HIGH, to: Recipients = Recipients.FIRST) -> None:
        events: list[PushAsked] = [replace(push(self.clock(), key, priority), recipients=to) for key in keys]
        self.store.accept(events)
        self.push.accept(events)

    def restart(self) -> None:
        self.push.close()
        self.push = self.sink()

    def settle(self) -> None:
        while self.push.step() == 0.0:
            pass

    def run_on(self, seconds: float, pace_s: float = 5.0) -> None:
        end_s = self.clock.mono_s + seconds
        while self.clock.mono_s < end_s:
            self.settle()
            self.clock.run_on(pace_s)
        self.settle()
