"""Whatever a file holds, the answer is settings or problems in words, never another exception."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from helpers_settings import REAL, TWIN
from matwarden.settings import Outcome, check, judge
from matwarden.settings.rows import SettingsFile

SCALARS = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.integers(min_value=10**20, max_value=10**400)
    | st.floats()
    | st.text(max_size=20)
    | st.datetimes()
    | st.times()
    | st.sampled_from(["oak", "twin", "gpio", "C", "F", "room", "one-wire", "2026-01-16T17:00:00Z", "file:x", "\x00"])
)
TREES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)
KNOWN = st.sampled_from(sorted(SettingsFile.model_fields))


def judged(raw: dict[str, Any]) -> Outcome:
    """The outcome, whose messages must all be words."""
    outcome = judge(raw, Path("/nowhere/shelf.toml"))
    assert (outcome.settings is None) == bool(outcome.problems)
    for problem in outcome.problems:
        assert all(problem)
        assert "\n" not in problem.line()
    return outcome


@given(st.dictionaries(KNOWN | st.text(max_size=12), TREES, max_size=6))
def test_any_tree_of_junk_gives_problems(raw: dict[str, Any]) -> None:
    """Tables of anything at all, under known and unknown names, give problems and no exception."""
    assert judged(raw).settings is None


@given(st.sampled_from([REAL, TWIN]), st.data())
@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow])
def test_any_junk_in_one_place_of_a_good_file_is_survived(base: str, data: st.DataObject) -> None:
    """One value of a sound file replaced by anything, or taken away, gives settings or problems."""
    raw: dict[str, Any] = copy.deepcopy(tomllib.loads(base))
    spot: Any = raw
    while True:
        key = data.draw(st.sampled_from(sorted(spot) if isinstance(spot, dict) else range(len(spot))))
        if not isinstance(spot[key], dict | list) or not spot[key] or data.draw(st.booleans()):
            break
        spot = spot[key]
    if data.draw(st.booleans()):
        spot[key] = data.draw(TREES)
    else:
        del spot[key]

    judged(raw)


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_are_told(tmp_path: Path, junk: bytes) -> None:
    """A file of any bytes gives problems, never an exception."""
    path = tmp_path / "junk.toml"
    path.write_bytes(junk)

    assert check(path).problems


@given(
    st.lists(st.floats(min_value=20, max_value=33), min_size=5, max_size=5),
    st.floats(min_value=-1, max_value=4),
    st.booleans(),
    st.sampled_from("CF"),
)
@example([22.0, 25.0, 28.0, 29.0, 31.0], 1.0, True, "C")
@example([22.0, 25.0, 28.0, 29.0, 31.0], 1.0, True, "F")
def test_a_mat_is_taken_exactly_when_its_temperatures_are_in_order(
    celsius: list[float], hysteresis_k: float, ordered: bool, unit: str
) -> None:
    """Whatever numbers a mat and its band are given, in either unit: taken when in the safe order, else refused."""
    low, setpoint, high, limiter, cut_out = sorted(celsius) if ordered else celsius
    raw = tomllib.loads(REAL.replace('unit = "C"', f'unit = "{unit}"'))
    raw["enclosure"][0].update(zip(("band_low", "band_high"), _written((low, high), unit), strict=True))
    keys = ("setpoint", "limiter", "cut_out")
    raw["mat"][0].update(zip(keys, _written((setpoint, limiter, cut_out), unit), strict=True))
    raw["mat"][0]["hysteresis"] = hysteresis_k * 1.8 if unit == "F" else hysteresis_k
    raw["probe"][1]["offset"] = raw["alarms"]["deadband"] = 0.0
    on, off = setpoint - hysteresis_k / 2, setpoint + hysteresis_k / 2
    # How far each rule is from its edge; within a hundredth of a kelvin of one, the told bounds may decide.
    margins = [on - low, high - off, limiter - off, cut_out - limiter, 31.0 - cut_out, hysteresis_k, high - low]
    assume(all(abs(margin) > 0.01 for margin in margins))

    outcome = judged(raw)

    assert (outcome.settings is not None) == all(margin > 0 for margin in margins)


def _written(values: tuple[float, ...], unit: str) -> tuple[float, ...]:
    return tuple(value * 1.8 + 32 for value in values) if unit == "F" else values
