"""`matwarden export`: every reading of a range, in a form that other programs read, however long it is."""

from __future__ import annotations

import io
import json
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from helpers_process import Ran, command, environment, settings_file, shelf_text
from matwarden.exit_codes import Exit
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shelf of two tubs that ran for two hours from 2026-01-16T17:00:00Z."""
    text = (
        shelf_text("oak", "alder").replace("every_s = 1\n", "every_s = 10\n").replace("step_s = 1\n", "step_s = 10\n")
    )
    settings = settings_file(tmp_path_factory.mktemp("recorded"), text)
    run = Rehearsal(load(settings), open_devices)
    run.run_until(7200.0)
    run.close()
    return settings


def export(settings: Path, *words: str) -> Ran:
    ran = command("export", *words, "-s", settings)
    assert "Traceback" not in ran.err
    return ran


def raw(settings: Path) -> list[tuple[int, str, str, int]]:
    """What is in the file, read with SQL alone: UTC milliseconds, probe, quantity, thousandths."""
    with closing(sqlite3.connect(load(settings).store.directory / "matwarden.db")) as connection:
        return connection.execute(
            "SELECT s.began_wall_ms + r.t_ms, n.probe, n.quantity, r.milli FROM readings_1 r, stretches s"
            " JOIN series n ON n.id = r.series ORDER BY r.id"
        ).fetchall()


def resolved(pack: list[dict[str, Any]]) -> list[tuple[float, str, str, float]]:
    """SenML records as RFC 8428 section 4.6 resolves them: time, name, unit, value. Written from the RFC alone."""
    base_name, base_time, found = "", 0.0, []
    for record in pack:
        base_name, base_time = record.get("bn", base_name), record.get("bt", base_time)
        name, at = base_name + record.get("n", ""), base_time + record.get("t", 0)
        # 4.5.1: letters, digits and - : . / _, and it begins with a letter or digit. 4.5.3: 2**28 or more is absolute.
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", name)
        assert at >= 2**28
        assert set(record) <= {"bn", "bt", "n", "u", "t", "v"}
        found.append((at, name, record["u"], record["v"]))
    return found


def test_csv_has_every_reading_and_pandas_reads_it(recorded: Path) -> None:
    """RFC 4180: a header, CRLF, as many fields in each line; the values are those in the file."""
    ran = command("export", "-s", recorded)
    table = pd.read_csv(io.StringIO(ran.out))
    assert list(table.columns) == ["time", "probe", "enclosure", "role", "side", "quantity", "value", "unit"]
    epoch = pd.Timestamp("1970-01-01", tz="UTC")
    times_ms = ((pd.to_datetime(table["time"], utc=True) - epoch) / pd.Timedelta(milliseconds=1)).round()
    values = (table["value"] * 1000).round()
    rows = zip(times_ms, table["probe"], table["quantity"], values, strict=True)
    assert [(int(t), p, q, int(v)) for t, p, q, v in rows] == raw(recorded)
    units = {"temperature": "Cel", "humidity": "%RH"}
    assert list(table["unit"]) == [units[quantity] for quantity in table["quantity"]]


def test_csv_ends_its_lines_as_the_standard_asks(recorded: Path) -> None:
    """RFC 4180, section 2, rule 1: CRLF."""
    words = [sys.executable, "-m", "matwarden", "export", "oak", "-s", str(recorded), "--from", "1min"]
    told = subprocess.run(words, capture_output=True, env=environment(), check=True).stdout
    lines = told.split(b"\r\n")
    assert lines[-1] == b""
    assert all(line.count(b",") == 7 and b"\n" not in line for line in lines[:-1])


def test_senml_resolves_to_the_same_readings(recorded: Path) -> None:
    """RFC 8428: absolute times, units of its registry (section 12.1), names with the house in front."""
    found = resolved(json.loads(export(recorded, "--format", "senml").out))
    house = load(recorded).house_id
    units = {"temperature": "Cel", "humidity": "%RH"}
    assert [(round(t * 1000), n, u, round(v * 1000)) for t, n, u, v in found] == [
        (t_ms, f"{house}:{probe}:{quantity}", units[quantity], milli) for t_ms, probe, quantity, milli in raw(recorded)
    ]


def test_a_range_has_its_beginning_and_not_its_end(recorded: Path) -> None:
    """From a moment on, until before another; local time of the house, which is UTC+1 in January."""
    ran = export(recorded, "oak", "--from", "2026-01-16T18:30", "--to", "2026-01-16T18:30:20")
    table = pd.read_csv(io.StringIO(ran.out))
    assert sorted(set(table["time"])) == ["2026-01-16T17:30:00.000Z", "2026-01-16T17:30:10.000Z"]
    assert set(table["enclosure"]) == {"oak"}


def test_a_range_without_readings_is_still_a_document(recorded: Path) -> None:
    """A header alone, or an empty pack."""
    assert export(recorded, "--from", "2020-01-01", "--to", "2020-01-02").out.count("\n") == 1
    assert json.loads(export(recorded, "--format", "senml", "--to", "2020-01-02").out) == []


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("elm",), Exit.UNKNOWN, "no enclosure 'elm'; there are oak, alder"),
        (("--from", "yesterday"), Exit.USAGE, "'yesterday' is not a local time"),
        (("--from", "2026-13-01"), Exit.USAGE, "'2026-13-01' is not"),
        (("--from", "2026-01-17", "--to", "2026-01-15"), Exit.USAGE, "--to is not after --from"),
        (("--format", "xml"), Exit.USAGE, "invalid choice: 'xml'"),
    ],
)
def test_what_cannot_be_done_is_said_in_words(recorded: Path, words: tuple[str, ...], code: Exit, told: str) -> None:
    """What was wrong, and what was expected."""
    ran = export(recorded, *words)
    assert ran.code == code
    assert told in ran.err
    assert ran.out == ""


def _large(settings: Path, rows: int) -> None:
    directory = load(settings).store.directory
    with closing(sqlite3.connect(directory / "matwarden.db")) as connection:
        first = connection.execute("SELECT max(id) FROM readings_1").fetchone()[0]
        connection.execute(
            "WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n WHERE k < ?)"
            " INSERT INTO readings_1 SELECT ? + k, 7200000 + k, 1, 22000 FROM n",
            (rows, first),
        )
        connection.commit()


def test_memory_does_not_grow_with_the_range(tmp_path: Path) -> None:
    """A million readings go through a process that may have 60 MB of heap over what a start takes."""
    text = shelf_text("oak").replace("every_s = 1\n", "every_s = 10\n").replace("step_s = 1\n", "step_s = 10\n")
    settings = settings_file(tmp_path, text)
    run = Rehearsal(load(settings), open_devices)
    run.run_until(600.0)
    run.close()
    _large(settings, 1_000_000)
    code = "import sys, resource; from matwarden.main import main; c = main(sys.argv[1:]);"
    code += " print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr); sys.exit(c)"

    def peak_kb(*words: str) -> tuple[int, int]:
        command_line = [sys.executable, "-c", code, "export", "-s", str(settings), *words]
        ran = subprocess.run(command_line, capture_output=True, env=environment(), check=True)
        return int(ran.stderr.split()[-1]), ran.stdout.count(b"\n")

    small_kb, _ = peak_kb("--to", "2020-01-01")
    large_kb, lines = peak_kb()
    assert lines > 1_000_000
    assert large_kb - small_kb < 20_000


def test_whoever_has_seen_enough_may_close_the_pipe(recorded: Path) -> None:
    """`| head` is no error, and no traceback."""
    words = [sys.executable, "-m", "matwarden", "export", "-s", str(recorded)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment()) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == Exit.OK
