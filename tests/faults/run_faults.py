"""`make faults`: every single fault we can name; writes the two tables.

Of probe, relay, mat, tub, room and clock on the running station; of the process, its disk and its services in
processes. The bounds that are broken stand at each table's end. `run_faults.py shelf` or `process` makes one of them.
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faults.process_play import play_all
from faults.process_scenes import SCENES
from faults.process_table import PROCESS_TABLE, process_page
from faults.shelf_faults import CASES, Moment, run
from faults.table import TABLE, page

# Each scene is mostly waiting, but starts a process or three.
AT_ONCE = 9


def main(which: list[str]) -> int:
    """Run all, or what is named; show each row's name as it is done; write the pages."""
    if "process" not in which:
        _shelf()
    if "shelf" not in which:
        _process()
    return 0


def _shelf() -> None:
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


def _process() -> None:
    with TemporaryDirectory() as name:
        rows = play_all(SCENES, Path(name), AT_ONCE)
    left_out = [scene.name for scene in SCENES if scene.name not in {row.fault for row in rows}]
    if left_out:
        print(f"not played, for want of a C compiler: {', '.join(left_out)}; the table is not written", file=sys.stderr)
        return
    PROCESS_TABLE.write_text(process_page(rows), encoding="utf-8")
    print(f"\n{PROCESS_TABLE.read_text(encoding='utf-8')}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
