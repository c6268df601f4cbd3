"""A recorded building as if it were a tub: three weeks fitted, two weeks predicted open-loop, beside others.

The series and its source: tests/data/winter/README.md. What the general-purpose library made of the same split is kept
in greybox.md, as `make greybox` wrote it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.building import SOURCE, WEEKS, Building, fit_of, kept, ours, persistence, read, rms_k

# Columns of the table in greybox.md.
_COLUMNS = {("next", "through"): 3, ("last", "through"): 4}
_LIBRARY = ("library, Ti", "library, TiTe", "library, TiTh", "library, TiTeTh", "library, TiTeThRia")


@pytest.fixture(scope="module")
def building() -> Building:
    return read()


@pytest.fixture(scope="module")
def told_k(building: Building) -> dict[str, float]:
    """Error of each week, nothing measured after the third week being used."""
    return rms_k(building, ours(building, fit_of(building))["through"])


@pytest.mark.parametrize("week", WEEKS)
def test_two_weeks_are_predicted_better_than_by_the_library_on_the_same_split(
    told_k: dict[str, float], week: str
) -> None:
    """Than by each of its models of one, two and three nodes; the error is that of the kept table, within a tenth."""
    table = kept(_COLUMNS[week, "through"])
    assert told_k[week] == pytest.approx(table["ours"], rel=0.1)
    assert [name for name in _LIBRARY if table[name] <= told_k[week]] == []


@pytest.mark.parametrize("week", WEEKS)
def test_they_are_predicted_better_than_by_what_was_read_last(
    building: Building, told_k: dict[str, float], week: str
) -> None:
    """Than by the last value, and the last day over again: by pandas from the file itself."""
    inside = pd.read_csv(SOURCE)["Ti"]
    held = inside[WEEKS[week]] - inside[3 * 168 - 1]
    assert told_k[week] < float(np.sqrt((held**2).mean()))
    looked_back = {name: rms_k(building, ways["through"])[week] for name, ways in persistence(building).items()}
    assert looked_back["the last value"] == pytest.approx(float(np.sqrt((held**2).mean())))
    assert told_k[week] < looked_back["the last day again"]


def test_a_week_like_the_last_is_not_beaten_and_the_table_says_so(building: Building, told_k: dict[str, float]) -> None:
    """The building's timer repeats itself by the week: looking back a week knows more than heat and weather tell."""
    week = rms_k(building, persistence(building)["the last week again"]["through"])
    assert all(week[name] < told_k[name] for name in WEEKS)
    text = SOURCE.parents[2].joinpath("analysis", "greybox.md").read_text(encoding="utf-8")
    assert text.count("more than the last week again") == 4
