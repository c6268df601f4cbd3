"""Workload W: forty series, a reading of each every 10 s: ten tubs with a wall, a substrate and an air probe, the air's
humidity too. (A wall probe with humidity, which the budget counts instead, is nothing the simulated shelf has.)"""

from __future__ import annotations

from pathlib import Path

TUBS = 10
EVERY_S = 10
ROWS_A_DAY = TUBS * 2 * 2 * 8640

_HEAD = """
[house]
id = "bench"
temperature_unit = "C"
zone = "UTC"
[store]
directory = "{directory}/data"
[control]
socket = "{directory}/control.sock"
[push]
[[push.target]]
name = "paper"
url = "file:{directory}/pushes.txt"
[digest]
at = "{digest_at}"
picture = {picture}
[simulation]
start = "{start}"
start_temperature = 23.0
seed = 1
{more}
[simulation.room]
mean = 19.0
"""
_MQTT = """
[mqtt]
host = "127.0.0.1"
port = {port}
"""
_TUB = """
[[enclosure]]
id = "tub-{n}"
[[probe]]
id = "tub-{n}-wall"
role = "wall"
enclosure = "tub-{n}"
driver = "twin"
noise = 0.02
[[probe]]
id = "tub-{n}-substrate"
role = "substrate"
enclosure = "tub-{n}"
driver = "twin"
noise = 0.02
[[probe]]
id = "tub-{n}-air"
role = "air"
enclosure = "tub-{n}"
driver = "twin"
noise = 0.02
humidity = true
[[mat]]
enclosure = "tub-{n}"
placement = "side"
watts = 7
driver = "twin"
[[twin]]
enclosure = "tub-{n}"
"""


def settings_text(
    directory: Path,
    tubs: int = TUBS,
    *,
    port: int | None = None,
    digest_at: str = "08:00",
    picture: bool = False,
    more: str = "",
) -> str:
    """A settings file of such a shelf; `more`: lines of [simulation]."""
    head = _HEAD.format(
        directory=directory, digest_at=digest_at, picture=str(picture).lower(), start="2026-01-16T17:00:00Z", more=more
    )
    mqtt = "" if port is None else _MQTT.format(port=port)
    return head + mqtt + "".join(_TUB.format(n=n) for n in range(1, tubs + 1))
