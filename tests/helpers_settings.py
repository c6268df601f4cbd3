"""A small sound settings file with real drivers, one with twins, and ways to change them a little."""

from __future__ import annotations

from pathlib import Path

from matwarden.settings import Outcome, check

REAL = """\
[house]
id = "shelf-1"
name = "Back room shelf"
temperature_unit = "C"
zone = "Europe/Amsterdam"

[polling]
every_s = 10
deadline_s = 5
stale_after_s = 60
max_rate_per_min = 3.0

[alarms]
cold_after_min = 60
deadband = 0.5

[[enclosure]]
id = "oak"
band_low = 22.0
band_high = 28.0

[[enclosure]]
id = "rowan"

[[probe]]
id = "oak-wall"
role = "wall"
enclosure = "oak"
driver = "one-wire"
address = "28-0316a2793f01"

[[probe]]
id = "oak-air"
role = "air"
enclosure = "oak"
side = "moist"
offset = -0.2
driver = "one-wire"
address = "28-0316a2793f02"

[[probe]]
id = "rowan-air"
role = "air"
enclosure = "rowan"
driver = "iio"
device = "dht11@4"

[[probe]]
id = "room"
role = "room"
driver = "hwmon"
chip = "sht4x"
address = "0x44"

[[mat]]
enclosure = "oak"
placement = "side"
watts = 7
setpoint = 25.0
hysteresis = 1.0
limiter = 28.5
cut_out = 30.0
differential = 1.0
minimum_off_s = 180
driver = "gpio"
chip = "/dev/gpiochip0"
line = 17
active = "high"

[store]
directory = "data"

[mqtt]
host = "localhost"
username = "shelf-1"

[push]
give_up_after_h = 72

[[push.target]]
name = "paper"
url = "file:pushes.txt"

[digest]
at = "08:00"
"""

TWIN = """\
[house]
id = "demo"
temperature_unit = "C"
zone = "Europe/Amsterdam"

[[enclosure]]
id = "oak"

[[probe]]
id = "oak-wall"
role = "wall"
enclosure = "oak"
driver = "twin"

[[probe]]
id = "oak-air"
role = "air"
enclosure = "oak"
driver = "twin"
humidity = true

[[probe]]
id = "room"
role = "room"
driver = "twin"

[[mat]]
enclosure = "oak"
placement = "back"
driver = "twin"

[simulation]
start = "2026-01-16T17:00:00Z"
days = 3
speed = "as-fast-as-possible"

[simulation.room]
mean = 18.0
swing = 3.0

[[twin]]
enclosure = "oak"

[[fault]]
kind = "probe-offset"
subject = "oak-air"
at_h = 10
until_h = 12
amount = 2.0
"""


def edited(base: str, *edits: tuple[str, str]) -> str:
    """`base` with each `old` replaced by `new`; `old` must be there exactly once, so that no edit goes astray."""
    for old, new in edits:
        assert base.count(old) == 1, f"{old!r} stands {base.count(old)} times in the base file"
        base = base.replace(old, new)
    return base


def checked(tmp_path: Path, text: str) -> Outcome:
    """The outcome for a file of this text."""
    path = tmp_path / "shelf.toml"
    path.write_text(text, encoding="utf-8")
    return check(path)


def lines(outcome: Outcome) -> list[str]:
    """Each problem as a keeper reads it."""
    return [problem.line() for problem in outcome.problems]


# The same shelf as REAL in Fahrenheit. Exact in both units, but for the band: 71.6 and 82.4 F are 22 and 28 C.
FAHRENHEIT = edited(
    REAL,
    ('temperature_unit = "C"', 'temperature_unit = "F"'),
    ("max_rate_per_min = 3.0", "max_rate_per_min = 5.4"),
    ("deadband = 0.5", "deadband = 0.9"),
    ("band_low = 22.0", "band_low = 71.6"),
    ("band_high = 28.0", "band_high = 82.4"),
    ("offset = -0.2", "offset = -0.36"),
    ("setpoint = 25.0", "setpoint = 77"),
    ("hysteresis = 1.0", "hysteresis = 1.8"),
    ("limiter = 28.5", "limiter = 83.3"),
    ("cut_out = 30.0", "cut_out = 86"),
    ("differential = 1.0", "differential = 1.8"),
)
