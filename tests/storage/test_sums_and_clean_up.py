"""Sums and clean-up together: no reading goes before it is in the sums, and no kill spoils them."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from matwarden.sinks.store_cleanup import clean_up, make_room
from matwarden.sinks.store_moments import readings_in
from matwarden.sinks.store_schema import StoreError
from matwarden.sinks.store_sums import sum_up
from matwarden.sinks.store_sums_read import Sums
from sums_examples import Recorder, oak, probe

UTC = ZoneInfo("UTC")
DAY_S = 86400.0
FOREVER = (0.0, 1e11)
# 2027-11-10 00:00 UTC
BEGIN_S = 1_825_804_800.0
SUM_UP = (
    "import sys; from pathlib import Path; from zoneinfo import ZoneInfo\n"
    "from matwarden.sinks.store_sums import sum_up; from sums_examples import oak, probe\n"
    "print('ready', flush=True)\n"
    "sum_up(Path(sys.argv[1]), ZoneInfo('UTC'), [oak(probe(1), probe(2))], [])\n"
)


@pytest.fixture(autouse=True)
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("matwarden.sinks.store.PART_ROWS", 1000)


def record(directory: Path, days: float) -> None:
    recorder = Recorder(directory, BEGIN_S)
    recorder.verdict(0.0, True, 1)
    recorder.readings(np.arange(0.0, days * DAY_S, 60.0).tolist(), lambda s: 20.0 + s % 7919 / 1000, lambda s: 24.0)
    recorder.close()


def test_what_is_not_summed_is_not_cleaned_up(tmp_path: Path) -> None:
    """However old, readings stay until a pass has been over them; then they go, and their sums stay."""
    record(tmp_path, 6.5)
    assert clean_up(tmp_path, 1.0) == 0
    sum_up(tmp_path, UTC, [oak(probe(1), probe(2))], [])
    before = Sums(tmp_path).series_days(*FOREVER), Sums(tmp_path).series_extremes(*FOREVER)
    assert clean_up(tmp_path, 1.0) >= 5 * 2880 - 1000
    assert (Sums(tmp_path).series_days(*FOREVER), Sums(tmp_path).series_extremes(*FOREVER)) == before


def test_the_day_that_goes_on_is_summed_whole_after_a_clean_up(tmp_path: Path) -> None:
    """With hardly anything kept, each day's sums are those of a record that was never cleaned up."""
    record(tmp_path / "kept", 3.5)
    sum_up(tmp_path / "kept", UTC, [oak(probe(1))], [])
    for days in (1.3, 2.4, 3.5):
        add(tmp_path / "cleaned", days)
        sum_up(tmp_path / "cleaned", UTC, [oak(probe(1))], [])
        assert clean_up(tmp_path / "cleaned", 0.01) > 0
    assert Sums(tmp_path / "cleaned").series_days(*FOREVER) == Sums(tmp_path / "kept").series_days(*FOREVER)


def add(directory: Path, until_days: float) -> None:
    """Record on, in a new run, from where the record ends."""
    there = list(readings_in(directory, *FOREVER)) if (directory / "matwarden.db").exists() else []
    start_s = there[-1].wall_s + 60.0 - BEGIN_S if there else 0.0
    recorder = Recorder(directory, BEGIN_S + start_s)
    values = (lambda s: 20.0 + (s + start_s) % 7919 / 1000, lambda s: 24.0)
    recorder.readings(np.arange(0.0, until_days * DAY_S - start_s, 60.0).tolist(), *values)
    recorder.close()


def test_a_full_disk_drops_what_is_summed_first(tmp_path: Path) -> None:
    """Making room takes the oldest: after it all complete days still have their sums, and a later pass goes on."""
    record(tmp_path, 4.5)
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    make_room(tmp_path, 10**9, 0)
    add(tmp_path, 6.2)
    sum_up(tmp_path, UTC, [oak(probe(1))], [])
    days = next(iter(Sums(tmp_path).series_days(*FOREVER).values()))
    # The fifth day was dropped in part before it was over: what is gone is missing, not made up.
    assert [day.known_s for day in days[:4] + days[5:]] == [DAY_S] * 5
    assert 0.0 < days[4].known_s < DAY_S


def test_on_a_nearly_full_disk_no_day_is_summed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Readings are held in memory then: what they would add must not be missing for ever."""
    record(tmp_path, 2.5)
    monkeypatch.setattr("matwarden.sinks.store_sums.free_bytes", lambda _: 40_000_000)
    with pytest.raises(StoreError, match="nearly full"):
        sum_up(tmp_path, UTC, [oak(probe(1))], [])
    assert Sums(tmp_path).summed_to_wall_s() is None
    assert clean_up(tmp_path, 1.0) == 0


def test_a_kill_in_the_midst_of_summing_loses_nothing_and_counts_nothing_twice(tmp_path: Path) -> None:
    """Killed at random moments until it is through, the pass leaves the sums of one that was left alone."""
    record(tmp_path / "killed", 25.5)
    shutil.copytree(tmp_path / "killed", tmp_path / "alone")
    sum_up(tmp_path / "alone", UTC, [oak(probe(1), probe(2))], [])
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(each for each in sys.path if each)}
    dice = random.Random(3)
    kills = 0
    while True:
        command = [sys.executable, "-c", SUM_UP, str(tmp_path / "killed")]
        with subprocess.Popen(command, env=env, stdout=subprocess.PIPE) as child:
            assert child.stdout is not None
            child.stdout.readline()
            if kills < 8:
                time.sleep(dice.uniform(0.0, 0.15))
                child.kill()
            if child.wait() == 0:
                break
            kills += 1
    assert kills >= 1
    mine, its = Sums(tmp_path / "killed"), Sums(tmp_path / "alone")
    assert mine.series_days(*FOREVER) == its.series_days(*FOREVER)
    assert mine.tub_hours("oak", *FOREVER) == its.tub_hours("oak", *FOREVER)
    assert len(mine.tub_days(*FOREVER)["oak"]) == 25
