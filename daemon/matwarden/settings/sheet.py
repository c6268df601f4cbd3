"""What the rules of the file share: the unit of its temperatures, and where findings go."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from matwarden.settings import row_parts, words
from matwarden.settings.problems import Findings
from matwarden.settings.scale import Scale
from matwarden.settings.tables import Table

# A tub's temperature outside this is a slip of the pen or of the unit.
PLAUSIBLE_C = (10.0, 40.0)
# Conversion from Fahrenheit leaves the last digit uncertain.
ROUNDING_K = 1e-9


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the rules of the tubs share: the unit and where findings go. `scale` is None when the unit is unknown."""

    findings: Findings
    scale: Scale | None

    def temperature_c(
        self, table: Table[row_parts.Row], key: str, default_c: float, range_c: tuple[float, float] = PLAUSIBLE_C
    ) -> float | None:
        """The temperature under a key; None when it cannot be used, which has then been told."""
        value: float | None = getattr(table.row, key, None)
        if not table.sound(key) or self.scale is None:
            return None
        if value is None:
            return default_c
        celsius = self.scale.c(value)
        low_c, high_c = range_c
        if low_c - ROUNDING_K <= celsius <= high_c + ROUNDING_K:
            return celsius
        other = self.scale.other
        advice = "Choose a value in this range."
        if low_c <= other.c(value) <= high_c:
            advice = f"Is temperature_unit right? {other.show(other.c(value))} would be in the range."
        self.findings.problem(
            f"{table.where}: {key}",
            self.scale.show(celsius, 4),
            f"{self.scale.show(low_c)} to {self.scale.show(high_c)}",
            advice,
        )
        return None

    def difference_k(
        self,
        table: Table[row_parts.Row],
        key: str,
        default_k: float,
        low_k: float,
        high_k: float,
        above_zero: bool = False,
    ) -> float | None:
        """The temperature difference under a key; None when it cannot be used, which has then been told."""
        value: float | None = getattr(table.row, key, None)
        if not table.sound(key) or self.scale is None:
            return None
        if value is None:
            return default_k
        kelvin = self.scale.k(value)
        if low_k - ROUNDING_K <= kelvin <= high_k + ROUNDING_K and not (above_zero and kelvin <= 0):
            return kelvin
        start = "more than 0 and at most" if above_zero else f"{self.scale.show_difference(low_k)} to"
        self.findings.problem(
            f"{table.where}: {key}",
            self.scale.show_difference(kelvin, 4),
            f"{start} {self.scale.show_difference(high_k)}, a difference between two temperatures",
            "Choose a value in this range.",
        )
        return None


def unique(findings: Findings, tables: Iterable[Table[row_parts.Row]], key: str, what: str, advice: str) -> None:
    """Every value under `key` may stand in one table only."""
    first: dict[object, str] = {}
    for table in tables:
        value = getattr(table.row, key, None)
        if not table.sound(key) or value is None:
            continue
        if value in first:
            findings.problem(f"{table.where}: {key}", words.shown(value) + " a second time", what, advice)
        first[value] = table.where


def known_enclosure(findings: Findings, table: Table[row_parts.Row], ids: list[str]) -> bool:
    """Whether a table's `enclosure` is one of the tubs; told when not."""
    if not table.sound("enclosure"):
        return False
    value: str | None = getattr(table.row, "enclosure", None)
    if value in ids:
        return True
    known = words.choices(ids) if ids else "the id of an [[enclosure]]"
    advice = f"{words.did_you_mean(value, ids)}Correct it, or add an [[enclosure]] with this id."
    findings.problem(f"{table.where}: enclosure", words.shown(value), known, advice)
    return False
