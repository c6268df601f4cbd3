"""The settings in use: frozen, complete, in SI units, every path absolute."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from matwarden.core.peers import Peer
from matwarden.core.upkeep import UpkeepRules
from matwarden.sinks.heartbeat_terms import HeartbeatTerms
from matwarden.sinks.mqtt_terms import MqttTerms
from matwarden.sinks.push_terms import PushTerms
from matwarden.terms import AlarmTimes, Enclosure, ProbeTerms, Unit


@dataclass(frozen=True, slots=True)
class OneWire:
    """A probe on the 1-wire bus: `28-` and twelve small hex digits."""

    address: str


@dataclass(frozen=True, slots=True)
class Iio:
    """A probe that is an industrial I/O device, found by name or platform device, never by number."""

    device: str


@dataclass(frozen=True, slots=True)
class Hwmon:
    """A probe that is a hardware monitoring chip; `address` tells two of a kind apart: `0x44`, or `1-0044`."""

    chip: str
    address: str | None


@dataclass(frozen=True, slots=True)
class Dht22:
    """A DHT22 on a pin of the header (BCM number). `use_pulseio`: a compiled helper times its pulses."""

    pin: int
    use_pulseio: bool


@dataclass(frozen=True, slots=True)
class TwinProbe:
    """A probe of the simulated shelf. `enclosure` is None exactly when `node` is room (else wall, air, substrate)."""

    enclosure: str | None
    node: str
    noise_k: float
    resolution_k: float
    humidity: bool


@dataclass(frozen=True, slots=True)
class GpioRelay:
    """A relay on a GPIO line. `active_high`: a high line allows power."""

    chip: str
    line: int
    active_high: bool


@dataclass(frozen=True, slots=True)
class TwinRelay:
    """The relay of a simulated tub."""

    enclosure: str


@dataclass(frozen=True, slots=True)
class GpioPermit:
    """The permit on a GPIO line."""

    chip: str
    line: int


@dataclass(frozen=True, slots=True)
class TwinPermit:
    """The permit of the simulated shelf."""


@dataclass(frozen=True, slots=True)
class AlarmRules:
    """Of all alarms of the house.

    Attributes:
        times: of those that belong to no tub. together_n: from as many tubs on they ring as one; 0: never.
    """

    times: AlarmTimes
    together_n: int
    shelve_at_most_s: float


@dataclass(frozen=True, slots=True)
class StoreSettings:
    directory: Path
    commit_every_s: float
    keep_raw_days: int
    keep_free_mb: int


@dataclass(frozen=True, slots=True)
class ControlSettings:
    socket: Path


@dataclass(frozen=True, slots=True)
class DigestSettings:
    """The nightly digest.

    Attributes:
        at: local time of day, `HH:MM`.
        picture: whether a picture goes with its push. pages: directory for a page of each night; None: no pages.
    """

    at: str
    enabled: bool
    picture: bool
    pages: Path | None


@dataclass(frozen=True, slots=True)
class RoomFile:
    """A recorded room: a CSV file of times and temperatures in Celsius."""

    path: Path


@dataclass(frozen=True, slots=True)
class RoomFormula:
    """A made-up room. `swing_k` is from coldest to warmest of a day; `warmest_hour` is UTC."""

    mean_c: float
    swing_k: float
    warmest_hour: float
    drift_k_per_day: float


@dataclass(frozen=True, slots=True)
class RoomPlan:
    """A day that repeats: points of (hour UTC, Celsius), hours rising from 0 to below 24."""

    points: tuple[tuple[float, float], ...]
    drift_k_per_day: float


@dataclass(frozen=True, slots=True)
class RoomSeries:
    """A room from a record: seconds since the simulation's start, rising, and Celsius. Never in a file."""

    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Twin:
    """The physics of one simulated tub."""

    enclosure: str
    wall_j_per_k: float
    air_j_per_k: float
    substrate_j_per_k: float
    wall_air_w_per_k: float
    wall_substrate_w_per_k: float
    air_substrate_w_per_k: float
    wall_room_w_per_k: float
    air_room_w_per_k: float
    substrate_room_w_per_k: float
    mat_w: float


@dataclass(frozen=True, slots=True)
class FittedTwin:
    """The physics of one simulated tub that was found from its record: nodes are wall, inside, rest. Never in a file.

    Attributes:
        mat_w: 1.0 where the watts are not known; all else is then per watt.
        loss_share: the part of the loss that grows with its difference.
        wall_k, inside_k: what probes there read above their node.
        substrate_inside: substrate probes lie in the inside, not in the rest.
        start_c, start_w: of each node, and what reaches the wall, at the start.
    """

    enclosure: str
    capacities_j_per_k: tuple[float, ...]
    joins_w_per_k: tuple[float, ...]
    losses_w_per_k: tuple[float, ...]
    mat_w: float
    lag_s: float
    loss_share: float
    wall_k: float
    inside_k: float
    substrate_inside: bool
    start_c: tuple[float, ...]
    start_w: float


@dataclass(frozen=True, slots=True)
class FaultTerms:
    """A fault of the simulated shelf, in seconds since its start.

    `amount`: kelvin, kelvin per hour (probe-drift) or a factor (mat-power, mat-covered, lid-off); 0 where none is
    needed. `place`: for probe-elsewhere, else empty.
    """

    kind: str
    subject: str
    at_s: float
    until_s: float | None
    amount: float
    place: str = ""


@dataclass(frozen=True, slots=True)
class SimulationSettings:
    """The simulated shelf.

    Attributes:
        start_wall_s: UTC seconds since 1970 at its start.
        days: None: until stopped.
        start_c: of all tubs; None: as warm as the room.
        record: file to which each level change of a relay is added.
        fitted: tubs that were found from their record, beside those of the file.
    """

    start_wall_s: float
    step_s: float
    days: float | None
    as_fast_as_possible: bool
    seed: int
    record: Path | None
    start_c: float | None
    room: RoomFile | RoomFormula | RoomPlan | RoomSeries
    twins: tuple[Twin, ...]
    faults: tuple[FaultTerms, ...]
    fitted: tuple[FittedTwin, ...] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything the file says and everything it leaves to defaults.

    Attributes:
        source: the file.
        probe_drivers: how to open each probe, by probe id. relay_drivers: each mat's relay, by enclosure id.
        watched: the other stations that this one watches; with mqtt only.
        permit, mqtt, push, heartbeat, simulation: None when the file has no such table.
    """

    source: Path
    house_id: str
    house_name: str
    unit: Unit
    zone: str
    enclosures: tuple[Enclosure, ...]
    room_probes: tuple[ProbeTerms, ...]
    alarms: AlarmRules
    probe_drivers: Mapping[str, OneWire | Iio | Hwmon | Dht22 | TwinProbe]
    relay_drivers: Mapping[str, GpioRelay | TwinRelay]
    permit: GpioPermit | TwinPermit | None
    store: StoreSettings
    control: ControlSettings
    mqtt: MqttTerms | None
    push: PushTerms | None
    digest: DigestSettings
    upkeep: UpkeepRules
    watched: tuple[Peer, ...]
    heartbeat: HeartbeatTerms | None
    simulation: SimulationSettings | None
