"""`matwarden` as a scene wants it started: with little memory, or with alder's air read from a DHT22's child process.

python launcher.py memory BYTES ...        python launcher.py dht22 DIRECTORY ...
"""

from __future__ import annotations

import resource
import sys
from collections.abc import Callable
from pathlib import Path


def _with_dht22(directory: Path, arguments: list[str]) -> int:
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    from helpers_dht22 import child_command
    from matwarden import cli
    from matwarden.devices import Devices
    from matwarden.main import discover, idle_level, open_devices
    from matwarden.settings import Settings
    from matwarden_hardware.dht22 import Dht22Probe

    def opened(settings: Settings, monotonic_s: Callable[[], float], real_time: bool) -> Devices:
        devices = open_devices(settings, monotonic_s, real_time)
        # One a second, where the part itself needs two and a half: its pulses come from a file.
        probe = Dht22Probe(4, command=child_command(directory, "bitbang"), interval_s=0.0, deadline_s=0.4)
        return Devices({**devices.probes, "alder-air": probe}, devices.relays, devices.shelf)

    return cli.run(arguments, opened, discover, idle_level)


def _with_memory(most_bytes: int, arguments: list[str]) -> int:
    resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
    from matwarden.main import main

    return main(arguments)


if __name__ == "__main__":
    if sys.argv[1] == "dht22":
        sys.exit(_with_dht22(Path(sys.argv[2]), sys.argv[3:]))
    sys.exit(_with_memory(int(sys.argv[2]), sys.argv[3:]))
