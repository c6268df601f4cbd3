"""`matwarden drill`: what a keeper is told, on which tub and in which room, and what is refused."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from PIL import Image

from helpers_drill import commission, real_settings, recorded_nights
from helpers_process import Ran, environment
from matwarden.core.fault_catalogue import fault_cases
from matwarden.drill import Drill, Drilled, Plan
from matwarden.drill_settings import stock_twin
from matwarden.exit_codes import Exit
from matwarden.main import open_devices
from matwarden.report.drill_text import drill_document, drill_text, table_text
from matwarden.settings import load
from matwarden.settings.resolved import RoomFormula
from matwarden.terms import Enclosure, Role, Unit

# Two lives of a day each; a machine that is busy with other tests needs its time.
pytestmark = pytest.mark.timeout(400)
_HOUR_S = 3600.0
_START_WALL_S = 1_768_582_800.0
_ZONE = ZoneInfo("Europe/Amsterdam")


def drill(*words: str | Path, path: str = "") -> Ran:
    """The command in a process of its own. `path`: looked through first for modules."""
    env = environment()
    env["PYTHONPATH"] = os.pathsep.join(filter(None, [path, env.get("PYTHONPATH", "")]))
    done = subprocess.run(
        [sys.executable, "-m", "matwarden", "drill", *map(str, words)],
        env=env,
        capture_output=True,
        text=True,
        timeout=300.0,
        check=False,
    )
    assert "Traceback" not in done.stderr
    return Ran(done.returncode, done.stdout, done.stderr)


@pytest.fixture(scope="module")
def oak(tmp_path_factory: pytest.TempPathFactory) -> tuple[Enclosure, dict[str, Drilled]]:
    """Some faults of a stock tub in a room of 18 C; settings in Fahrenheit, with two targets and quiet hours."""
    push = """
[push]
quiet_from = "22:00"
quiet_until = "07:00"
[[push.target]]
name = "phone"
url = "json://127.0.0.1:9/secret"
[[push.target]]
name = "neighbour"
url = "json://127.0.0.1:9/secret"
second = true
"""
    settings = load(real_settings(tmp_path_factory.mktemp("oak"), push, unit="F"))
    oak = settings.enclosures[0]
    plan = Plan(RoomFormula(18.0, 0.0, 15.0, 0.0), _START_WALL_S, 3 * _HOUR_S, 6 * _HOUR_S, float("inf"))
    drill = Drill(settings, oak, stock_twin(oak), plan, open_devices, 6 * _HOUR_S)
    wanted = ("nothing", "wall-dead", "relay-welded", "air-in-room", "clock-forward")
    cases = fault_cases((Role.WALL, Role.AIR), mat=True, cold_tub=False)
    return oak, {case.id: drill.of(case) for case in cases if case.id in wanted}


def test_the_phone_rings_with_the_stations_own_words_at_their_time(
    oak: tuple[Enclosure, dict[str, Drilled]],
) -> None:
    """A dead wall probe: until its last reading is stale, then ten minutes; then each quarter of an hour again."""
    run = oak[1]["wall-dead"]
    told = run.told
    assert told is not None
    assert told.title == "Oak: no good reading for 10 min"
    assert told.targets == ("phone",)
    # From the settings: the last reading is up to 30 s old and counts for 90 s; blind after 10 min; judged every 10 s.
    assert 660.0 <= told.t_s - run.struck_s <= 700.0
    again = next(push for push in run.pushes if "still" in push.title)
    assert again.t_s - told.t_s == pytest.approx(900.0, abs=10.0)
    # After half an hour without an answer the second one is called too.
    second = next(push for push in run.pushes if "neighbour" in push.targets)
    assert second.t_s - told.t_s == pytest.approx(1800.0, abs=10.0)


def test_what_is_true_is_told_and_not_only_what_is_read(oak: tuple[Enclosure, dict[str, Drilled]]) -> None:
    """The air probe in a cold room reads 18 C all along; the true inside is held by the limiter at the wall."""
    tub, runs = oak
    run = runs["air-in-room"]
    read_c = [c for t_s, c in run.read["oak-air"] if t_s > run.struck_s + 600.0]
    assert max(read_c) < 18.5
    assert run.outcome.lowest.value_c > 24.0
    assert run.outcome.wall.value_c < 30.0


def test_a_low_push_waits_for_the_end_of_quiet_hours(oak: tuple[Enclosure, dict[str, Drilled]]) -> None:
    """A clock that is set is a low push: struck at 21:00, it is midnight by the clock then; the watch ends at six."""
    run = oak[1]["clock-forward"]
    assert "clock-stepped/house" in {change.alarm for change in run.alarms}
    assert run.pushes == ()


def test_without_a_fault_nobody_is_told(oak: tuple[Enclosure, dict[str, Drilled]]) -> None:
    """And the tub stays in its band."""
    run = oak[1]["nothing"]
    assert run.told is None
    assert run.alarms == ()
    assert run.outcome.cold_s == run.outcome.warm_s == 0.0


def test_the_timeline_tells_of_each_push_and_not_of_the_rhythm(oak: tuple[Enclosure, dict[str, Drilled]]) -> None:
    """Each push with its whole words and its time after the fault; verdicts of a healthy round are not told."""
    tub, runs = oak
    for run in runs.values():
        text = drill_text(run, tub, ["head"], (), Unit.F, _ZONE)
        flat = " ".join(text.split())
        for push in run.pushes:
            assert " ".join(push.body.split()) in flat
        assert "is warm enough; demand begins" not in text.partition("ends ")[0]
        assert all(len(line) <= 100 for line in text.splitlines())
        assert " °C" not in text
    assert "never rings" in drill_text(runs["nothing"], tub, [], (), Unit.F, _ZONE)


def test_the_document_has_all_that_happened(oak: tuple[Enclosure, dict[str, Drilled]]) -> None:
    """In SI, in seconds after the fault; an interval only where there is one."""
    tub, runs = oak
    run = runs["relay-welded"]
    document = drill_document(run, tub, ())
    assert document["fault"] == "relay-welded"
    assert document["told_after_s"] == run.told.t_s - run.struck_s if run.told else False
    assert document["highest_wall"]["value_c"] == round(run.outcome.wall.value_c, 2)
    assert document["highest_wall"]["interval_c"] is None
    assert len(document["pushes"]) == len(run.pushes)
    assert all(entry["after_s"] >= 0.0 for kind in ("pushes", "verdicts", "alarms") for entry in document[kind])


def test_the_table_has_a_row_for_each_fault(oak: tuple[Enclosure, dict[str, Drilled]]) -> None:
    """Told after, by which words, peaks in the keeper's unit, and the verdict; with the ids to ask further."""
    tub, runs = oak
    text = table_text(list(runs.values()), tub, ["head"], Unit.F)
    row = next(line for line in text.splitlines() if line.startswith("wall probe dead"))
    told = runs["wall-dead"].told
    assert told is not None
    assert f"{int((told.t_s - runs['wall-dead'].struck_s) // 60)} min" in row
    assert "no good reading for 10 min" in row
    assert f"{runs['wall-dead'].outcome.wall.value_c * 1.8 + 32.0:.1f}" in row
    assert "°F" in text
    assert all(each.case.id in text for each in runs.values())


def test_a_commissioned_tub_is_drilled_with_its_intervals(tmp_path: Path) -> None:
    """In the usual room of its record; text and picture are written where they are asked for."""
    settings = real_settings(tmp_path)
    commission(tmp_path)
    ran = drill("oak", "--fault", "relay-welded", "-s", settings, "--out", tmp_path / "out")
    assert ran.code == Exit.OK, ran.err
    flat = " ".join(ran.out.split())
    assert "yours, as commissioned on 16 Jan 2026" in flat
    assert "19.0 °C, the usual one of its record" in flat
    assert "NOT SET: your settings have no [push]" in flat
    told = [[float(each) for each in found] for found in re.findall(r"([\d.]+) °C \(([\d.]+) to ([\d.]+)\)", flat)]
    minutes = re.findall(r"rings after (\d+) min \((\d+) min to (\d+) min\)", flat)
    assert len(told) == 3  # wall, inside, lowest
    assert len(minutes) == 1
    for value, low, high in [*told, [float(each) for each in minutes[0]]]:
        assert low <= value <= high
    assert (tmp_path / "out" / "drill-oak-relay-welded.txt").read_text(encoding="utf-8") == ran.out
    with Image.open(tmp_path / "out" / "drill-oak-relay-welded.png") as picture:
        assert picture.width == 1080


def test_a_recorded_room_is_lived_through(tmp_path: Path) -> None:
    """Of a record of 18 hours, night at 16 C: the fault strikes in it, in the coldest room."""
    settings = real_settings(tmp_path)
    recorded_nights(tmp_path, 18.0)
    ran = drill("oak", "--fault", "mat-dead", "-s", settings, "--from", "2026-01-16T18:00", "--json")
    assert ran.code == Exit.OK, ran.err
    assert "2026-01-16T17:00:00Z" <= ran.json["struck_at"] <= "2026-01-16T23:10:00Z"
    assert 16.0 <= ran.json["lowest_inside"]["value_c"] < 22.0
    assert ran.json["told_title"] == "Oak: no heat arrives"


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("elm", "--fault", "nothing"), Exit.UNKNOWN, "oak"),
        (("oak", "--fault", "relay-weld"), Exit.UNKNOWN, "Did you mean relay-welded?"),
        (("rowan", "--fault", "relay-welded"), Exit.UNKNOWN, "no fault that this tub can have"),
        (("oak",), Exit.USAGE, "--fault"),
        (("oak", "--all", "--fault", "nothing"), Exit.USAGE, "not allowed with"),
        (("oak", "--fault", "nothing", "--room", "80"), Exit.USAGE, "expected -10 to 45 °C"),
        (("oak", "--fault", "nothing", "--room", "nan"), Exit.USAGE, "expected -10 to 45 °C"),
        (("oak", "--fault", "nothing", "--room", "18", "--from", "7d"), Exit.USAGE, "give one of them"),
        (("oak", "--fault", "nothing", "--from", "7d"), Exit.STORE, "nothing is recorded"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
def test_what_cannot_be_drilled_is_refused_with_words(
    tmp_path: Path, words: tuple[str, ...], code: Exit, said: str
) -> None:
    """Each with its exit code, one that a keeper can act on, before anything is simulated."""
    ran = drill(*words, "-s", real_settings(tmp_path))
    assert (ran.code, ran.out) == (code, "")
    assert said in ran.err


def test_too_little_of_a_room_is_refused(tmp_path: Path) -> None:
    """A record of six hours leaves no day after the fault."""
    settings = real_settings(tmp_path)
    recorded_nights(tmp_path, 6.0)
    ran = drill("oak", "--fault", "nothing", "-s", settings, "--from", "2026-01-16T18:00")
    assert ran.code == Exit.REFUSED
    assert "a drill needs 16 h at the least" in ran.err


def test_without_the_extra_a_commissioned_tub_is_not_passed_off_for_another(tmp_path: Path) -> None:
    """It is refused, with the line that installs what is missing; a tub that was never commissioned needs nothing."""
    settings = real_settings(tmp_path)
    commission(tmp_path)
    (tmp_path / "without").mkdir()
    for name in ("numpy", "scipy"):
        (tmp_path / "without" / f"{name}.py").write_text(f"raise ModuleNotFoundError('no {name}', name='{name}')\n")
    ran = drill("oak", "--fault", "nothing", "-s", settings, path=str(tmp_path / "without"))
    assert ran.code == Exit.REFUSED
    assert "pip install 'matwarden[analysis]'" in ran.err


def test_a_damaged_commissioning_is_told(tmp_path: Path) -> None:
    """Which file, and what to do."""
    settings = real_settings(tmp_path)
    commission(tmp_path)
    (kept,) = (tmp_path / "data" / "commissioned" / "oak").glob("*Z/tub.json")
    kept.write_text("{")
    ran = drill("oak", "--fault", "nothing", "-s", settings)
    assert ran.code == Exit.REFUSED
    assert str(kept) in ran.err
    assert "commission oak again" in ran.err


def test_an_unheated_tub_is_drilled_too(tmp_path: Path) -> None:
    """A substrate probe that dies, in a tub without a mat: blind, told after ten minutes."""
    ran = drill("rowan", "--fault", "substrate-dead", "--room", "24", "-s", real_settings(tmp_path), "--json")
    assert ran.code == Exit.OK, ran.err
    assert ran.json["told_title"] == "Rowan: no good reading for 10 min"
    assert ran.json["lowest_inside"]["value_c"] == pytest.approx(24.0, abs=0.1)
