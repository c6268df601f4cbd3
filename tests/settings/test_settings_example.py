"""The files that ship: the example, the demo and the schema keep up with the program."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from matwarden.settings import check, row_parts, rows, service_rows, simulation_rows
from matwarden.settings.render import render_resolved
from matwarden.settings.schema import schema
from matwarden_hardware.twin.faults import FaultKind
from matwarden_hardware.twin.physics import TubPhysics

CONFIG = Path(__file__).parents[2] / "config"
EXAMPLE = CONFIG / "matwarden.example.toml"
DEMO = CONFIG / "demo.toml"
SCHEMA = CONFIG / "matwarden.schema.json"

ROWS = [
    rows.House,
    rows.Polling,
    rows.Alarms,
    rows.EnclosureRow,
    rows.OneWireProbe,
    rows.IioProbe,
    rows.HwmonProbe,
    rows.Dht22Probe,
    rows.TwinProbe,
    rows.GpioMat,
    rows.TwinMat,
    rows.GpioPermit,
    rows.TwinPermit,
    service_rows.Store,
    service_rows.Control,
    service_rows.Mqtt,
    service_rows.Push,
    service_rows.PushTargetRow,
    service_rows.Digest,
    service_rows.WatchRow,
    service_rows.Heartbeat,
    simulation_rows.Simulation,
    simulation_rows.SimulatedRoom,
    simulation_rows.TwinRow,
    simulation_rows.FaultRow,
]


def as_json(text: str) -> Any:
    """The tables of a TOML text for a JSON Schema, which has no dates: a day is its text, as editors take it."""
    return json.loads(json.dumps(tomllib.loads(text), default=str))


def all_in_use() -> str:
    """The example with every key and table taken into use."""
    return re.sub(r"(?m)^#(?=[\[a-z])", "", EXAMPLE.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", [EXAMPLE, DEMO], ids=lambda path: path.stem)
def test_the_files_that_ship_are_sound(path: Path) -> None:
    """Example and demo load without a problem or a warning."""
    outcome = check(path)

    assert (outcome.problems, outcome.warnings) == ((), ())
    assert outcome.settings is not None


def test_the_schema_file_is_the_schema_of_the_program(tmp_path: Path) -> None:
    """What the program writes as its schema is, byte for byte, the file that ships."""
    made = tmp_path / "schema.json"
    subprocess.run([sys.executable, "-m", "matwarden.settings.schema", str(made)], check=True)

    assert made.read_text(encoding="utf-8") == SCHEMA.read_text(encoding="utf-8")


def test_the_schema_is_valid() -> None:
    """The schema keeps the rules of JSON Schema draft 2020-12, as the library jsonschema knows them."""
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("path", [EXAMPLE, DEMO], ids=lambda path: path.stem)
def test_the_files_that_ship_keep_the_schema(path: Path) -> None:
    """An editor that follows the schema finds nothing wrong in example and demo."""
    jsonschema.Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(
        as_json(path.read_text(encoding="utf-8"))
    )


def test_the_example_with_every_key_in_use_keeps_the_schema() -> None:
    """Every commented key of the example has a value that its key takes."""
    jsonschema.Draft202012Validator(schema()).validate(as_json(all_in_use()))


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [("house", "colour", "red"), ("polling", "every_s", 0), ("digest", "at", "25:00"), ("house", "zone", 1)],
)
def test_the_schema_refuses_what_the_program_refuses(table: str, key: str, value: object) -> None:
    """Unknown keys, wrong kinds and values out of range are refused by the schema too."""
    raw = as_json(EXAMPLE.read_text(encoding="utf-8"))
    raw[table][key] = value

    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema()).validate(raw)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.__name__)
def test_every_key_stands_in_the_example(row: type[row_parts.Row]) -> None:
    """Each key the program knows is in the example, as a setting or in the table of keys of a comment."""
    text = EXAMPLE.read_text(encoding="utf-8")
    missing = [
        key
        for key in row.model_fields
        if not re.search(rf"(?m)^(#?{key} = |#   {key}  |#?\[\[?(push\.|simulation\.)?{key}\]\]?$)", text)
    ]

    assert missing == []


def test_every_key_of_the_example_has_a_comment() -> None:
    """Each key that is not in use says what it means, and its default, in a comment on its line."""
    bare = [line for line in EXAMPLE.read_text(encoding="utf-8").splitlines() if re.match(r"#[a-z_]+ = [^#]*$", line)]

    assert bare == []


def test_the_commented_defaults_are_the_defaults(tmp_path: Path) -> None:
    """The tables of the example that only repeat defaults change nothing when they are taken into use."""
    text = EXAMPLE.read_text(encoding="utf-8")
    used = re.sub(
        r"(?m)^#(?=(every_s|deadline|stale_after_s|max_rate|cold|hot|blind|clear|deadband|hysteresis|limiter|cut_out|differential"
        r"|inverse|ring_again|second_after|re_alarm|together|shelve|minimum|memory|prove|rated|directory|commit|keep_raw"
        r"|socket|at =|enabled))",
        "",
        text,
    )
    path = tmp_path / "shelf.toml"
    path.write_text(text, encoding="utf-8")
    plain = check(path)
    path.write_text(used, encoding="utf-8")

    assert used.count("\n#") < text.count("\n#") - 20
    assert check(path) == plain


def test_the_twin_s_words_are_the_shelf_s_words() -> None:
    """Physics keys, their defaults and the kinds of fault are those of the simulated shelf itself."""
    physics = TubPhysics()
    fields = {key: field.default for key, field in simulation_rows.TwinRow.model_fields.items() if key != "enclosure"}

    assert fields == {key: getattr(physics, key) for key in fields}
    assert set(fields) == set(TubPhysics.__dataclass_fields__)
    assert simulation_rows.FaultRow.model_json_schema()["properties"]["kind"]["enum"] == [
        kind.value for kind in FaultKind
    ]


@pytest.mark.parametrize("path", [EXAMPLE, DEMO], ids=lambda path: path.stem)
def test_what_a_check_prints_fits_a_screen(path: Path) -> None:
    """The resolved settings of four tubs fit 80 columns and 50 lines, and show both units."""
    settings = check(path).settings
    assert settings is not None
    shown = render_resolved(settings, ["one to look at"]).splitlines()

    assert max(map(len, shown)) <= 80
    assert len(shown) <= 50
    assert any("22.2 to 27.8 °C" in line for line in shown)
    assert any("72.0 to 82.0 °F" in line for line in shown)
    assert shown[-1] == "warning   one to look at"


def test_a_simulation_is_called_one() -> None:
    """What is printed for simulated settings says so in capitals; for real ones it does not."""
    for path, simulated in ((DEMO, True), (EXAMPLE, False)):
        settings = check(path).settings
        assert settings is not None
        assert ("SIMULATED" in render_resolved(settings)) is simulated
