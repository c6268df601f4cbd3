"""There is one table of alarms; README, settings, MQTT, digest and help name what stands in it, and nothing else.

The nine states are those of ISA-18.2 / IEC 62682 as OPC 10000-9 restates them; the names are from memory of the model.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from matwarden.core.alarm_states import TABLE
from matwarden.core.alarm_table import ALARMS, HOUSE_ALARMS, TUB_ALARMS
from matwarden.report.alarm_table_text import BEGIN, END, table_document, table_text, with_table
from matwarden.settings.alarm_times import HOUSE_TIMES
from matwarden.sinks import homie
from matwarden.terms import AlarmState, Unit

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
CONDITIONS = {spec.condition for spec in ALARMS}
STATES = [
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned-unacknowledged",
    "latched-unacknowledged",
    "latched-acknowledged",
    "shelved",
    "suppressed-by-design",
    "out-of-service",
]


def test_the_readme_has_the_table_of_the_program(tmp_path: Path) -> None:
    """`make alarms` writes what is committed, byte for byte."""
    made = tmp_path / "README.md"
    made.write_text(README, encoding="utf-8")
    subprocess.run([sys.executable, "-m", "matwarden.report.alarm_table_text", str(made)], check=True)
    assert made.read_text(encoding="utf-8") == README
    told = re.findall(r"^\| `([a-z-]+)` \|", README.partition(BEGIN)[2].partition(END)[0], flags=re.M)
    assert told == [spec.condition for spec in ALARMS]


def test_a_readme_without_its_marks_is_left_alone() -> None:
    """The table is never written into a place nobody marked."""
    with pytest.raises(ValueError, match="between one line"):
        with_table("no marks here", HOUSE_TIMES)


def test_the_states_are_the_nine_of_the_model_everywhere() -> None:
    """Enumeration, table of transitions, MQTT's enum and the JSON of `alarms --table` name the same nine."""
    assert [state.value for state in AlarmState] == STATES
    assert {row.state for row in TABLE} | {row.to for row in TABLE} == set(AlarmState)
    assert homie._alarm("cold").format == ",".join(STATES)
    assert table_document(HOUSE_TIMES)["states"] == STATES


def test_mqtt_names_only_alarms_of_the_table() -> None:
    """A tub's node has alarms of tubs, the house's node those of the house."""
    assert set(homie.HOUSE_CONDITIONS) == {spec.condition for spec in HOUSE_ALARMS}
    assert set(homie._OF_A_MAT) <= {spec.condition for spec in TUB_ALARMS}


def test_the_mqtt_table_of_the_readme_names_only_alarms_of_the_table() -> None:
    """Each `...-alarm` topic told there is an alarm."""
    assert set(re.findall(r"`(?:house/|<enclosure>/)?([a-z-]+)-alarm`", README)) <= CONDITIONS


def test_every_key_an_alarm_waits_by_is_a_key_of_the_settings() -> None:
    """A key that the table's limits name stands in the JSON Schema of the settings file."""
    schema = json.loads((ROOT / "config" / "matwarden.schema.json").read_text(encoding="utf-8"))
    keys = {key for row in schema["$defs"].values() for key in row.get("properties", {})}
    named = {key for spec in ALARMS for key in re.findall(r"\b[a-z]+(?:_[a-z]+)+\b", spec.limit + spec.deadband)}
    assert named
    assert named <= keys


def test_the_table_fits_a_terminal_and_says_all_eight_things() -> None:
    """Limit, deadband, both delays, re-alarm, priority, consequence and response of each alarm, in 80 columns."""
    document = table_document(HOUSE_TIMES)
    text = table_text(document, Unit.F)
    assert [line for line in text.splitlines() if len(line) > 80] == []
    flat = " ".join(text.split())
    for spec in ALARMS:
        for told in (f"[{spec.priority.value}]", spec.limit, spec.deadband, spec.consequence, spec.response):
            assert told in flat
    assert flat.count("re-alarm") == flat.count("delays") == len(ALARMS)
    assert json.loads(json.dumps(document, allow_nan=False)) == document
