"""From a refused value to a sentence: what was found, what is allowed, what to do."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Any

from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from matwarden.settings import row_parts
from matwarden.settings.problems import Problem
from matwarden.settings.scale import plain

# The plain words of each pattern: no keeper reads regular expressions.
PATTERN_WORDS = {
    row_parts.ID: "small letters, digits and hyphens, as in shelf-1",
    row_parts.TEXT: "a text of one line in quotes",
    row_parts.FILE_PATH: "the path of a file",
    row_parts.TIME_OF_DAY: "a time of day from 00:00 to 23:59",
    row_parts.INSTANT: "an instant in UTC, as in 2026-01-16T17:00:00Z",
    row_parts.ONE_WIRE: "28- and twelve hex digits, as in 28-0316a2793f1c",
    row_parts.I2C: "an I2C address from 0x00 to 0x7f, as in 0x44, or as in 1-0044 with its bus",
    row_parts.GPIO_CHIP: "a GPIO chip, as in /dev/gpiochip0",
    row_parts.HOST: "a host name or an address, without user, port or path",
}

_UNITS = {
    "_s": "s",
    "_min": "min",
    "_h": "h",
    "watts": "W",
    "_w": "W",
    "days": "days",
    "_w_per_k": "W/K",
    "_j_per_k": "J/K",
}

# What to do, where the key itself knows better than the kind of error.
_ADVICE = {
    "placement": "A mat belongs on the side or back wall.",
    "active": "Look at the relay board: low if a low level lets the mat have power, high if a high level does.",
    "temperature_unit": "Say in which unit the temperatures of this file are written.",
    "at": 'Write it in quotes, as in at = "08:00".',
    "quiet_from": 'Write it in quotes, as in quiet_from = "22:00".',
    "quiet_until": 'Write it in quotes, as in quiet_until = "07:00".',
    "start": 'Write it in quotes, as in start = "2026-01-16T17:00:00Z".',
    "protocol": "Write it in quotes; take the older one only if the broker cannot do better.",
}
_PLACEMENTS = {
    "under": "Never under a tub: animals dig down when hot and would reach the heater.",
    "lamp": "Never a lamp: it dries the substrate.",
    "above": "Never on top: warm air stays under the lid, and the animals below get none of it.",
}
_PLACEMENT_WORDS = {
    "under": ("under", "bottom", "below", "beneath", "floor", "base"),
    "lamp": ("lamp", "bulb", "light"),
    "above": ("top", "lid", "above", "cover", "roof"),
}
_OTHER_NAMES = {"am2302": "dht22", "ds18b20": "one-wire", "w1": "one-wire"}


def shown(value: object) -> str:
    """A value of the file, short enough for one line."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = "".join(sign if sign.isprintable() else "?" for sign in value)
        return f'"{text}"' if len(text) <= 40 else f'"{text[:37]}..."'
    if isinstance(value, int):
        return str(value) if abs(value) < 10**15 else "a number with too many digits"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    return f"{value} without quotes"


def choices(options: tuple[str, ...] | list[str]) -> str:
    """Options as a person lists them."""
    quoted = [f'"{option}"' for option in options]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " or " + quoted[-1]


def did_you_mean(word: object, known: list[str]) -> str:
    """`Did you mean "oak"? ` when a known word is near, else nothing."""
    near = get_close_matches(word, known, n=1, cutoff=0.6) if isinstance(word, str) else []
    return f'Did you mean "{near[0]}"? ' if near else ""


def unknown(where: str, key: str, known: list[str]) -> Problem:
    """A key that is not in the language of the file."""
    return Problem(
        f"{where}: {shown(key)[1:-1]}",
        "a key that means nothing here",
        ", ".join(known),
        f"{did_you_mean(key, known)}Correct the key or take it out.",
    )


def refused(where: str, key: str, value: object, error: ErrorDetails, field: FieldInfo) -> Problem:
    """A value that its key does not take; None stands for a key that is missing."""
    allowed, advice = _allowed(key, error, field)
    if value is None:
        advice = f"Add {key}. {_ADVICE.get(key, '')}".rstrip()
    elif key == "placement":
        advice = _placement_advice(value)
    elif key == "driver" and isinstance(value, str) and value.lower() in _OTHER_NAMES:
        advice = f'Write "{_OTHER_NAMES[value.lower()]}" for such a probe.'
    elif key == "driver" and isinstance(value, str) and value.lower() == "dht11":
        advice = "Only the kernel reads a DHT11: use iio. It is too coarse (2 K) to guard heat by."
    elif key in _ADVICE:
        advice = _ADVICE[key]
    elif error["type"] == "literal_error" and not isinstance(value, list):
        known = [part.strip("' ") for part in str(error["ctx"]["expected"]).replace(" or ", ",").split(",")]
        # A 1 in quotes is as near to a 1 as can be, and yet not what was meant.
        advice = "Write it without quotes." if value in known else f"{did_you_mean(value, known)}{advice}"
    # An address may hold a secret, and messages end up in logs.
    found = "an address (not repeated here)" if key == "url" else shown(value)
    return Problem(f"{where}: {key}", found, allowed, advice)


def _placement_advice(value: object) -> str:
    words = str(value).lower()
    for kind, signs in _PLACEMENT_WORDS.items():
        if any(sign in words for sign in signs):
            return f"{_PLACEMENTS[kind]} {_ADVICE['placement']}"
    return _ADVICE["placement"]


def _allowed(key: str, error: ErrorDetails, field: FieldInfo) -> tuple[str, str]:
    kind = error["type"]
    context: dict[str, Any] = error.get("ctx", {})
    limits = _limits(key, field)
    if key == "plan":
        return "points of an hour and a temperature, as in [[6, 17.5], [8, 20.0]]", "Correct the points."
    if key == "priorities":
        return 'a list of "high", "medium" and "low", one at least', 'Write it as in ["high", "medium"].'
    if kind == "literal_error":
        return str(context["expected"]).replace("'", '"'), "Choose one of them."
    if kind.startswith("date_"):
        return "a day, as in 2026-10-03", "Write it as year-month-day, without quotes and without a time."
    if kind == "bool_type":
        return "true or false", "Write it without quotes."
    if kind == "finite_number":
        return f"a number{limits}", "Write an ordinary number."
    if kind == "int_type":
        return f"a whole number{limits}", "Write it without quotes and without a point."
    if kind == "float_type":
        return f"a number{limits}", "Write it without quotes, with a point and not a comma."
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        return limits.removeprefix(" "), "Choose a value in this range."
    if kind == "string_too_long":
        return f"at most {context['max_length']} letters", "Shorten it."
    patterns = [str(item.pattern) for item in field.metadata if getattr(item, "pattern", None)]
    pattern = str(context.get("pattern", patterns[0] if patterns else ""))
    words = PATTERN_WORDS.get(pattern, "a text in quotes")
    return words, "Write it in quotes." if kind == "string_type" else "Correct it."


def _limits(key: str, field: FieldInfo) -> str:
    """The range of a key in words, with a leading blank; empty when it has none."""
    low: str | None = None
    high: str | None = None
    for limit in field.metadata:
        for sign, words in (("ge", "from {}"), ("gt", "more than {}")):
            if getattr(limit, sign, None) is not None:
                low = words.format(plain(float(getattr(limit, sign))))
        for sign, words in (("le", "{}"), ("lt", "less than {}")):
            if getattr(limit, sign, None) is not None:
                high = words.format(plain(float(getattr(limit, sign))))
    unit = next((unit for end, unit in reversed(_UNITS.items()) if key.endswith(end)), "")
    if low is None or high is None:
        return ""
    joint = "to" if low.startswith("from") else "and at most"
    return f" {low} {joint} {high} {unit}".rstrip()
