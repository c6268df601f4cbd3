"""When another station counts as dead, silent or without a digest. States: Homie convention v5.0.0, `$state`."""

from __future__ import annotations

import pytest

from matwarden.core.peers import GRACE_S, UNHEARD, has_no_digest, is_lost, is_silent, next_heard

LINKED_S = 1000.0
LATER_S = LINKED_S + GRACE_S


@pytest.mark.parametrize(
    ("state", "lost"),
    [("ready", False), ("init", False), ("lost", True), ("disconnected", True), ("sleeping", True), ("", True)],
)
def test_only_a_station_that_is_connected_lives(state: str, lost: bool) -> None:
    """Of the states of the convention two mean that somebody is there; nothing at all means nobody."""
    assert is_lost(next_heard(UNHEARD, state, LINKED_S), LINKED_S, LATER_S) is lost


@pytest.mark.parametrize("state", ["ready", "lost", "disconnected", ""])
def test_our_own_blindness_is_not_the_others_death(state: str) -> None:
    """Without a broker nothing is known of anybody."""
    heard = next_heard(UNHEARD, state, LINKED_S)._replace(digest_made_s=0.0)
    assert is_lost(heard, None, 9e9) is None
    assert is_silent(heard, None, 9e9, 900.0) is None
    assert has_no_digest(heard, None, 9e9, 93_600.0) is None


def test_after_we_are_back_the_others_get_a_moment_to_come_back_too() -> None:
    """A restarted broker knows of nobody: for ten seconds that proves nothing, but who is there is there."""
    assert is_lost(UNHEARD, LINKED_S, LATER_S - 0.1) is None
    assert is_lost(UNHEARD, LINKED_S, LATER_S) is True
    assert is_lost(next_heard(UNHEARD, "ready", LINKED_S), LINKED_S, LINKED_S) is False


@pytest.mark.parametrize("since", ["fresh", "alive", "linked"])
def test_silence_is_counted_from_the_latest_sign_of_life(since: str) -> None:
    """A reading, its own coming, or ours: the last of them begins the time after which it is silent."""
    last_s = 5000.0
    heard = next_heard(UNHEARD, "ready", last_s if since == "alive" else 1.0)
    heard = heard._replace(fresh="x", fresh_s=last_s if since == "fresh" else 2.0)
    linked_s = last_s if since == "linked" else 3.0
    assert is_silent(heard, linked_s, last_s + 899.9, 900.0) is False
    assert is_silent(heard, linked_s, last_s + 900.0, 900.0) is True


def test_of_a_station_that_is_gone_silence_is_not_asked() -> None:
    """Lost is told by itself."""
    assert is_silent(next_heard(UNHEARD, "lost", 1.0), LINKED_S, 9e9, 900.0) is None


def test_init_and_ready_are_one_life() -> None:
    """A station that describes itself anew has not come back from the dead; one that was lost has."""
    heard = next_heard(next_heard(UNHEARD, "init", 1.0), "ready", 2.0)
    assert heard.alive_s == 1.0
    assert next_heard(next_heard(heard, "lost", 3.0), "init", 4.0).alive_s == 4.0


def test_a_digest_is_missed_after_26_hours() -> None:
    """By the time at which the last one says it was made; one that was never made, or is not wanted, is not missed."""
    heard = UNHEARD._replace(digest_made_s=1_000_000.0)
    due_s = 1_000_000.0 + 26 * 3600
    assert has_no_digest(heard, LINKED_S, due_s - 1.0, 26 * 3600.0) is False
    assert has_no_digest(heard, LINKED_S, due_s, 26 * 3600.0) is True
    assert has_no_digest(heard, LINKED_S, due_s, None) is None
    assert has_no_digest(UNHEARD, LINKED_S, due_s, 26 * 3600.0) is None
