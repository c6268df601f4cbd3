"""Runs the recorded winter and keeps what a check needs: the files of the run, and the truth that no probe has."""

from __future__ import annotations

import shutil
import time
from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from matwarden.events import Sink
from matwarden.main import open_devices
from matwarden.rehearsal import Rehearsal
from matwarden.settings import load
from matwarden.sinks.push_terms import PushTarget, PushTerms
from matwarden.sinks.store_latches import LATCHES
from matwarden.sinks.store_schema import DATABASE

__all__ = ["DATA", "PHONE", "RELAYS", "TUBS", "Progress", "Winter", "read_every", "rehearse"]

DATA = Path(__file__).resolve().parents[1] / "data" / "winter"
TUBS = ("oak", "alder", "hazel", "rowan")
PHONE = "phone.txt"
RELAYS = "relays.txt"
_OURS = (DATABASE, f"{DATABASE}-wal", f"{DATABASE}-shm", "matwarden.lock", LATCHES, PHONE, RELAYS)
_DAY_S = 86400.0


class Progress(Protocol):
    """Is shown how far the run is: the share, and the wall time (UTC seconds) it has reached."""

    def __call__(self, share: float, wall_s: float) -> None: ...


@dataclass(frozen=True, slots=True)
class Truth:
    """One tub as it truly was at each step, the end included, in degrees Celsius."""

    wall_c: Sequence[float]
    air_c: Sequence[float]
    substrate_c: Sequence[float]


@dataclass(frozen=True, slots=True)
class Winter:
    """What the run left behind.

    Attributes:
        out: the directory of its files.
        truth: by tub. start_wall_s: UTC seconds of the first step. step_s: between two steps.
        days: how long it was. took_s: how long the machine took for it; user_s: of that, at work in this process.
    """

    out: Path
    start_wall_s: float
    step_s: float
    days: float
    truth: dict[str, Truth]
    took_s: float
    user_s: float

    @property
    def database(self) -> Path:
        return self.out / DATABASE


@dataclass(slots=True)
class _Watch:
    """Looks at every tub after each step."""

    seen: dict[str, array[float]] = field(default_factory=lambda: {tub: array("d") for tub in TUBS})

    def truth(self) -> dict[str, Truth]:
        return {tub: Truth(three[0::3], three[1::3], three[2::3]) for tub, three in self.seen.items()}


def read_every(step_s: int, directory: Path) -> Path:
    """The winter's settings and room, put into `directory`, with every probe read and judged every `step_s` seconds."""
    text = (DATA / "winter.toml").read_text(encoding="utf-8")
    assert "[polling]" not in text
    assert "\nstep_s = 10\n" in text
    text = text.replace("\nstep_s = 10\n", f"\nstep_s = {step_s}\n")
    text += f"\n[polling]\nevery_s = {step_s}\nstale_after_s = {3 * step_s}\n"
    shutil.copy(DATA / "room.csv", directory)
    file = directory / "winter.toml"
    file.write_text(text, encoding="utf-8")
    return file


def rehearse(
    out: Path, sinks: Sequence[Sink] = (), progress: Progress | None = None, file: Path = DATA / "winter.toml"
) -> Winter:
    """Run the winter (or another one, of the settings in `file`) with its files in `out`; earlier ones are replaced."""
    out.mkdir(parents=True, exist_ok=True)
    for name in _OURS:
        (out / name).unlink(missing_ok=True)
    settings = load(file)
    simulation = settings.simulation
    assert simulation is not None
    assert simulation.days is not None
    settings = replace(
        settings,
        store=replace(settings.store, directory=out),
        push=PushTerms((PushTarget("phone", url=f"file:{out / PHONE}"),), 72 * 3600.0, 1000),
        simulation=replace(simulation, record=out / RELAYS),
    )
    start_wall_s, end_s = simulation.start_wall_s, simulation.days * _DAY_S
    began_s, began_user_s = time.perf_counter(), time.process_time()
    run = Rehearsal(settings, open_devices, sinks)
    shelf = run.devices.shelf
    assert shelf is not None
    temperatures_c = shelf.temperatures_c
    watch = _Watch()
    keepers = [(tub, three.extend) for tub, three in watch.seen.items()]

    def look(now_s: float) -> None:
        for tub, keep in keepers:
            keep(temperatures_c(tub))

    try:
        # In thirds of a day, some hundredth of the run each: a whole number of steps, so that no step is cut in two.
        for third in range(1, round(3 * simulation.days) + 1):
            until_s = third * _DAY_S / 3
            run.run_until(until_s, look)
            if progress is not None:
                progress(until_s / end_s, start_wall_s + until_s)
        look(end_s)
    finally:
        run.close()
    took_s, user_s = time.perf_counter() - began_s, time.process_time() - began_user_s
    return Winter(out, start_wall_s, simulation.step_s, simulation.days, watch.truth(), took_s, user_s)
