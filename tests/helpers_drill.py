"""Settings with real drivers that this machine has none of, a record made beside them, and a commissioned tub."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from helpers_station import house
from matwarden.analysis.consequences import Rooms, findings
from matwarden.analysis.control import Control
from matwarden.analysis.fit import Start, found_of
from matwarden.analysis.grid import Heat, Lived
from matwarden.analysis.network import Network, Shape
from matwarden.commissioned import Commissioned, keep
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal

__all__ = ["CONTROL", "commission", "real_settings", "recorded_nights"]

CONTROL = Control(25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0)
START_WALL_S = 1_768_582_800.0  # 2026-01-16T17:00:00Z

_REAL = """
[house]
id = "shelf-1"
temperature_unit = "{unit}"
zone = "Europe/Amsterdam"
[polling]
every_s = 30
deadline_s = 5
stale_after_s = 90
[store]
directory = "{directory}"
[control]
socket = "{directory}/control.sock"
[[enclosure]]
id = "oak"
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
offset = -0.3
driver = "iio"
device = "dht11@4"
[[mat]]
enclosure = "oak"
placement = "side"
watts = 7
driver = "gpio"
chip = "/dev/gpiochip0"
line = 17
active = "high"
[[enclosure]]
id = "rowan"
[[probe]]
id = "rowan-substrate"
role = "substrate"
enclosure = "rowan"
driver = "one-wire"
address = "28-0316a2793f07"
[[probe]]
id = "room"
role = "room"
driver = "hwmon"
chip = "sht4x"
[permit]
driver = "gpio"
chip = "/dev/gpiochip0"
line = 24
"""


def real_settings(directory: Path, more: str = "", unit: str = "C") -> Path:
    """A file whose probes, relay and permit are on buses; its record goes to `directory`/data."""
    data = directory / "data"
    data.mkdir(parents=True, exist_ok=True)
    file = directory / "matwarden.toml"
    file.write_text(_REAL.format(directory=data, unit=unit) + more, encoding="utf-8")
    return file


def recorded_nights(directory: Path, hours: float) -> None:
    """A record in `directory`/data of a shelf with the same probes, whose room is 16 C at night and 20 C by day."""
    made = house(
        directory / "made",
        step_s=30.0,
        room="plan = [[5.0, 16.0], [8.0, 20.0], [20.0, 20.0]]",
        more='[[probe]]\nid = "room"\nrole = "room"\ndriver = "twin"\n',
    )
    run = Rehearsal(replace(made, store=replace(made.store, directory=directory / "data")), open_devices)
    run.run_until(hours * 3600.0)
    run.close()


def commission(directory: Path, enclosure: str = "oak") -> Network:
    """A tub kept as commissioned in `directory`/data: two nodes, a loss that grows, offsets; numbers made up."""
    shape = Shape(2, True)
    # As the search has them: logarithms of factors, the part that grows, the two offsets.
    values = np.array([0.3, -0.2, 0.2, 0.1, -0.1, 0.2, 0.3, 0.2, -0.1])
    covariance = np.diag(np.full(len(values), 0.02**2))
    found = found_of(shape, values, covariance, Start(6000.0, 0.6, 9.0))
    rooms = Rooms(15.0, 19.0, 24.0)
    nothing = np.zeros(0)
    tub = Commissioned(
        enclosure=enclosure,
        made_wall_s=START_WALL_S,
        since_wall_s=START_WALL_S - 86_400.0,
        until_wall_s=START_WALL_S,
        found=found,
        tried=(),
        rms_k=(0.05, 0.04),
        watts_known=True,
        control=CONTROL,
        low_c=22.2,
        high_c=27.8,
        rooms=rooms,
        findings=findings(found, CONTROL, 22.2, rooms, watts_known=True),
        settings="",
    )
    keep(directory / "data", tub, Lived([], [], [], Heat(nothing, nothing.astype(bool))))
    return found.network
