"""Power cuts, simulated on the calls that the real program made. `make powercuts` does many more of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from storage.disk import Call
from storage.power_cuts import cut_power, cut_replacing, tell_story

# A fixed sample: the same cuts on every machine whose SQLite makes the same calls.
SEED = 20260116


@pytest.fixture(scope="module")
def story(recorder: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Call]:
    """Twenty hours of the program, with a trip, alarms, digest, restarts and clean-ups."""
    return tell_story(recorder, tmp_path_factory.mktemp("story"))


def test_no_power_cut_loses_a_trip_or_an_alarm(story: list[Call], tmp_path: Path) -> None:
    """After each of 80 cuts the record opens undamaged, with all it had kept but for one batch of readings.

    Kept: alarms, pushes, digests and what must be remembered at once. What a disk may lose: tests/storage/disk.py.
    """
    campaign = cut_power(story, 80, tmp_path, SEED)
    assert campaign.wrong == []
    assert campaign.cuts_n == 80
    assert campaign.unsynced_n > 40


def test_a_batch_of_readings_is_lost_and_no_more(story: list[Call], tmp_path: Path) -> None:
    """Cuts do cost readings, at most those of the 300 s between two commits: four series a poll of 10 s."""
    campaign = cut_power(story, 40, tmp_path, SEED + 1)
    assert campaign.cost_readings_n > 10
    assert 20 < campaign.lost_readings <= 4 * 31


def test_the_campaign_finds_a_program_that_does_not_sync(recorder: Path, tmp_path: Path) -> None:
    """The same story told without syncing loses trips, alarms and pushes in many cuts: the campaign can fail."""
    calls = tell_story(recorder, tmp_path / "fast", power_safe=False)
    found = "\n".join(cut_power(calls, 40, tmp_path, SEED).wrong)
    assert "alarm changes were kept, found" in found
    assert "push gone" in found
    assert "guard/oak remembers" in found


def test_replacing_a_damaged_record_loses_no_trip(recorder: Path, tmp_path: Path) -> None:
    """Cut after any call while a damaged record is set aside: the next start knows the trip and has its push."""
    replaced = cut_replacing(recorder, tmp_path, SEED, every=5)
    assert replaced.cuts_n > 80
    assert replaced.wrong == []
