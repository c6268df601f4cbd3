"""From TOML to tables whose sound keys can be used even when other keys of the same table are not.

Each key is judged by itself, so that one slip in a table hides no other: `Table.broken` names the keys that must not be
looked at, and a rule that needs one of them stays silent, because that key was already told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import ValidationError

from matwarden.settings import row_parts, rows, words
from matwarden.settings.problems import Findings

R = TypeVar("R", bound=row_parts.Row)
R_co = TypeVar("R_co", bound=row_parts.Row, covariant=True)
Raw = Mapping[str, Any]

PROBES: Mapping[str, type[rows.ProbeRow]] = {
    "one-wire": rows.OneWireProbe,
    "iio": rows.IioProbe,
    "hwmon": rows.HwmonProbe,
    "dht22": rows.Dht22Probe,
    "twin": rows.TwinProbe,
}
MATS: Mapping[str, type[rows.MatRow]] = {"gpio": rows.GpioMat, "twin": rows.TwinMat}
PERMITS: Mapping[str, type[rows.PermitRow]] = {"gpio": rows.GpioPermit, "twin": rows.TwinPermit}


@dataclass(frozen=True, slots=True)
class Table(Generic[R_co]):
    """One table of the file. `where` is how a keeper would call it."""

    where: str
    row: R_co
    broken: frozenset[str]

    def sound(self, *keys: str) -> bool:
        """True when all these keys can be used."""
        return self.broken.isdisjoint(keys)


def one(findings: Findings, raw: Raw, name: str, model: type[R]) -> Table[R] | None:
    """The table `[name]`; None when the file has none or something else by that name."""
    if name not in raw:
        return None
    value = raw[name]
    if not isinstance(value, dict):
        found = "a list of tables" if isinstance(value, list) else words.shown(value)
        findings.problem(name, found, f"one table [{name}]", f"Write [{name}] once, in single brackets.")
        return None
    return read_table(findings, value, name, model)


def default(name: str, model: type[R]) -> Table[R]:
    """A table that the file leaves out."""
    return Table(name, model.model_construct(), frozenset())


def many(findings: Findings, raw: Raw, name: str) -> list[Raw]:
    """The raw tables `[[name]]`, in their order."""
    value = raw.get(name, [])
    if isinstance(value, list) and all(isinstance(item, dict) for item in value):
        return value
    found = f"one table [{name}]" if isinstance(value, dict) else words.shown(value)
    findings.problem(name, found, f"tables [[{name}]]", f"Write [[{name}]] in double brackets above each of them.")
    return [value] if isinstance(value, dict) else []


def label(raw: Raw, key: str, word: str, number: int) -> str:
    """How a keeper calls one of many: by its id where it has one, else by its place in the file."""
    value = raw.get(key)
    return f"{word} {words.shown(value)[1:-1]}" if isinstance(value, str) and value else f"{word} number {number}"


def read_driven(findings: Findings, raw: Raw, where: str, base: type[R], drivers: Mapping[str, type[R]]) -> Table[R]:
    """A table whose keys depend on its driver."""
    driver = raw.get("driver")
    if isinstance(driver, str) and driver in drivers:
        return read_table(findings, raw, where, drivers[driver])
    # Of which driver a strange key might be is not known, so none is called wrong.
    return read_table(findings, raw, where, base, ignored=frozenset(raw))


def read_table(
    findings: Findings,
    raw: Raw,
    where: str,
    model: type[R],
    ignored: frozenset[str] = frozenset(),
    known_apart: frozenset[str] = frozenset(),
) -> Table[R]:
    """Judge each key of one table; problems go to `findings`.

    Args:
        ignored: keys that are not of this model and yet no mistake.
        known_apart: keys of this model that hold tables of their own and are read apart.
    """
    fields = model.model_fields
    row = model.model_construct()
    broken = set()
    for key in raw:
        if key not in fields and key not in ignored:
            findings.problems.append(words.unknown(where, key, list(fields)))
    for key, field in fields.items():
        if key in known_apart or (key not in raw and not field.is_required()):
            continue
        value = raw.get(key)
        try:
            setattr(row, key, value)
        except ValidationError as error:
            broken.add(key)
            findings.problems.append(words.refused(where, key, value, error.errors()[0], field))
    return Table(where, row, frozenset(broken))
