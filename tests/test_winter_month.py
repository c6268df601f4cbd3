"""What a phone hears in a winter with the alarms as they come: an ordinary month, and one whose heating fails.

The tubs and the room are those of `make winter` (tests/data/winter/README.md), read once a minute instead of six times.
That run leaves the other ways to ring out, to see one rule alone; here they are as a settings file without [alarms] has
them: a dose, a second call, second targets, many tubs as one.
"""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from winter import evidence
from winter.checks import DEADBAND_K, LOW_C, OFF_DELAY_S, ON_DELAY_S
from winter.rehearse import DATA, PHONE, TUBS, Winter, rehearse

pytestmark = pytest.mark.timeout(600)
_DAYS = 30
# What a month brings that nobody should be called for: who, what, how much, after how many hours, for how long.
_ORDINARY = [
    *[("lid-off", tub, 10.0, 24.0 * day + 18.0 + n / 4, 0.2) for day in range(1, 29, 3) for n, tub in enumerate(TUBS)],
    *[("probe-dead", f"{TUBS[day % 4]}-air", None, 24.0 * day + 3.0, 0.05) for day in range(1, 29)],
    *[("probe-spike", f"{TUBS[day % 4]}-air", -12.0, 24.0 * day + 5.0, 0.02) for day in range(1, 29, 2)],
    *[("room-offset", "room", -4.0, 24.0 * day + 7.5, 0.25) for day in range(1, 29)],
]


def _settings(directory: Path, room: Sequence[tuple[datetime, float]], more: str = "") -> Path:
    """The winter's settings with the default alarms, a minute's step, and this room."""
    directory.mkdir()
    with (directory / "room.csv").open("w", encoding="utf-8", newline="") as file:
        rows = [(f"{at:%Y-%m-%dT%H:%M:%SZ}", value_c) for at, value_c in room]
        csv.writer(file).writerows([("time", "temperature_c"), *rows])
    text = (DATA / "winter.toml").read_text(encoding="utf-8")
    text = re.sub(r"\[alarms\]\n(.+\n)+", "[polling]\nevery_s = 60\nstale_after_s = 180\n", text)
    text = text.replace("step_s = 10\n", "step_s = 60\n")
    days = (room[-1][0] - room[0][0] + timedelta(hours=1)).days
    text = re.sub(r"start = .*\ndays = .*\n", f'start = "{room[0][0]:%Y-%m-%dT%H:%M:%SZ}"\ndays = {days}\n', text)
    (directory / "winter.toml").write_text(text + more, encoding="utf-8")
    return directory / "winter.toml"


def _recorded_room() -> list[tuple[datetime, float]]:
    with (DATA / "room.csv").open(encoding="utf-8", newline="") as file:
        return [(datetime.fromisoformat(row["time"]), float(row["temperature_c"])) for row in csv.DictReader(file)]


def _ordinary_room() -> list[tuple[datetime, float]]:
    """From 2 January, when the room is warm again, to its end, then back the way it came until a month is full."""
    recorded = [row for row in _recorded_room() if row[0] >= datetime.fromisoformat("2020-01-02T00:00:00+00:00")]
    values = [value_c for _, value_c in recorded]
    values += values[-2::-1]
    return [(recorded[0][0] + timedelta(hours=n), value_c) for n, value_c in enumerate(values[: _DAYS * 24])]


def _fault(kind: str, subject: str, amount: float | None, at_h: float, for_h: float) -> str:
    line = "" if amount is None else f"amount = {amount}\n"
    return f'\n[[fault]]\nkind = "{kind}"\nsubject = "{subject}"\n{line}at_h = {at_h}\nuntil_h = {at_h + for_h:.4f}\n'


@pytest.fixture(scope="module")
def month(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Winter]:
    """An ordinary month: lids are opened, a window each morning, a probe misses readings, another spikes."""
    base = tmp_path_factory.mktemp("month")
    file = _settings(base / "settings", _ordinary_room(), "".join(_fault(*each) for each in _ORDINARY))
    yield rehearse(base / "run", file=file)
    shutil.rmtree(base)


@pytest.fixture(scope="module")
def failure(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Winter]:
    """The first 16 days of the recorded winter as they were, the heating off for 106 hours of them."""
    base = tmp_path_factory.mktemp("failure")
    yield rehearse(base / "run", file=_settings(base / "settings", _recorded_room()[: 16 * 24]))
    shutil.rmtree(base)


def test_an_ordinary_month_is_one_push_a_day(month: Winter) -> None:
    """Thirty digests and nothing else: at most one push a day on average, the digest counted."""
    titles = [title for _, title in evidence.pushes(month.database)]
    assert [title for title in titles if not title.startswith("Winter shelf:")] == []
    assert 0 < len(titles) <= _DAYS


def test_an_ordinary_month_has_no_alarm_that_chatters(month: Winter) -> None:
    """No alarm of any kind changes its state in that month."""
    assert evidence.alarms(month.database) == []


def test_the_month_was_ordinary_and_not_still(month: Winter) -> None:
    """Lids and windows did cool the tubs, and readings were missed: there was something not to ring for."""
    assert min(min(month.truth[tub].air_c) for tub in TUBS) < LOW_C
    expected = round(_DAYS * 86400.0 / month.step_s)
    readings = evidence.series(month.database)
    assert all(len(readings[f"{tub}-air", "temperature"]) < expected for tub in TUBS)


def test_a_failing_heating_is_less_than_a_push_a_day_too(failure: Winter) -> None:
    """One tub rings alone, twice, the room's alarm for three and more, twice; each tells its return: six in 16 days."""
    # What reached the phone: there are no second targets here, so the third calls reach nobody.
    lines = (failure.out / PHONE).read_text(encoding="utf-8").splitlines()
    own = [line for line in lines if "Winter shelf: " not in line]
    assert len(own) == 6 < failure.days


def test_no_alarm_of_the_failure_chatters(failure: Winter) -> None:
    """Each alarm starts once and returns once."""
    told = evidence.alarms(failure.database)
    for alarm in {row.alarm for row in told}:
        mine = [row for row in told if row.alarm == alarm]
        assert len(mine) == 2
        assert [a.state == b.previous for a, b in pairwise(mine)] == [True]


def test_the_first_tub_rings_when_the_plain_delay_says_so(failure: Winter) -> None:
    """These tubs sink by hundredths of a kelvin an hour: the dose, which asks for one kelvin, changes no time here."""
    readings = evidence.series(failure.database)
    due = {
        tub: evidence.cold_alarm(
            readings[f"{tub}-air", "temperature"], LOW_C, LOW_C + DEADBAND_K, ON_DELAY_S, OFF_DELAY_S
        )
        for tub in TUBS
    }
    told = [row for row in evidence.alarms(failure.database) if row.state == "unacknowledged"]
    first = min(told, key=lambda row: row.wall_s)
    assert first.wall_s == min(moments[0][0] for moments in due.values())
