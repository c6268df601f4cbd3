"""Everything the budgets ask for, measured on this machine: `make bench`, or `make bench ONLY=memory`.

Figures of time are ratios against a bare figure of the same run where there is one: the machine is shared, and its
speed is not that of a Raspberry Pi. With `--readme` the table is written into the README.
"""

from __future__ import annotations

import argparse
import os
import platform
import sqlite3
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

_HERE = Path(__file__).resolve().parent
if __name__ == "__main__":
    sys.path.insert(0, str(_HERE.parent))

from bench import deciding, fitting, recording, rehearsing, running  # noqa: E402 - the directory above holds them
from bench.table import Row, markdown, plain  # noqa: E402

BEGIN = "<!-- bench: written by `make bench README=1`, do not edit -->\n"
END = "<!-- end of bench -->\n"
BENCHES: dict[str, Callable[[], list[Row]]] = {
    "start": running.start,
    "memory": running.memory,
    "day": recording.day,
    "questions": recording.questions,
    "latency": deciding.latency,
    "verdicts": deciding.verdicts,
    "year": deciding.year,
    "broker": running.broker_back,
    "hung": deciding.hung,
    "picture": running.picture,
    "exposure": running.exposure,
    "month": fitting.month,
    "winter": rehearsing.winter,
}


def machine() -> str:
    """What this ran on."""
    memory_gb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    return (
        f"{os.cpu_count()} shared {platform.machine()} cores, {memory_gb:.0f} GB, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}, {datetime.now(UTC):%Y-%m-%d}; not a Raspberry Pi"
    )


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("only", nargs="*", metavar="BENCH", help=f"of {', '.join(BENCHES)}; default: all")
    parser.add_argument("--markdown", action="store_true", help="print a table for the README")
    parser.add_argument("--readme", action="store_true", help="write the table into the README")
    asked = parser.parse_args()
    if unknown := set(asked.only) - set(BENCHES):
        parser.error(f"no such bench: {', '.join(sorted(unknown))}")
    rows: list[Row] = []
    for name, bench in BENCHES.items():
        if not asked.only or name in asked.only:
            found = bench()
            print(plain(found), file=sys.stderr if asked.markdown else sys.stdout, flush=True)
            rows += found
    if asked.markdown:
        print(markdown(rows))
    if asked.readme:
        file = _HERE.parents[1] / "README.md"
        before, _, rest = file.read_text(encoding="utf-8").partition(BEGIN)
        after = rest.partition(END)[2]
        file.write_text(f"{before}{BEGIN}\nOn {machine()}.\n\n{markdown(rows)}\n{END}{after}", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
