"""A year of a large shelf: 64 tubs of two probes, temperature and humidity, a reading of each every 10 s. `make year`.

    python year_store.py [DIRECTORY] [TUBS DAYS RAW_DAYS]

Of the last 30 days every reading is there, and is summed by the pass itself. Of the days before, the readings of the
first tub are written and summed, and its sums stand for the other tubs as well: 800 million rows would take an hour and
14 GB. Then the questions of a year are asked, and the answers held against the readings on a sample.
"""

from __future__ import annotations

import math
import os
import random
import resource
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from digest_examples import OAK
from matwarden.core.digest import night_digest
from matwarden.sinks.store import open_store
from matwarden.sinks.store_cleanup import clean_up
from matwarden.sinks.store_moments import marks_between
from matwarden.sinks.store_parts import begin_part, parts, rows_in
from matwarden.sinks.store_read import Recorded
from matwarden.sinks.store_schema import DATABASE, connect
from matwarden.sinks.store_sums import sum_up
from matwarden.sinks.store_sums_read import Sums
from matwarden.terms import Enclosure, ProbeTerms, Quantity, Role, Side

UTC = ZoneInfo("UTC")
DAY_MS = 86_400_000
EVERY_MS = 10_000
# 2027-01-01 00:00 UTC
BEGIN_MS = 1_798_761_600_000
_STRETCH_DAYS = 20
_QUARTERS = 4


def tubs_of(count: int) -> list[Enclosure]:
    """So many tubs of two air probes each."""

    def probe(tub: int, side: Side) -> ProbeTerms:
        return ProbeTerms(f"tub{tub}-{side.value}", Role.AIR, f"tub{tub}", side, 10.0, 5.0, 60.0, 3.0, 0.0)

    return [
        replace(OAK, id=f"tub{n}", name=f"Tub {n}", probes=(probe(n, Side.MOIST), probe(n, Side.DRY)))
        for n in range(1, count + 1)
    ]


def build(
    directory: Path, tubs: int, days: int, raw_days: int, told: Callable[[str], None] = lambda text: None
) -> None:
    """Write the record of `days` days, summed up, with all readings of the last `raw_days` and of the day after."""
    enclosures = tubs_of(tubs)
    open_store(directory, BEGIN_MS / 1000, power_safe=False).close()
    with closing(connect(directory / DATABASE, power_safe=False)) as connection:
        connection.execute("PRAGMA cache_size = -200000")
        series = [(probe.id, quantity.value) for each in enclosures for probe in each.probes for quantity in Quantity]
        connection.executemany("INSERT INTO series (probe, quantity) VALUES (?, ?)", series)
        connection.execute("CREATE TEMP TABLE polls (k INTEGER PRIMARY KEY, milli INTEGER)")
        swing = [(k, round(24_500 + 2_500 * math.sin(k / 1375.0))) for k in range(DAY_MS // EVERY_MS)]
        connection.executemany("INSERT INTO polls VALUES (?, ?)", swing)
        rows = 0
        for day in range(days + 1):
            whole = day >= days - raw_days
            rows += _day(connection, day, len(series) if whole else 4, rows)
            if not whole and day % 20 == 19:
                sum_up(directory, UTC, enclosures[:1], [])
            if day == days - raw_days:
                # The first tub's sums so far are everybody's.
                sum_up(directory, UTC, enclosures[:1], [])
                _spread(connection, tubs)
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
            told(f"day {day} of {days}, {rows / 1e6:.0f} million readings")
    told("summing up the days of which all readings are there")
    sum_up(directory, UTC, enclosures, [])
    clean_up(directory, raw_days + 1.5)


def _day(connection: sqlite3.Connection, day: int, wanted: int, rows: int) -> int:
    """A day's readings of the first series, so many; how many rows that is."""
    connection.execute("BEGIN")
    if day % _STRETCH_DAYS == 0:
        began = (BEGIN_MS + day * DAY_MS, day * DAY_MS)
        reason = "continued" if day else "started"
        connection.execute(
            "INSERT INTO stretches VALUES (?, 1, ?, ?, 0, ?, ?, 0, 'year')",
            (day // _STRETCH_DAYS + 1, *began, rows + 1, reason),
        )
    stretch, zero_ms = day // _STRETCH_DAYS + 1, day % _STRETCH_DAYS * DAY_MS
    there = parts(connection)
    added = 0
    polls = DAY_MS // EVERY_MS // _QUARTERS
    for quarter in range(_QUARTERS):
        at_ms = zero_ms + quarter * polls * EVERY_MS
        if there and rows_in(connection, there[-1]) < 300_000:
            part = there[-1]
        else:
            part = begin_part(connection, len(there) + 1, rows + added, stretch, at_ms)
            there.append(part)
        before = connection.total_changes
        connection.execute(
            f"INSERT INTO {part.table} (t_ms, series, milli) SELECT ? + k * {EVERY_MS} + s.id * 3, s.id,"
            " milli + s.id * 7 + ? + (k * 7919 + s.id * 104729 + ? * 1299709) % 63 * 4"
            " + (s.quantity = 'humidity') * 50000"
            " FROM polls CROSS JOIN series s WHERE k >= ? AND k < ? AND s.id <= ? ORDER BY k, s.id",
            (zero_ms, day * 37 % 1000, day, quarter * polls, (quarter + 1) * polls, wanted),
        )
        added += connection.total_changes - before
    seen_ms = zero_ms + DAY_MS - 1
    connection.execute("UPDATE stretches SET seen_ms = ? WHERE id = ?", (seen_ms, stretch))
    connection.execute("COMMIT")
    return added


def _spread(connection: sqlite3.Connection, tubs: int) -> None:
    """Give every tub the sums of the first."""
    days = [row[0] for row in connection.execute("SELECT begins_wall_ms FROM sum_days ORDER BY 1")]
    connection.execute("BEGIN")
    for table in ("series_days", "series_hours"):
        columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")][2:]
        # In the order in which a pass writes them.
        for day in days:
            connection.execute(
                f"INSERT INTO {table} SELECT begins_wall_ms, s.id, {', '.join(columns)} FROM {table} JOIN series s"
                " ON s.id > 4 AND series = (s.id - 1) % 4 + 1 WHERE begins_wall_ms = ? ORDER BY s.id",
                (day,),
            )
    for table in ("tub_days", "tub_hours"):
        columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")][2:]
        for day in days:
            for tub in range(2, tubs + 1):
                connection.execute(
                    f"INSERT INTO {table} SELECT begins_wall_ms, ?, {', '.join(columns)} FROM {table}"
                    " WHERE begins_wall_ms = ? AND enclosure = 'tub1'",
                    (f"tub{tub}", day),
                )
    connection.execute("COMMIT")


def wrong(directory: Path, days: int, raw_days: int, dice: random.Random, sample: int) -> list[str]:
    """What the sums say otherwise than SQLite does over the readings, on a sample of series and days."""
    found = []
    sums = Sums(directory)
    with closing(sqlite3.connect(directory / DATABASE)) as connection:
        names = {row[0]: (row[1], Quantity(row[2])) for row in connection.execute("SELECT * FROM series")}
        for _ in range(sample):
            day, number = dice.randrange(days - raw_days, days), dice.choice(list(names))
            begins_ms, stretch = BEGIN_MS + day * DAY_MS, day // _STRETCH_DAYS + 1
            low_ms = day % _STRETCH_DAYS * DAY_MS
            first = connection.execute("SELECT first_reading FROM stretches WHERE id = ?", (stretch,)).fetchone()[0]
            following = connection.execute(
                "SELECT first_reading FROM stretches WHERE id = ?", (stretch + 1,)
            ).fetchone()
            mine = [
                each
                for each in parts(connection)
                if each.before + 1 >= first - 600_000 and (following is None or each.before < following[0])
            ]
            every = " UNION ALL ".join(
                f"SELECT t_ms, milli FROM {each.table} WHERE series = {number} AND t_ms >= {low_ms}"
                f" AND t_ms < {low_ms + DAY_MS} AND id + {each.before} >= {first}"
                for each in mine
            )
            raw = connection.execute(f"SELECT min(milli), max(milli), count(*), avg(milli) FROM ({every})").fetchone()
            (said,) = sums.series_days(begins_ms / 1000, begins_ms / 1000 + 1, [names[number]])[names[number]]
            assert said.lowest is not None
            assert said.highest is not None
            assert said.mean is not None
            same = (raw[0] / 1000, raw[1] / 1000) == (said.lowest.value, said.highest.value)
            # Readings at equal distances: the mean in time is the plain one, but for the moments before the first.
            if not same or abs(said.mean - raw[3] / 1000) > 0.01 or raw[2] != DAY_MS // EVERY_MS:
                found.append(f"day {day}, series {number}: {said} against {raw}")
    return found


def measure(directory: Path, tubs: int, days: int) -> dict[str, float]:
    """Seconds that the questions of a year take, the median of five; the digest once."""
    sums = Sums(directory)
    enclosures = tubs_of(tubs)
    since_s, until_s = BEGIN_MS / 1000, BEGIN_MS / 1000 + days * 86400.0
    key = ("tub1-moist", Quantity.TEMPERATURE)
    probes = [(probe.id, Quantity.TEMPERATURE) for probe in enclosures[0].probes]

    def seconds(ask: Callable[[], object], times: int = 5) -> float:
        took = []
        for _ in range(times):
            begun = time.perf_counter()
            ask()
            took.append(time.perf_counter() - begun)
        return sorted(took)[times // 2]

    def scan() -> None:
        with closing(sqlite3.connect(directory / DATABASE)) as connection:
            for part in parts(connection):
                connection.execute(f"SELECT min(milli), max(milli) FROM {part.table} WHERE series = 1").fetchone()

    def digest() -> None:
        window = Recorded(directory).window(*marks_between(directory, until_s - 86400.0, until_s))
        night_digest("2027-12-31", "UTC", window, enclosures, [], [])

    return {
        "extremes of all series over the year": seconds(lambda: sums.series_extremes(since_s, until_s)),
        "the same, with the readings of a day not over": seconds(lambda: sums.series_extremes(since_s, 1e11), 1),
        "days of one series over the year": seconds(lambda: sums.series_days(since_s, until_s, [key])),
        "days of one tub over the year": seconds(lambda: sums.tub_days(since_s, until_s, "tub1")),
        "extremes of all series of one day": seconds(lambda: sums.series_days(until_s - 86400.0, until_s)),
        "a month of one tub, hour by hour": seconds(
            lambda: (
                sums.series_hours(probes, until_s - 30 * 86400.0, until_s),
                sums.tub_hours("tub1", until_s - 30 * 86400.0, until_s),
            )
        ),
        "the readings there are scanned for one series": seconds(scan, 1),
        "digest of the last night": seconds(digest, 1),
    }


def sizes(directory: Path) -> dict[str, int]:
    """Bytes of each table of sums, where this SQLite can tell."""
    with closing(sqlite3.connect(directory / DATABASE)) as connection:
        return dict(
            connection.execute(
                "SELECT name, sum(pgsize) FROM dbstat WHERE name IN ('sum_days', 'series_days', 'series_hours',"
                " 'tub_days', 'tub_hours') GROUP BY name"
            ).fetchall()
        )


def main(directory: Path, tubs: int, days: int, raw_days: int) -> None:
    """Build, check, measure, print."""
    begun = time.monotonic()

    def told(text: str) -> None:
        if not text.startswith("day ") or text.split()[1].endswith("0"):
            print(f"{time.monotonic() - begun:7.0f} s  {text}", flush=True)

    build(directory, tubs, days, raw_days, told)
    print(f"{time.monotonic() - begun:7.0f} s  built: {(directory / DATABASE).stat().st_size / 1e9:.2f} GB")
    problems = wrong(directory, days, raw_days, random.Random(1), 20)
    print(f"sums against readings, 20 series and days: {problems or 'the same'}")
    for what, took_s in measure(directory, tubs, days).items():
        print(f"{what:48} {took_s * 1000:10.1f} ms")
    try:
        for table, size in sizes(directory).items():
            print(f"{table:48} {size / 1e6:10.2f} MB")
    except sqlite3.OperationalError:
        print("this SQLite does not tell the size of a table")
    print(f"peak memory of this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    os.nice(10)
    shape = [int(each) for each in sys.argv[2:5]] or [64, 365, 30]
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]), *shape)
    else:
        with tempfile.TemporaryDirectory(prefix="matwarden-year-") as made:
            main(Path(made), *shape)
