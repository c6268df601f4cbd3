"""What the record costs: bytes written and kept, dropping a day, and questions over a day and a year."""

from __future__ import annotations

import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from bench.running import environment
from bench.table import Row
from bench.workload import ROWS_A_DAY, settings_text
from matwarden.terms import Quantity

_DAY = """
import os, resource, sys
from pathlib import Path
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load
def written():
    return next(int(line.split()[1]) for line in open('/proc/self/io') if line.startswith('wchar'))
settings = load(Path(sys.argv[1]))
run = Rehearsal(settings, open_devices)
run.run_until(3600.0)
before = written()
run.run_until(3600.0 + 86400.0)
print(written() - before)
run.close()
"""
_SUM = """
import sys
from pathlib import Path
from zoneinfo import ZoneInfo
from matwarden.settings import load
from matwarden.sinks.store_sums import sum_up
def written():
    return next(int(line.split()[1]) for line in open('/proc/self/io') if line.startswith('wchar'))
settings = load(Path(sys.argv[1]))
before = written()
days = sum_up(settings.store.directory, ZoneInfo(settings.zone), settings.enclosures, settings.room_probes)
print(written() - before, days)
"""


def _child(program: str, *words: Path) -> list[int]:
    command = [sys.executable, "-c", program, *map(str, words)]
    told = subprocess.run(command, env=environment(), capture_output=True, text=True, check=True).stdout
    return [int(word) for word in told.split()]


def day() -> list[Row]:
    """A day at W through the real station and store on the simulated clock: bytes written, and bytes kept."""
    with tempfile.TemporaryDirectory() as name:
        directory = Path(name)
        settings = directory / "bench.toml"
        settings.write_text(settings_text(directory), encoding="utf-8")
        (written,) = _child(_DAY, settings)
        file = directory / "data" / "matwarden.db"
        with closing(sqlite3.connect(file)) as connection:
            rows = connection.execute("SELECT sum(n) FROM (SELECT count(*) AS n FROM readings_1)").fetchone()[0]
            page = connection.execute("PRAGMA page_size").fetchone()[0]
            raw = _table_bytes(connection, "readings_1") or file.stat().st_size
        bare_mb = _bare_day_mb(directory)
        summed, days = _child(_SUM, settings)
        with closing(sqlite3.connect(file)) as connection:
            kept = sum(
                _table_bytes(connection, table) or 0
                for table in ("series_days", "series_hours", "tub_days", "tub_hours")
            )
        assert page
    per_row = raw / rows
    year_mb = kept / max(1, days) * 365 / 1e6
    wrote_mb = (written + summed / max(1, days)) / 1e6
    return [
        Row(
            "written to the card at W",
            f"{wrote_mb:.1f} MB a day, verdicts, digest and sums included",
            f"the rows alone, one FULL commit every 5 min: {bare_mb:.1f} MB",
            "30 MB a day, 300 commits",
            wrote_mb <= 30.0,
        ),
        Row(
            "stored",
            f"{per_row:.1f} B a reading ({rows} rows; W has {ROWS_A_DAY} a day)",
            "16.7 B",
            "20 B",
            per_row <= 20.0,
        ),
        Row("hourly and daily sums at W", f"{year_mb:.1f} MB a year", "–", "10 MB a year", year_mb <= 10.0),
    ]


def _bare_day_mb(directory: Path) -> float:
    """The same rows through sqlite3 alone, in a process of its own."""
    program = (
        "import sqlite3, sys\n"
        "w = lambda: next(int(l.split()[1]) for l in open('/proc/self/io') if l.startswith('wchar'))\n"
        "c = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "c.executescript('PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA secure_delete=OFF;"
        " CREATE TABLE r(id INTEGER PRIMARY KEY, t INTEGER, s INTEGER, v INTEGER)')\n"
        "b = w()\n"
        "for k in range(288):\n"
        "    c.execute('BEGIN')\n"
        "    c.executemany('INSERT INTO r(t,s,v) VALUES(?,?,?)',"
        " ((k*300000+n*10000, s, 22000+n) for n in range(30) for s in range(40)))\n"
        "    c.execute('COMMIT')\n"
        "print(w() - b)\n"
    )
    return _child(program, directory / "bare.db")[0] / 1e6


def _table_bytes(connection: sqlite3.Connection, table: str) -> int | None:
    try:
        found = connection.execute("SELECT sum(pgsize) FROM dbstat WHERE name = ?", (table,)).fetchone()[0]
    except sqlite3.Error:
        return None
    return None if found is None else int(found)


def questions(days: int = 365) -> list[Row]:
    """A year of ten tubs: what a day, and a year of one series, take from the sums and from the readings."""
    from matwarden.sinks.store_cleanup import clean_up
    from matwarden.sinks.store_sums_read import Sums
    from storage.year_store import BEGIN_MS, DAY_MS, build, tubs_of

    with tempfile.TemporaryDirectory() as name:
        directory = Path(name)
        build(directory, 10, days, 4, lambda text: None)
        sums, end_s = Sums(directory), (BEGIN_MS + days * DAY_MS) / 1000
        keys = [(tubs_of(1)[0].probes[0].id, Quantity.TEMPERATURE)]
        day_s = _timed(lambda: sums.series_extremes(end_s - 86_400.0, end_s))
        year_s = _timed(lambda: sums.series_extremes(0.0, end_s, keys))
        file = directory / "matwarden.db"
        with closing(sqlite3.connect(file)) as connection:
            tables = [
                row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE name LIKE 'readings_%'")
            ]
            rows = 0

            def scan() -> None:
                nonlocal rows
                rows = 0
                for table in tables:
                    rows += connection.execute(
                        f"SELECT count(*), min(milli), max(milli) FROM {table} WHERE series = 1"
                    ).fetchone()[0]

            scan_s = _timed(scan, 3)
        # Of a year of readings the scan would take as much longer as it has more rows.
        whole_s = scan_s * days * 8640 / max(rows, 1)
        before = _written()
        clean_up(directory, 2.0)
        dropped_mb = (_written() - before) / 1e6
    return [
        Row("lowest and highest of all series, a day", f"{day_s * 1000:.1f} ms", "–", "100 ms", day_s <= 0.1),
        Row(
            "of one series, a year",
            f"{year_s * 1000:.1f} ms, 1/{whole_s / year_s:.0f} of the scan",
            f"scan of its readings {whole_s:.1f} s (from {rows} rows)",
            "10 ms and 1/100",
            year_s <= 0.01 and whole_s / year_s >= 100.0,
        ),
        Row("dropping two days of readings", f"{dropped_mb:.2f} MB written", "–", "1 MB", dropped_mb <= 1.0),
    ]


def _written() -> int:
    with Path("/proc/self/io").open(encoding="ascii") as told:
        return next(int(line.split()[1]) for line in told if line.startswith("wchar"))


def _timed(ask: Callable[[], object], times: int = 7) -> float:
    took = []
    for _ in range(times):
        began_s = time.perf_counter()
        ask()
        took.append(time.perf_counter() - began_s)
    return statistics.median(took)
