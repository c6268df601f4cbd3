"""What `matwarden probes` prints, within 80 columns."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Mapping, Sequence

from matwarden.devices import FoundProbe
from matwarden.report.units import temperature_text
from matwarden.terms import Unit
from matwarden_hardware.ports import Sample

__all__ = ["heading", "probe_text", "rest_text", "settings_lines"]

_WIDTH = 80
_NOTHING = (
    "No probe was found. On a Raspberry Pi a bus exists only with its line in config.txt (dtoverlay=w1-gpio, or "
    "dtoverlay=i2c-sensor and the sensor's name) and a restart; if it is there, look at plug, wiring and pull-up."
)


def heading(count: int) -> str:
    """The first line: what follows."""
    if count == 0:
        return _wrapped(_NOTHING)
    return "Readings are as the part gives them: no offset is added.\n"


def probe_text(found: FoundProbe, told: Sample | str | None, users: Sequence[str], unit: Unit | None) -> str:
    """One probe: its name in the settings, where it is, its reading or why there is none, and who uses it.

    Args:
        unit: None without settings: both units are shown.
    """
    lines = [f"{found.driver:<9} {' '.join(found.keys.values())} ({found.place})"]
    if isinstance(told, Sample):
        lines.append(_indented(f"{_sample(told, unit)}; {_use(users)}"))
    elif told is not None:
        lines += [_indented(f"no reading: {told}"), _indented(_use(users))]
    else:
        lines.append(_indented(found.why_not))
        lines += [_indented(_use(users))] if users else []
    return "\n".join(lines)


def rest_text(tables: Sequence[str], missing: Mapping[str, str], hidden: int) -> str:
    """What follows the list: probes of the settings that are not in it, what was left out, and lines to paste."""
    blocks = []
    if missing:
        blocks.append("In the settings and not above:\n" + "\n".join(map(_missing, missing, missing.values())))
    if hidden:
        chips = "1 other chip tells" if hidden == 1 else f"{hidden} other chips tell"
        blocks.append(f"{chips} the temperature of the machine or of itself: see --all.")
    if tables:
        blocks.append("To use what is not in use, paste this into the settings and fill in the gaps:")
        blocks += tables
    return "".join(f"\n{block}\n" for block in blocks)


def settings_lines(found: FoundProbe, name: str) -> str:
    """A [[probe]] table that `matwarden check` refuses until its gaps are filled: nobody guesses where a probe sits."""
    rows = [
        (f"id = {_quoted(name)}", "or any other name"),
        ('role = ""', "wall (at the mat), air, substrate or room"),
        ('enclosure = ""', "id of its tub; take this line out for room"),
        (f"driver = {_quoted(found.driver)}", ""),
        *((f"{key} = {_quoted(value)}", "") for key, value in found.keys.items()),
    ]
    return "\n".join(["[[probe]]", *(f"{key:<28} # {comment}" if comment else key for key, comment in rows)])


def _quoted(text: str) -> str:
    # What JSON writes for a string is a TOML basic string too.
    return json.dumps(text)


def _sample(sample: Sample, unit: Unit | None) -> str:
    celsius_c = sample.temperature_c
    both = f"{temperature_text(celsius_c, Unit.C)} ({temperature_text(celsius_c, Unit.F)})"
    humidity = "" if sample.humidity_pct is None else f", {sample.humidity_pct:.0f} % humidity"
    return (both if unit is None else temperature_text(celsius_c, unit)) + humidity


def _use(users: Sequence[str]) -> str:
    return f"in use: {', '.join(users)}" if users else "not in use"


def _missing(name: str, why: str) -> str:
    return textwrap.fill(
        f"{name}: {why}", _WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
    )


def _indented(text: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=" " * 10, subsequent_indent=" " * 10, break_on_hyphens=False)


def _wrapped(text: str) -> str:
    return textwrap.fill(text, _WIDTH, break_on_hyphens=False)
