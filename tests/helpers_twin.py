"""A clock that tests jump forward, a shelf on it, and a thermostat that switches at the exact instant."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from matwarden_hardware.twin import DailyRoom, Fault, Network, Room, Shelf, TubPhysics

TUBS = ("oak", "alder", "hazel", "rowan")


class JumpClock:
    """Monotonic seconds that move only when told to. Starts where a real one might be."""

    def __init__(self, start_s: float = 5000.0) -> None:
        self.at_s = start_s

    def __call__(self) -> float:
        return self.at_s

    def jump(self, by_s: float) -> None:
        """Move forward (or, for a broken clock, back)."""
        self.at_s += by_s


def shelf_at(
    clock: JumpClock,
    room: Room | None = None,
    *,
    faults: Iterable[Fault] = (),
    start_c: float | None = None,
    seed: int = 0,
) -> Shelf:
    """The four tubs in a steady 18 C room, unless another is given."""
    tubs = {tub: TubPhysics() for tub in TUBS}
    return Shelf(tubs, room or DailyRoom(18.0), clock, faults=faults, start_c=start_c, seed=seed)


@dataclass(frozen=True, slots=True)
class Plant:
    """A network under two-position control of one node; dead time in whole seconds."""

    network: Network
    nodes: int
    sensed: int
    room_c: float
    heat_w: float
    low_c: float
    high_c: float
    dead_time_s: int = 0


class Cycle(NamedTuple):
    """One settled cycle: times from switch to switch, and the extremes of every node."""

    on_s: float
    period_s: float
    low_c: tuple[float, ...]
    high_c: tuple[float, ...]

    @property
    def duty(self) -> float:
        """Share of the time with heat."""
        return self.on_s / self.period_s


def settled_cycle(plant: Plant, cycles: int = 30) -> Cycle:
    """Run `cycles` cycles, every switch at the exact instant, and describe the last one."""
    nodes_c = (plant.low_c,) * plant.nodes
    on_s = off_s = 0.0
    seen: list[tuple[float, ...]] = []
    for _ in range(cycles):
        seen = []
        on_s, nodes_c = _until_crossed(plant, nodes_c, True, seen)
        off_s, nodes_c = _until_crossed(plant, nodes_c, False, seen)
    columns = list(zip(*seen, strict=True))
    return Cycle(on_s, on_s + off_s, tuple(map(min, columns)), tuple(map(max, columns)))


def _until_crossed(
    plant: Plant, nodes_c: tuple[float, ...], heating: bool, seen: list[tuple[float, ...]]
) -> tuple[float, tuple[float, ...]]:
    """From the switch to the next crossing: seconds and temperatures there. Looks every second, then bisects."""

    def later(from_c: tuple[float, ...], dt_s: float, heat: bool) -> tuple[float, ...]:
        return plant.network.advance(from_c, dt_s, plant.room_c, plant.heat_w if heat else 0.0)

    def crossed(at_c: tuple[float, ...]) -> bool:
        sensed_c = at_c[plant.sensed]
        return sensed_c >= plant.high_c if heating else sensed_c <= plant.low_c

    elapsed_s = 0.0
    seen.append(nodes_c)
    for _ in range(plant.dead_time_s):
        nodes_c = later(nodes_c, 1.0, not heating)
        seen.append(nodes_c)
        elapsed_s += 1.0
    while not crossed(after_c := later(nodes_c, 1.0, heating)):
        nodes_c = after_c
        seen.append(nodes_c)
        elapsed_s += 1.0
    below_s, above_s = 0.0, 1.0
    for _ in range(40):
        middle_s = (below_s + above_s) / 2.0
        if crossed(later(nodes_c, middle_s, heating)):
            above_s = middle_s
        else:
            below_s = middle_s
    at_c = later(nodes_c, above_s, heating)
    seen.append(at_c)
    return elapsed_s + above_s, at_c
