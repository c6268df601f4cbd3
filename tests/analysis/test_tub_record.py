"""What the store has of a tub, and what is kept of a commissioned one: a simulated shelf, its real file."""

from __future__ import annotations

import csv
import gzip
import json
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from analysis.plant import some_plant
from analysis.test_fit import recorded
from helpers_process import settings_file, shelf_text
from matwarden.analysis.consequences import Rooms, findings
from matwarden.analysis.control import Control
from matwarden.analysis.fit import fitted
from matwarden.analysis.grid import laid_out, step_for
from matwarden.commissioned import Commissioned, CommissionedError, keep, latest, tubs
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load
from matwarden.settings.resolved import Settings
from matwarden.tub_record import lived_between, places_between

_HOURS = 12
_START_S = 1_768_582_800.0
_CONTROL = Control(25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0)


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Two tubs for twelve hours, the program gone for two of them in the midst."""
    text = (
        shelf_text("oak", "alder").replace("every_s = 1\n", "every_s = 10\n").replace("step_s = 1\n", "step_s = 10\n")
    )
    loaded = load(settings_file(tmp_path_factory.mktemp("lived"), text))
    run = Rehearsal(loaded, open_devices)
    run.run_until(5 * 3600.0)
    run.close(release_devices=False)
    clock = run.clock
    clock.wait(7 * 3600.0, threading.Event())
    again = Rehearsal(loaded, open_devices, clock=clock, devices=run.devices)
    again.run_until(_HOURS * 3600.0)
    again.close()
    return loaded


def test_readings_and_heat_are_those_of_the_file(settings: Settings) -> None:
    """Every reading of the tub's probes and of the room, none of other tubs; share of heat from the rows' own sum."""
    oak = settings.enclosures[0]
    lived = lived_between(settings, oak, None, None)
    with closing(sqlite3.connect(settings.store.directory / "matwarden.db")) as connection:
        rows = connection.execute(
            "SELECT n.probe, r.milli / 1000.0 FROM readings_1 r JOIN series n ON n.id = r.series"
            " WHERE n.quantity = 'temperature' ORDER BY r.id"
        ).fetchall()
        verdicts = connection.execute(
            "SELECT (s.began_wall_ms + v.t_ms) / 1000.0, v.allowed FROM verdicts v, stretches s"
            " WHERE v.stretch = s.id AND v.enclosure = 'oak' ORDER BY v.id"
        ).fetchall()
    for series, probe in ((lived.wall, "oak-wall"), (lived.inside, "oak-air"), (lived.room, "room")):
        assert len(series) == 1
        assert series[0].value_c.tolist() == [value for name, value in rows if name == probe]
        assert (np.diff(series[0].t_s) > 0.0).all()
    end_s = float(lived.room[0].t_s[-1])
    # The last verdict of the first run is a cut at its end; from there to the next run nothing was allowed.
    times, allowed = np.array([t for t, _ in verdicts] + [end_s]), np.array([a for _, a in verdicts])
    heat = lived.heat
    ours_s = float(np.sum(np.diff(np.append(heat.t_s, end_s)) * heat.allowed))
    theirs_s = float(np.sum(np.diff(times) * allowed))
    gone = [k for k in range(len(times) - 1) if times[k] < _START_S + 5 * 3600.0 <= times[k + 1]]
    theirs_s -= sum(allowed[k] * (times[k + 1] - (_START_S + 5 * 3600.0)) for k in gone)
    assert ours_s == pytest.approx(theirs_s, abs=15.0)
    assert ours_s > 600.0


def test_a_gap_in_which_the_program_was_gone_is_a_gap_of_two_hours_without_heat(settings: Settings) -> None:
    """Two stretches; the time line goes on by the clock."""
    lived = lived_between(settings, settings.enclosures[0], None, None)
    grids = laid_out(lived, 60.0)
    assert len(grids) == 2
    assert grids[1].start_s - (grids[0].start_s + grids[0].lasts_s) == pytest.approx(7200.0, abs=90.0)


def test_a_range_leaves_out_what_is_before_and_after(settings: Settings) -> None:
    """Two hours asked for are two hours."""
    since_s = float(lived_between(settings, settings.enclosures[0], None, None).room[0].t_s[0]) + 3600.0
    room = lived_between(settings, settings.enclosures[0], since_s, since_s + 7200.0).room[0]
    assert room.t_s[0] == pytest.approx(since_s, abs=11.0)
    assert room.t_s[-1] == pytest.approx(since_s + 7200.0, abs=11.0)
    places = places_between(settings, ["room", "no-such"], since_s, since_s + 7200.0)
    assert places["room"].value_c.tolist() == room.value_c.tolist()
    assert list(places) == ["room"]


def test_a_step_is_not_shorter_than_the_polls_and_grows_with_the_record() -> None:
    """A day and a half of ten-second polls: half a minute; of hourly readings: an hour."""
    lived = recorded(some_plant(np.random.default_rng(1)), 1, np.zeros(2))
    assert step_for(lived) == 30.0


def _commissioned(directory: Path) -> tuple[Commissioned, Path]:
    lived = recorded(some_plant(np.random.default_rng(5)), 5, np.zeros(2))
    fit = fitted(laid_out(lived, 60.0), 8.0)
    rooms = Rooms(15.0, 19.0, 24.0)
    found = findings(fit, _CONTROL, 22.2, rooms, watts_known=True)
    tub = Commissioned(
        "oak", 1_795_900_000.0, 1_795_700_000.0, 1_795_830_000.0, fit, fit.tried, fit.rms_k, True, _CONTROL,
        22.2, 27.8, rooms, found, "[house]\n",
    )  # fmt: skip
    return tub, keep(directory, tub, lived)


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    """The same network, intervals and rooms; the measured rows are those of the record."""
    kept, home = _commissioned(tmp_path)
    found = latest(tmp_path, "oak")
    assert found is not None
    assert tubs(tmp_path) == ["oak"]
    assert (found.findings, found.rooms, found.control, found.tried) == (
        kept.findings,
        kept.rooms,
        kept.control,
        kept.tried,
    )
    assert found.found.network.losses.tolist() == kept.found.network.losses.tolist()
    assert found.found.covariance.tolist() == kept.found.covariance.tolist()
    with gzip.open(home / "measured.csv.gz", "rt", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert sum(row["of"] == "room-1" for row in rows) == 36 * 360 + 1
    assert latest(tmp_path, "alder") is None


def test_a_damaged_file_is_told_in_words(tmp_path: Path) -> None:
    """Which file, and what to do; whatever is wrong with it."""
    _, home = _commissioned(tmp_path)
    file = home / "tub.json"
    whole = file.read_text(encoding="utf-8")
    document = json.loads(whole)
    broken = [whole[:500], "[]", "{}", whole.replace('"form": 1', '"form": 9')]
    for key, value in (("covariance", [[1.0]]), ("values", ["much"]), ("rooms", {}), ("findings", {}), ("made", "now")):
        broken.append(json.dumps({**document, key: value}))
    for text in broken:
        file.write_text(text, encoding="utf-8")
        with pytest.raises(CommissionedError, match=r"tub\.json.*(move|again)"):
            latest(tmp_path, "oak")
