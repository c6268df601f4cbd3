"""The alarms of other stations over time: what is pushed when, how often, and what is not."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from matwarden.core.alarm_words import TITLE_LENGTH
from matwarden.core.peers import Peer
from matwarden.events import Event, PushAsked, Remember
from matwarden.peer_inbox import DIGEST_MADE, FRESH, STATE, PeerInbox
from matwarden.peer_keeper import PeerAlarms
from matwarden.terms import AlarmTimes, At, Recipients

WALL_S = 1_793_606_400.0  # 2026-11-02T08:00:00Z
TIMES = AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5, ring_again_s=900.0, second_after_s=1800.0)
SHELF_2 = Peer("shelf-2", "Shelf 2", 300.0, 900.0, 26 * 3600.0)


@dataclass
class House:
    """Our station with its news of the other one, looked at once a second of a time that jumps."""

    now_s: float = 0.0
    kept: dict[str, Any] = field(default_factory=dict)
    pushes: list[tuple[float, PushAsked]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.start()

    def start(self) -> None:
        """A run begins, with what the last one kept."""
        self.inbox = PeerInbox([SHELF_2], lambda: self.now_s)
        self.alarms = PeerAlarms([SHELF_2], self.inbox, "Our shelf", TIMES, self.kept, self.at)

    @property
    def at(self) -> At:
        return At(self.now_s, WALL_S + self.now_s)

    def hear(self, what: str, text: str) -> None:
        self.inbox.put("shelf-2", what, text.encode())

    def live(self, for_s: float, fresh: bool = False) -> None:
        """Time passes; with `fresh` the other one tells of a reading every ten seconds."""
        for _ in range(round(for_s)):
            self.now_s += 1.0
            if fresh and self.now_s % 10 == 0:
                self.hear(FRESH, f"reading {self.now_s}")
            self._take(self.alarms.look(self.at))

    def _take(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, PushAsked):
                self.pushes.append((self.now_s, event))
            elif isinstance(event, Remember):
                self.kept[event.key] = event.value

    def titles(self) -> list[str]:
        return [push.title for _, push in self.pushes]


def linked(state: str = "ready") -> House:
    """A house that has seen the other one."""
    house = House()
    house.inbox.linked()
    house.hear(STATE, state)
    house.live(60, fresh=True)
    return house


def test_a_lost_station_is_pushed_after_its_delay_and_its_return_once() -> None:
    """Five minutes after the broker called it lost; back is told once it has been there for a minute."""
    house = linked()
    house.hear(STATE, "lost")
    house.live(299)
    assert house.pushes == []
    house.live(2)
    house.live(400)
    assert house.titles() == ["Shelf 2: lost for 5 min"]
    house.hear(STATE, "ready")
    house.live(600, fresh=True)
    assert house.titles()[1:] == ["Shelf 2: back after 11 min"]


def test_a_restart_rings_nothing() -> None:
    """Stopped, started and ready again within the delay: nobody is called."""
    house = linked()
    for state in ("disconnected", "init", "ready"):
        house.hear(STATE, state)
        house.live(100, fresh=state == "ready")
    assert house.pushes == []


def test_a_station_that_was_stopped_is_told_as_stopped() -> None:
    """Nobody may have meant it to stay so: told after the same delay, in other words."""
    house = linked()
    house.hear(STATE, "disconnected")
    house.live(310)
    ((_, push),) = house.pushes
    assert push.title == "Shelf 2: stopped for 5 min"
    assert push.body.startswith("Shelf 2 has been stopped for 5 min (it ended as asked): nobody watches there.")


def test_a_lost_station_calls_again_and_then_the_second_targets() -> None:
    """It is a high alarm like any other: after 15 min again, after 30 min the second ones; its return goes to all."""
    house = linked()
    house.hear(STATE, "lost")
    house.live(300 + 1810)
    house.hear(STATE, "ready")
    house.live(70, fresh=True)
    to = [push.recipients for _, push in house.pushes]
    assert to == [Recipients.FIRST, Recipients.FIRST, Recipients.SECOND, Recipients.ALL]


def test_connected_without_readings_is_silent() -> None:
    """A station whose probes all hang says ready for ever: told after 15 min, and its first reading ends it."""
    house = linked()
    house.live(880)
    assert house.pushes == []
    house.live(30)
    assert house.titles() == ["Shelf 2: no fresh reading"]
    house.live(20, fresh=True)
    assert house.titles()[1:] == ["Shelf 2: fresh readings come again"]


def test_a_silent_station_that_dies_and_comes_back_tells_each_thing_once() -> None:
    """Lost takes over from silent; what comes back well ends both with one message."""
    house = linked()
    house.live(910)
    house.hear(STATE, "lost")
    house.live(400)
    house.hear(STATE, "ready")
    house.live(1000, fresh=True)
    assert [title.split(": ")[1].split(" for")[0].split(" after")[0] for title in house.titles()] == [
        "no fresh reading",
        "lost",
        "back",
    ]


def test_a_broker_that_is_away_kills_nobody_and_is_told_itself() -> None:
    """Two hours without a broker: one push about that, none about the other station; and both are well after."""
    house = linked()
    house.inbox.unlinked()
    house.live(7200)
    assert house.titles() == ["Our shelf: cannot see the others"]
    house.inbox.linked()
    house.live(5)
    house.hear(STATE, "ready")
    house.live(1000, fresh=True)
    assert house.titles()[1:] == ["Our shelf: the others are in sight again"]


def test_a_retained_value_heard_again_is_no_sign_of_life() -> None:
    """After each reconnection the broker repeats the old time of the newest reading: that is not a new reading."""
    house = linked()
    house.hear(FRESH, "old")
    for _ in range(4):
        house.live(300)
        house.hear(FRESH, "old")
    assert house.titles() == ["Shelf 2: no fresh reading"]


def test_a_missing_digest_is_told_once_and_its_coming_too() -> None:
    """26 h after the last one; the next one ends it."""
    house = linked()
    house.hear(DIGEST_MADE, "2026-11-01T06:30:00Z")
    house.live(30 * 60 + 30, fresh=True)
    assert house.titles() == ["Shelf 2: no nightly digest"]
    house.hear(DIGEST_MADE, "2026-11-02T08:31:00Z")
    house.live(60, fresh=True)
    assert house.titles()[1:] == ["Shelf 2: its digest has come"]


def test_a_restart_of_ours_does_not_ring_anew() -> None:
    """What was told before our own restart is not told again while it still stands."""
    house = linked()
    house.hear(STATE, "lost")
    house.live(310)
    house.start()
    house.inbox.linked()
    house.hear(STATE, "lost")
    house.live(300)
    assert house.titles() == ["Shelf 2: lost for 5 min"]


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["ready", "init", "lost", "disconnected", "", "!up", "!down", "!restart"]),
            st.integers(1, 700),
        ),
        max_size=12,
    )
)
@settings(max_examples=60, deadline=None)
def test_starts_and_returns_alternate_whatever_happens(story: list[tuple[str, int]]) -> None:
    """Over any order of states, broker outages and restarts: no start pushed twice, no return without a start."""
    house = linked()
    for what, for_s in story:
        if what == "!up":
            house.inbox.linked()
        elif what == "!down":
            house.inbox.unlinked()
        elif what == "!restart":
            house.start()
        else:
            house.hear(STATE, what)
        house.live(for_s, fresh=what == "ready")
    first = [p.title for _, p in house.pushes if p.title.startswith("Shelf 2") and "still" not in p.title]
    of_life = ["back" if ": back" in title else "gone" for title in first if "fresh reading" not in title]
    assert of_life == [("gone", "back")[n % 2] for n in range(len(of_life))]
    assert all(len(push.title) <= TITLE_LENGTH for _, push in house.pushes)


def test_news_of_nobody_or_in_no_language_does_no_harm() -> None:
    """Any bytes on a topic: they are cut short, and never a mistake."""
    house = linked()
    for what in (STATE, FRESH, DIGEST_MADE):
        house.inbox.put("shelf-9", what, b"ready")
        house.inbox.put("shelf-2", what, b"\xff\x00" * 1_000_000)
    house.hear(DIGEST_MADE, "2026-11-02")
    house.live(1)
    _, heard = house.inbox.seen()
    assert set(heard) == {"shelf-2"}
    assert len(heard["shelf-2"].state) <= 64
    assert heard["shelf-2"].digest_made_s is None
