"""What survives `kill -9` in the middle of heating: one shelf that dies twice, watched from outside.

In the first run alder's wall reads far too hot while it is heated, and hazel is held. The second run finds alder's
wall cool: only what it remembers can have tripped it. Then the wall is hot for a while, and cool again. The third run
finds what the second left behind.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import pytest

from helpers_kindled import Kindled
from helpers_process import Daemon, Level, Ran, eventually, offset, shelf_text

TUBS = ("oak", "alder", "hazel")
# More readings than fit into the ten seconds a relay rests: proving decides when heat comes, not the rest.
PROVE_N = 13


class Story(NamedTuple):
    """What was seen, run by run."""

    dead: dict[str, Level]
    tripped_sentence: str
    why_dead: Ran
    status_dead: Ran
    second_oak: list[Level]
    second_reason: str
    second_status: Ran
    second_why: Ran
    reset_hot: Ran
    still_tripped: bool
    reset_cool: Ran
    second_alder: list[Level]
    second_hazel: list[Level]
    held_after_kill: str
    third_alder: dict[str, object]


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory, kindled: Kindled) -> Iterator[Story]:
    directory = tmp_path_factory.mktemp("shelf")
    runs: list[Daemon] = []

    def run(more: str = "", prove: int = 3) -> Daemon:
        runs.append(Daemon(directory, shelf_text(*TUBS, prove=prove, more=more)))
        runs[-1].until_answering()
        return runs[-1]

    def tripped(daemon: Daemon) -> bool:
        return bool(daemon.heat("alder")["tripped"])

    def wall_c(daemon: Daemon) -> float:
        alder = next(tub for tub in daemon.status()["enclosures"] if tub["id"] == "alder")
        return float(alder["probes"][0]["temperature_c"] or 0.0)

    try:
        first = run(offset("alder-wall", 8.0, at_s=14.0))
        first.until_allowed(*TUBS)
        assert first.command("hold", "hazel", "--for", "1h").code == 0
        eventually(lambda: tripped(first), "the trip")
        sentence = first.ask("why", enclosure="alder")["text"]
        assert first.allows("oak")
        # What is killed in the moment before the store has had its turn finds the same heat again, and trips again.
        eventually(lambda: first.remembered("guard/alder").get("tripped", False), "the trip on the disk")
        first.kill()
        dead = {tub: first.levels(tub)[-1] for tub in TUBS}
        why_dead, status_dead = first.command("why", "alder"), first.command("status")

        second = run(offset("alder-wall", 8.0, at_s=5.0, until_s=11.0), prove=PROVE_N)
        assert wall_c(second) < 24.0
        reason, held = second.heat("oak")["reason"], second.heat("hazel")["reason"]
        status, why = second.command("status"), second.command("why", "alder")
        eventually(lambda: wall_c(second) > 30.0, "alder's hot wall to be believed")
        reset_hot, still = second.command("reset", "alder"), tripped(second)
        resets: list[Ran] = []

        def granted() -> bool:
            resets.append(second.command("reset", "alder"))
            return resets[-1].code == 0

        eventually(granted, "a reset once it is cool")
        second.until_allowed("oak")
        second.kill()
        second_levels = [second.levels(tub) for tub in TUBS]

        third = run()
        yield Story(
            dead,
            sentence,
            why_dead,
            status_dead,
            second_levels[0],
            reason,
            status,
            why,
            reset_hot,
            still,
            resets[-1],
            second_levels[1],
            second_levels[2],
            held,
            third.heat("alder"),
        )
    finally:
        for each in runs:
            each.kill()


def test_the_kill_struck_in_the_middle_of_heating(story: Story) -> None:
    """Nothing of the program runs at a kill: oak's last recorded level is allow, and so the rest means something."""
    assert story.dead["oak"].allow


def test_a_new_run_begins_by_cutting(story: Story) -> None:
    """The first level of every relay after a kill is cut."""
    firsts = (story.second_oak[0], story.second_alder[0], story.second_hazel[0])
    assert [level.allow for level in firsts] == [False, False, False]


def test_heat_comes_back_only_when_the_probes_have_proved_themselves(story: Story) -> None:
    """After a restart oak stays cut for its thirteen readings, one a second: twelve seconds at least."""
    cut, allow = story.second_oak
    assert story.second_reason == "proving"
    assert allow.allow
    # A poll may come a little early beside the one before, never two of them.
    assert allow.at_s - cut.at_s >= PROVE_N - 1.5


def test_a_cut_out_while_heating_trips(story: Story) -> None:
    """A wall over the cut-out while heat is allowed trips the mat, and the sentence says so."""
    assert "software cut-out (30.0 °C) has tripped" in story.tripped_sentence
    assert not story.dead["alder"].allow


def test_a_dead_program_is_asked_and_tells_from_the_record(story: Story) -> None:
    """`why` and `status` after a kill say that nothing runs, what was last, and how old that is."""
    assert story.why_dead.code == story.status_dead.code == 0
    assert "Nothing runs, so heat is cut. The last verdict, " in story.why_dead.out
    assert "software cut-out" in story.why_dead.out
    assert "That outlasts a restart." in story.why_dead.out
    assert "NOT RUNNING, last recorded " in story.status_dead.out


def test_a_trip_survives_a_kill(story: Story) -> None:
    """A mat that was tripped comes up tripped, and both `status` and `why` say so."""
    assert "TRIPPED: reset it at the shelf with: matwarden reset alder" in story.second_status.out
    assert "has tripped" in story.second_why.out


def test_a_reset_is_refused_while_it_is_hot(story: Story) -> None:
    """A reset of a hot mat ends with code 7 and the reason, and the mat stays tripped."""
    assert story.reset_hot.code == 7
    assert story.reset_hot.err.startswith("not reset: still too hot")
    assert "Traceback" not in story.reset_hot.err
    assert story.still_tripped


def test_a_reset_is_granted_once_it_is_cool(story: Story) -> None:
    """When the wall is cool again, a reset ends with code 0."""
    assert story.reset_cool.out.startswith("Alder is reset. ")


def test_a_reset_survives_a_kill(story: Story) -> None:
    """What a person has reset does not come up tripped."""
    assert story.third_alder["tripped"] is False


def test_a_hold_survives_a_kill(story: Story) -> None:
    """A held mat is never allowed in the run after the kill."""
    assert story.held_after_kill in ("proving", "held")
    assert [level.allow for level in story.second_hazel] == [False]
