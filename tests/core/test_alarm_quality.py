"""The figures of alarm quality, against stories reckoned by hand.

Chattering is three activations in a minute and stale more than 24 h: ISA-18.2 / IEC 62682, from memory; the first is
restated openly by makers of alarm systems. Thirty polls for a polled alarm is our own scaling.
"""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.alarm_quality import AlarmQuality, Spell, alarm_quality, chattering_within_s
from matwarden.core.record import AlarmLine
from matwarden.terms import AlarmState

S = AlarmState
HOUR_S = 3600.0
DAY_S = 86_400.0
LETTERS = {
    "n": S.NORMAL,
    "u": S.UNACKNOWLEDGED,
    "a": S.ACKNOWLEDGED,
    "r": S.RETURNED_UNACKNOWLEDGED,
    "s": S.SHELVED,
}


def story(*moves: tuple[float, str], alarm: str = "cold/oak", previous: AlarmState = S.NORMAL) -> list[AlarmLine]:
    """One alarm's transitions: when, and the first letter of the state it went to."""
    lines = []
    for at_s, letter in moves:
        lines.append(AlarmLine(at_s, at_s, alarm, "oak", previous, LETTERS[letter], "", 0.0))
        previous = LETTERS[letter]
    return lines


def judge(lines: list[AlarmLine], end_s: float = 30 * DAY_S, covers_s: float = 30 * DAY_S) -> AlarmQuality:
    return alarm_quality(sorted(lines), end_s, covers_s, lambda alarm: None if "trip" in alarm else 10.0, ())


def on_and_off(*times: float, alarm: str = "cold/oak") -> list[AlarmLine]:
    return story(*(move for at_s in times for move in ((at_s, "u"), (at_s + 5.0, "n"))), alarm=alarm)


def test_a_quiet_house_has_no_figures_but_its_time() -> None:
    """Nothing in 30 days: zero alarms, zero a day, and no delay of pushes that never were."""
    quality = judge([])
    assert (quality.count, quality.per_day, quality.covers_s) == (0, 0.0, 30 * DAY_S)
    assert (quality.longest_unacknowledged, quality.delay.median_s, quality.delay.worst_s) == (None, None, None)


def test_a_record_of_an_hour_has_no_daily_rate() -> None:
    """One alarm in the first hour is not 24 a day."""
    assert judge(on_and_off(60.0), HOUR_S, HOUR_S).per_day is None


def test_alarms_are_counted_when_they_are_announced() -> None:
    """Acknowledged, announced anew while it stands, returned: one alarm; set again after its return: a second."""
    quality = judge(
        story((0.0, "u"), (60.0, "a"), (DAY_S, "u"), (DAY_S + 60.0, "r"), (2 * DAY_S, "u"), (3 * DAY_S, "n"))
    )
    assert quality.count == 2
    assert quality.most_frequent == (("cold/oak", 2),)


def test_the_most_frequent_come_first_and_equal_ones_by_name() -> None:
    """Three of hazel, one each of alder and oak."""
    lines = [line for a in ("cold/oak", "cold/alder") for line in on_and_off(DAY_S, alarm=a)]
    lines += on_and_off(0.0, DAY_S, 2 * DAY_S, alarm="hot/hazel")
    assert judge(lines).most_frequent == (("hot/hazel", 3), ("cold/alder", 1), ("cold/oak", 1))


def test_three_activations_within_thirty_polls_are_chattering() -> None:
    """At 10 s a poll that is 300 s: the third at 300 s counts, at 301 s it does not."""
    assert judge(on_and_off(0.0, 150.0, 300.0)).chattering == (("cold/oak", 3),)
    assert judge(on_and_off(0.0, 150.0, 301.0)).chattering == ()


def test_of_an_alarm_that_no_poll_makes_the_minute_counts() -> None:
    """Three within 60 s; within 61 s not, though 30 polls would be longer."""
    assert judge(on_and_off(0.0, 30.0, 60.0, alarm="trip/oak")).chattering == (("trip/oak", 3),)
    assert judge(on_and_off(0.0, 30.0, 61.0, alarm="trip/oak")).chattering == ()


def test_fast_polls_never_make_the_minute_shorter() -> None:
    """Thirty polls of one second are half a minute: the minute stays."""
    assert (chattering_within_s(1.0), chattering_within_s(60.0), chattering_within_s(None)) == (60.0, 1800.0, 60.0)


def test_stale_is_on_for_more_than_a_day_seen_or_not() -> None:
    """Exactly 24 h is not; an acknowledgement in between does not cut it; the time after the return is not on."""
    assert judge(story((0.0, "u"), (DAY_S, "n"))).stale == ()
    lines = story((0.0, "u"), (HOUR_S, "a"), (DAY_S + 1.0, "n"))
    assert judge(lines).stale == (Spell("cold/oak", DAY_S + 1.0, False),)
    assert judge(story((0.0, "u"), (HOUR_S, "r"), (9 * DAY_S, "n"))).stale == ()


def test_what_stood_before_the_window_counts_with_its_whole_time_but_is_no_new_alarm() -> None:
    """On since a day before the last seven, and still: 8 days, zero alarms announced in them."""
    quality = judge(story((22 * DAY_S, "u"), (22 * DAY_S + 60.0, "a")), 30 * DAY_S, 7 * DAY_S)
    assert quality.stale == (Spell("cold/oak", 8 * DAY_S, True),)
    assert quality.count == 0


def test_what_was_over_before_the_window_is_not_told() -> None:
    """Two days on, over before the last seven days."""
    quality = judge(story((0.0, "u"), (2 * DAY_S, "n")), 30 * DAY_S, 7 * DAY_S)
    assert (quality.stale, quality.longest_unacknowledged) == ((), None)


def test_the_longest_unacknowledged_goes_on_after_the_return() -> None:
    """On for an hour, seen 3 h later: 4 h, not 1."""
    quality = judge(story((0.0, "u"), (HOUR_S, "r"), (4 * HOUR_S, "n"), (9 * HOUR_S, "u"), (10 * HOUR_S, "a")))
    assert quality.longest_unacknowledged == Spell("cold/oak", 4 * HOUR_S, False)


def test_what_is_shelved_is_neither_on_nor_unseen() -> None:
    """The record cannot tell what stands behind a shelf: nothing is claimed of it."""
    quality = judge(story((0.0, "u"), (60.0, "s")))
    assert quality.stale == ()
    assert quality.longest_unacknowledged == Spell("cold/oak", 60.0, False)


def test_median_and_worst_of_the_pushes() -> None:
    """Of 2, 4 and 600 s: 4 and 600; what was lost or waits is counted apart."""
    delay = alarm_quality([], DAY_S, DAY_S, lambda _: None, (600.0, 2.0, 4.0), lost_n=1, waiting_n=2).delay
    assert delay == (3, 1, 2, 4.0, 600.0)


@given(st.lists(st.integers(0, 2000), max_size=30, unique=True))
def test_chattering_agrees_with_looking_at_every_window(times: list[int]) -> None:
    """The most activations within 300 s, found by trying each window that begins with one (no shared code)."""
    times.sort()
    quality = judge([line for t in times for line in on_and_off(float(t))])
    most = max((sum(begin <= t <= begin + 300 for t in times) for begin in times), default=0)
    assert quality.chattering == ((("cold/oak", most),) if most >= 3 else ())
    assert quality.count == len(times)
