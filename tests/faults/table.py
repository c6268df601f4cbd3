"""The fault table as a page of markdown: written by the campaign, read by its test, kept beside both."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from faults.measured import CUT_OUT_C, Row

__all__ = ["TABLE", "names", "page"]

TABLE = Path(__file__).resolve().parent / "table.md"

_HEAD = f"""# What each single fault does

Made by `make faults`; do not edit. The real program on the simulated shelf: nothing here was tried on a real Pi, relay,
probe or mat. Two tubs in a room that cools to 17 C, the fault with the mat on, in the coldest hours; half a day after.
*oak* has a 7 W mat, *alder* one of 15 W, twice what it should have. Limiter 28.5 C, software cut-out {CUT_OUT_C:g} C.

* **wall, air**: the hottest the true wall and air came to; **low**: the coldest the air did. C
* **wrong**: seconds the relay's line went on allowing heat that the truth forbade (wall 0.4 K past the limiter, air
  0.4 K past where demand ends, or the guard could not know); after the +, seconds more that the mat was on anyway.
* **harm**: minutes from the fault until it mattered: heated past the limiter, or an hour out of the band.
* **past**: minutes from the fault until the true wall passed {CUT_OUT_C + 0.5:g} C, the cut-out and half a kelvin.
* **told**: minutes from the fault to the first push about it, and that push's title.
* **!** before a row: it breaks a bound. A true wall past {CUT_OUT_C + 0.5:g} C, unless the contact is welded, the wall
  probe lies or the room is that hot; told later than 15 min after it mattered, or not at all although it did.

When a fault matters, for these bounds: at its **harm**. Only a wall probe that drifts down counts from **past**: it is
honest at first, its first tenths are no more than any probe's own error, and what it must not do untold is let the wall
past the cut-out. No time is asked for where nothing ever mattered: an open window that the mat makes up for, a mat that
is covered or too strong while the limiter holds it and the air stays in its band, a clock that is set.
"""
_COLUMNS = ("fault", "tub", "wall", "air", "low", "wrong s", "harm", "past", "told", "first words", "lost")


def page(sections: Sequence[tuple[str, Sequence[Row]]]) -> str:
    """The whole page. A section is a heading and its rows."""
    parts = [_HEAD]
    for heading, rows in sections:
        parts.append(f"\n## {heading[0].upper()}{heading[1:]}\n\n" + "\n".join(_lines(rows)) + "\n")
    broken = [(row, why) for _, rows in sections for row in rows for why in row.failures()]
    parts.append(f"\n## Bounds broken: {len(broken)}\n\n")
    parts += [f"* {row.fault}, {row.tub}, {row.moment}: {why}\n" for row, why in broken]
    return "".join(parts)


def names(text: str) -> set[str]:
    """The faults that a page names."""
    cells = (line.split("|")[1].strip() for line in text.splitlines() if line.startswith("|"))
    return {cell.removeprefix("! ") for cell in cells} - {"fault", "---"}


def _lines(rows: Iterable[Row]) -> Iterable[str]:
    yield "| " + " | ".join(_COLUMNS) + " |"
    yield "|" + "---|" * len(_COLUMNS)
    for row in rows:
        yield "| " + " | ".join(_cells(row)) + " |"


def _cells(row: Row) -> tuple[str, ...]:
    wrong = f"{row.line_wrong_s:.0f}"
    if row.mat_wrong_s > row.line_wrong_s:
        wrong += f" +{row.mat_wrong_s - row.line_wrong_s:.0f}"
    told = row.told
    return (
        ("! " if row.failures() else "") + row.fault,
        row.tub,
        f"{row.peak_wall_c:.1f}",
        f"{row.peak_air_c:.1f}",
        f"{row.lowest_air_c:.1f}",
        wrong,
        "none" if row.harm_s is None else f"{row.harm_s / 60:.0f}",
        "-" if row.past_s is None else f"{row.past_s / 60:.0f}",
        "-" if told is None else f"{told.after_s / 60:.1f}",
        "" if told is None else told.title,
        row.lost,
    )
