"""The table of the process's faults as a page of markdown: written by `make faults`, kept beside it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from faults.process_measured import ProcessRow

__all__ = ["PROCESS_TABLE", "process_page"]

PROCESS_TABLE = Path(__file__).resolve().parent / "process_table.md"

_HEAD = """# What each single fault of the process, its disk and its services does

Made by `make faults`; do not edit. The real program as a process, in real time, a reading a second, on the simulated
shelf: nothing here was tried on a real Pi, card, relay, probe or mat. A stand-in for systemd ends it when its datagrams
stop, runs `matwarden cut` after every end and starts it again after 2 s, as the unit does. *alder*, with a mat of twice
the power it should have, is heated when the fault strikes; in the midst of it its wall probe reads 31.9 C.

* **heat**: seconds its line went on allowing heat from that reading on; where the process itself dies or freezes, from
  then. **at most**: the bound. (The probe is read once a second.)
* **wall**: what the true wall would come to when all this strikes with the wall at the limiter, 28.5 C. Bound: 30.5 C.
* **told**: seconds until the first push about it, and its title; alder's trip where the fault itself needs no telling,
  counted from the hot reading. (log): no push; it is in the log, and where a service fails `matwarden status` shows it.
* **lost**: the longest hole of readings in the record afterwards, and what the program ended with. Whether trips and
  alarms outlive kills and power cuts is tried in tests/storage, not here.
* **!** before a row: it breaks a bound.

Power cuts are not here: `make powercuts` cuts the record's writes at a thousand places (tests/storage). The kernel's
killing of a process when memory runs out is the row SIGKILL.

| fault | how | heat s | at most | wall | told s | first words | lost |
|---|---|---|---|---|---|---|---|
"""


def process_page(rows: Sequence[ProcessRow]) -> str:
    """The whole page."""
    broken = [(row, why) for row in rows for why in row.failures()]
    lines = [_HEAD, *(f"| {' | '.join(_cells(row))} |\n" for row in rows)]
    lines.append(f"\n## Bounds broken: {len(broken)}\n")
    lines += [f"\n* {row.fault}: {why}" for row, why in broken]
    return "".join(lines).rstrip("\n") + "\n"


def _cells(row: ProcessRow) -> tuple[str, ...]:
    told = row.told
    return (
        ("! " if row.failures() else "") + row.fault,
        row.how,
        f"{row.allowed_s:.1f}",
        f"{row.bound_s:g}",
        f"{row.wall_c:.1f}",
        "-" if told is None else f"{told.after_s:.0f}",
        "" if told is None else told.title,
        row.lost,
    )
