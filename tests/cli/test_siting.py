"""`matwarden siting` in a process of its own, on a record of recorded rooms; its figures by SQL and pandas again."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.plant import some_plant
from analysis.test_fit import recorded as lived_by_plant
from helpers_process import Ran, command, environment
from matwarden.analysis.consequences import Rooms, findings
from matwarden.analysis.control import Control
from matwarden.analysis.fit import fitted
from matwarden.analysis.grid import laid_out
from matwarden.commissioned import COMMISSIONED, Commissioned, keep
from matwarden.exit_codes import Exit
from matwarden.settings import load
from matwarden.terms import Band
from recorded_series import as_polls, building_c, house_c, typical_c
from siting_examples import POLL_S, STALE_S, shelf

_DAYS = 10
_N = _DAYS * 288
# What the settings say of themselves where they say nothing: 72 and 82 F.
_BAND = Band(40.0 / 1.8, 50.0 / 1.8)


def polled(hours: Sequence[float | None], offset_k: float) -> list[float | None]:
    return list(as_polls(hours[: _DAYS * 24 + 1], _BAND, offset_k=offset_k).polls[:_N])


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten days of a real building (tests/data/winter): high, on the floor, and in a tub without a mat.

    The floor's probe was silent for 14 hours; the sill's (a house in weather, tests/data/weather) was read on the last
    day only; oak has a mat, which was heated on the third day.
    """
    building = list(building_c())
    floor = polled(building, 0.0)
    floor[1000:1168] = [None] * 168
    sill = [None] * (_N - 200) + polled(house_c(typical_c("723170"), 12.0), 0.0)[:200]
    return shelf(
        tmp_path_factory.mktemp("recorded"),
        {
            "room": polled(building, 3.5),
            "top": polled(building, 7.5),
            "floor": floor,
            "sill": sill,
            "rowan-air": polled(building, 5.0),
            "oak-air": polled(building, 6.0),
        },
        heat={2 * 288: True, 2 * 288 + 30: False},
    )


def ask(settings: Path, *words: str) -> Ran:
    ran = command("siting", *words, "-s", settings)
    assert "Traceback" not in ran.err
    return ran


def minutes(settings: Path, probe: str) -> Any:
    """What held at each minute, by SQL and pandas alone; NaN: nothing."""
    with closing(sqlite3.connect(load(settings).store.directory / "matwarden.db")) as connection:
        rows = connection.execute(
            "SELECT (r.t_ms + s.began_mono_ms) / 1000, r.milli / 1000.0 FROM readings_1 r, series n"
            " JOIN stretches s ON s.id = 1"
            " WHERE n.id = r.series AND n.probe = ? AND n.quantity = 'temperature'",
            (probe,),
        ).fetchall()
    series = pd.Series(dict(rows))
    return series.reindex(range(0, int(_N * POLL_S), 60)).ffill(limit=int(STALE_S // 60) - 1)


def test_places_are_those_of_the_record(recorded: Path) -> None:
    """Shares, dose and extremes over the time in which all were read, reckoned again; the best place comes first."""
    ran = ask(recorded, "--json")
    assert ran.code == Exit.OK
    told = ran.json
    assert [each["probe"] for each in told["places"]] == ["top", "rowan-air", "room", "floor"]
    assert told["refused"] == [{"probe": "sill", "why": "too-few", "known_s": 199 * POLL_S}]
    every = pd.DataFrame({each["probe"]: minutes(recorded, each["probe"]) for each in told["places"]})
    shared = every.iloc[: -int(POLL_S // 60) + 1].dropna()
    assert told["shared_s"] == pytest.approx(60.0 * len(shared), abs=601.0)
    for each in told["places"]:
        values = shared[each["probe"]]
        under = (_BAND.low_c - values).clip(lower=0.0)
        assert each["shared"]["in_band_share"] == pytest.approx(
            values.between(_BAND.low_c, _BAND.high_c).mean(), abs=1e-3
        )
        assert each["shared"]["below_kh_per_day"] == pytest.approx(24.0 * under.mean(), rel=2e-3, abs=1e-3)
        assert each["shared"]["lowest"]["value_c"] == values.min()
        assert each["shared"]["highest"]["value_c"] == values.max()
    floor = told["places"][-1]["own"]
    assert floor["longest_gap_s"] == 168 * POLL_S + POLL_S - STALE_S
    assert floor["unread_share"] > 0.05


def test_the_page_is_read_on_a_terminal(recorded: Path) -> None:
    """Within 80 columns; the place left out is named with the reason; the advice comes last and is about places."""
    lines = ask(recorded).out.splitlines()
    assert max(map(len, lines)) <= 80
    said = " ".join(lines)
    assert "sill is not compared: only 16 h 35 min were read of it" in said
    assert "it says nothing of colder weather" in said
    assert said.index("Advice:") > said.index("sill is not compared")
    assert lines[-1].endswith("side or back wall.") or "here the place is enough." in lines[-1]


def test_named_places_only(recorded: Path) -> None:
    """In a range, against the band of a tub that is named."""
    told = ask(recorded, "room", "top", "--from", "2026-01-13", "--to", "2026-01-15", "--tub", "rowan", "--json").json
    assert {each["probe"] for each in told["places"]} == {"room", "top"}
    assert told["band_of"] == "rowan"
    assert told["from"] == "2026-01-12T23:00:00Z"
    assert told["to"] == "2026-01-15T23:00:00Z"
    assert told["shared_s"] == pytest.approx(3 * 86_400.0, abs=1.0)


def test_a_tub_tells_of_its_place_only_where_it_was_not_heated(recorded: Path) -> None:
    """Its mat was allowed heat on the third day: not on that day nor the one after it, but from the fifth on."""
    told = ask(recorded, "top", "oak-air", "--json").json
    assert [each["probe"] for each in told["refused"]] == ["oak-air"]
    assert told["refused"][0]["why"] == "heated"
    alone = ask(recorded, "oak-air", "--to", "2026-01-15T12:00")
    assert alone.code == Exit.REFUSED
    assert "so it tells of the mat" in " ".join(alone.out.split())
    later = ask(recorded, "oak-air", "--from", "2026-01-16", "--json").json
    assert [each["probe"] for each in later["places"]] == ["oak-air"]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("attic",), Exit.UNKNOWN, "there is no probe 'attic' in the settings; there are room, top,"),
        (("--tub", "elm"), Exit.UNKNOWN, "oak, rowan"),
        (("--from", "soon"), Exit.USAGE, "'soon' is not"),
        (("--from", "1h", "--to", "2h"), Exit.USAGE, "--to is not after --from"),
        (("--from", "2020-01-01", "--to", "2020-01-02"), Exit.UNKNOWN, "nothing was recorded then"),
    ],
)
def test_what_cannot_be_compared_is_said_in_words(
    recorded: Path, words: tuple[str, ...], code: Exit, said: str
) -> None:
    """With the code that the README names."""
    ran = ask(recorded, *words)
    assert ran.code == code
    assert ran.err.startswith("matwarden: ")
    assert said in ran.err
    assert ran.out == ""


def test_where_nothing_was_ever_recorded_that_is_said(tmp_path: Path) -> None:
    """No record is no place."""
    file = shelf(tmp_path, {"room": [25.0]})
    for path in load(file).store.directory.iterdir():
        path.unlink()
    ran = ask(file)
    assert ran.code == Exit.STORE
    assert ran.err.startswith("matwarden: ")


@pytest.fixture(scope="module")
def fitted_shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four days of the building high and low, and a commissioned oak, fitted on the independent plant's record."""
    building = list(building_c())
    places = {"room": polled(building, 3.5)[:1152], "top": polled(building, 7.5)[:1152]}
    file = shelf(tmp_path_factory.mktemp("fitted"), {**places, "rowan-air": polled(building, 5.0)[:1152]})
    lived = lived_by_plant(some_plant(np.random.default_rng(5)), 5, np.zeros(2))
    fit, rooms = fitted(laid_out(lived, 60.0), 8.0), Rooms(15.0, 19.0, 24.0)
    control = Control(25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0)
    found = findings(fit, control, _BAND.low_c, rooms, watts_known=True)
    tub = Commissioned(
        "oak", 1_768_000_000.0, 1_767_800_000.0, 1_767_930_000.0, fit, fit.tried, fit.rms_k, True, control,
        _BAND.low_c, _BAND.high_c, rooms, found, "[house]\n",
    )  # fmt: skip
    keep(load(file).store.directory, tub, lived)
    return file


def test_a_commissioned_tub_is_put_into_each_place(fitted_shelf: Path) -> None:
    """Colder places ask for more heat; every number has its interval; a tub that is commissioned is taken by itself."""
    told = ask(fitted_shelf, "--json").json
    assert told["band_of"] == "oak"
    by = {each["probe"]: each["tub"] for each in told["places"]}
    assert by["room"]["heat_share"]["value"] > by["rowan-air"]["heat_share"]["value"] > by["top"]["heat_share"]["value"]
    assert by["room"]["needs_heat"] == "yes"
    for tub in by.values():
        for name in ("lowest_c", "heat_share", "energy_wh_per_day", "not_held_h", "below_share"):
            assert tub[name]["low"] <= tub[name]["value"] <= tub[name]["high"]
        # Two room probes: the fit's room is neither of them alone, so each place has what two probes may differ by.
        assert tub["other_probe"]
        assert tub["lowest_c"]["high"] - tub["lowest_c"]["low"] > 1.2
    lines = ask(fitted_shelf).out.splitlines()
    assert max(map(len, lines)) <= 80
    said = " ".join(lines)
    assert "Oak in each place, by its fit" in said
    assert "rowan-air: read inside a tub" in said
    assert ask(fitted_shelf, "--tub", "rowan", "--json").json["places"][0]["tub"] is None
    assert "ask with --tub oak" in " ".join(ask(fitted_shelf, "--tub", "rowan").out.split())


def test_without_the_extra_places_are_compared_all_the_same(fitted_shelf: Path, recorded: Path) -> None:
    """Only what the tub would have done is left out, and what to install is said."""
    script = (
        "import sys; sys.modules['numpy'] = sys.modules['scipy'] = None\n"
        "from matwarden.entry import main\nsys.exit(main())"
    )
    for file, asks in ((fitted_shelf, True), (recorded, False)):
        words = [sys.executable, "-c", script, "siting", "-s", str(file)]
        done = subprocess.run(words, capture_output=True, env=environment(), text=True, check=True)
        said = " ".join(done.stdout.split())
        assert ". top: " in said
        assert ("needs matwarden[analysis]: pip install 'matwarden[analysis]'" in said) == asks


def test_a_damaged_fit_is_told_and_places_are_compared(fitted_shelf: Path) -> None:
    """Which file, and that it is to be moved away."""
    (file,) = (load(fitted_shelf).store.directory / COMMISSIONED / "oak").glob("*/tub.json")
    whole = file.read_text(encoding="utf-8")
    file.write_text("{}", encoding="utf-8")
    try:
        ran = ask(fitted_shelf)
    finally:
        file.write_text(whole, encoding="utf-8")
    assert ran.code == Exit.OK
    assert "Oak would have done in each place cannot be told" in " ".join(ran.out.split())
    assert "tub.json is damaged" in " ".join(ran.out.split())
    assert "Advice:" in ran.out
