"""`make faults`: every fault of probe, relay, mat, tub, room and clock on the running station; writes the table.

The bounds that are broken stand at the table's end.
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faults.shelf_faults import CASES, Moment, run
from faults.table import TABLE, page


def main() -> int:
    """Run all, show each row's name as it is done, write the page."""
    sections = []
    for moment in Moment:
        rows = []
        for case in CASES:
            with TemporaryDirectory() as name:
                rows += run(case, moment, Path(name))
            print(f"{moment}: {case.name}", flush=True)
        sections.append((moment.value, rows))
    TABLE.write_text(page(sections), encoding="utf-8")
    print(f"\n{TABLE.read_text(encoding='utf-8')}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
