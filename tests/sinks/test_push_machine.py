"""Whatever happens to targets, record, clock and program: each push arrives once or is given up with a notice."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from helpers_push_rig import HOUR_S, Rig
from helpers_store import push
from matwarden.events import PushAsked
from matwarden.sinks.push_terms import PushTarget, QuietHours
from matwarden.terms import Priority, Recipients

ZONE = ZoneInfo("Europe/Amsterdam")
NIGHT = QuietHours(time(22), time(7), ZONE)
TARGETS = (
    PushTarget("phone", url="unused:"),
    PushTarget("horn", url="unused:", priorities=frozenset({Priority.HIGH})),
    PushTarget("friend", url="unused:", second=True),
)
GIVE_UP_S = 24 * HOUR_S
# Longer than the pause after which the sink tries the record again.
SETTLED_S = 130.0


def meant_for(target: PushTarget, asked: PushAsked) -> bool:
    """The table of the README, written down here a second time."""
    if target.name == "friend":
        return asked.recipients in (Recipients.SECOND, Recipients.ALL)
    first = asked.recipients in (Recipients.FIRST, Recipients.ALL)
    return first and (target.name == "phone" or asked.priority is Priority.HIGH)


class Pushing(RuleBasedStateMachine):
    """Store and sink on a real file; the time jumps from one thing the sink has to do to the next."""

    def __init__(self) -> None:
        super().__init__()
        self.directory = TemporaryDirectory()
        self.rig = Rig(Path(self.directory.name), *TARGETS)
        self.rig.terms = replace(self.rig.terms, give_up_after_s=GIVE_UP_S, quiet=NIGHT)
        self.asked: list[PushAsked] = []
        self.missed: list[PushAsked] = []
        self.away = False
        self.quiet_broken: list[str] = []
        inner = self.rig.phones.send

        def send(
            target: PushTarget, title: str, body: str, priority: str, wall_s: float, attachment: Path | None
        ) -> str | None:
            if priority == "low" and not 7 <= _hour(self.rig.clock.wall_s) < 22:
                self.quiet_broken.append(title)
            return inner(target, title, body, priority, wall_s, attachment)

        self.rig.phones.send = send  # type: ignore[method-assign]
        self.rig.push = self.rig.sink()
        self.rig.push.step()

    @property
    def record(self) -> Path:
        return Path(self.directory.name) / "matwarden.db"

    @rule(priority=st.sampled_from(Priority), to=st.sampled_from(Recipients))
    def ask(self, priority: Priority, to: Recipients) -> None:
        asked = replace(push(self.rig.clock(), f"k{len(self.asked)}", priority), recipients=to)
        self.asked.append(asked)
        if self.away:
            self.missed.append(asked)
        else:
            self.rig.store.accept([asked])
        self.rig.push.accept([asked])

    @rule(name=st.sampled_from([target.name for target in TARGETS]))
    def endpoint_fails_or_is_back(self, name: str) -> None:
        self.rig.phones.out ^= {name}

    @rule(seconds=st.sampled_from([1.0, 30.0, 600.0, 3 * HOUR_S, 10 * HOUR_S, 30 * HOUR_S]))
    def time_passes(self, seconds: float) -> None:
        end_s = self.rig.clock.mono_s + seconds
        while (left_s := end_s - self.rig.clock.mono_s) > 0:
            wait_s = self.rig.push.step()
            self.rig.clock.run_on(left_s if wait_s is None else min(left_s, max(wait_s, 1.0)))
        self.rig.push.step()

    @rule(by_s=st.sampled_from([-40 * HOUR_S, -3 * HOUR_S, 5 * HOUR_S, 400 * 24 * HOUR_S]))
    def clock_is_set(self, by_s: float) -> None:
        self.rig.clock.wall_s += by_s

    @precondition(lambda self: not self.away)
    @rule()
    def record_goes_away(self) -> None:
        self.record.rename(self.record.with_suffix(".away"))
        self.away = True

    @precondition(lambda self: self.away)
    @rule()
    def record_is_back(self) -> None:
        self.record.with_suffix(".away").rename(self.record)
        self.away = False
        self.rig.store.accept(self.missed)  # as the store does: what it could not write it writes then
        self.missed = []

    @precondition(lambda self: not self.away)
    @rule()
    def restarted(self) -> None:
        self.rig.restart()
        self.rig.push.step()  # the record is there at a start; what could not be read could not keep its place

    @precondition(lambda self: not self.away)
    @rule()
    def killed(self) -> None:
        """Not between a delivery and its note, which is the one moment that may repeat a push."""
        self.time_passes(SETTLED_S)
        self.rig.push = self.rig.sink()
        self.rig.push.step()

    @invariant()
    def nothing_twice_and_in_order(self) -> None:
        assert self.quiet_broken == []
        for target in TARGETS:
            got = self.rig.phones.got.get(target.name, [])
            assert len(got) == len(set(got))
            for priority in Priority:
                numbers = [int(key[1:]) for key in got if self.asked[int(key[1:])].priority is priority]
                assert numbers == sorted(numbers)

    def teardown(self) -> None:
        try:
            if self.away:
                self.record_is_back()
            self.rig.phones.out = set()
            self.time_passes(2 * GIVE_UP_S)
            self.nothing_twice_and_in_order()
            assert self.rig.push.waiting_n == 0
            for target in TARGETS:
                got = set(self.rig.phones.got.get(target.name, []))
                given_up = {
                    asked.key
                    for asked in self.asked
                    if f"The push {asked.title!r} was given up: {target.name} did not take it for 24 h."
                    in self.rig.notices
                }
                assert got.isdisjoint(given_up)
                assert got | given_up == {asked.key for asked in self.asked if meant_for(target, asked)}
        finally:
            self.rig.push.close()
            self.rig.store.close()
            self.directory.cleanup()


def _hour(wall_s: float) -> int:
    return datetime.fromtimestamp(wall_s, ZONE).hour


TestPushing = Pushing.TestCase
TestPushing.settings = settings(
    max_examples=30,
    stateful_step_count=15,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.generate,),  # a story takes a second: making it shorter would take minutes
)


def test_high_pushes_never_wait_for_the_morning(tmp_path: Path) -> None:
    """In the middle of the quiet hours, behind fifty low ones, high and medium go out at the first step."""
    rig = Rig(tmp_path, "phone", quiet=NIGHT)
    rig.clock.wall_s += 3600.0 * ((24 + 2 - _hour(rig.clock.wall_s)) % 24)
    rig.ask(*(f"low-{number}" for number in range(50)), priority=Priority.LOW)
    rig.ask("medium", priority=Priority.MEDIUM)
    rig.ask("high")
    rig.settle()
    assert rig.phones.got == {"phone": ["medium", "high"]}
    rig.store.close()
