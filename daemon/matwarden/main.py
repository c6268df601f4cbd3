"""The composition root: the only place that picks real drivers or the simulated shelf."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from matwarden.devices import Devices, FoundProbe
from matwarden.settings.resolved import (
    Dht22,
    GpioPermit,
    GpioRelay,
    Hwmon,
    Iio,
    OneWire,
    RoomFile,
    RoomPlan,
    RoomSeries,
    Settings,
    SimulationSettings,
    TwinPermit,
    TwinProbe,
    TwinRelay,
)
from matwarden_hardware.ports import Permit, Probe, Relay
from matwarden_hardware.twin.room import DailyRoom, DayPlanRoom, Room, SeriesRoom
from matwarden_hardware.twin.shelf import Shelf

__all__ = ["discover", "idle_level", "main", "open_devices"]


def open_devices(settings: Settings, monotonic_s: Callable[[], float], real_time: bool) -> Devices:
    """Open every relay first (each is cut from then on), then the permit, then every probe.

    Args:
        monotonic_s: the clock a simulated shelf lives by. real_time: that clock runs by itself.

    Raises:
        DriverError: a device cannot be opened; those opened before are closed again.
    """
    shelf = None if settings.simulation is None else _shelf(settings, settings.simulation, monotonic_s, real_time)
    relays: dict[str, Relay] = {}
    probes: dict[str, Probe] = {}
    permit: Permit | None = None
    try:
        for enclosure, relay in settings.relay_drivers.items():
            relays[enclosure] = _relay(relay, shelf, settings.simulation)
        permit = _permit(settings.permit, shelf, settings.simulation)
        for name, probe in settings.probe_drivers.items():
            probes[name] = _probe(name, probe, shelf)
    except BaseException:
        Devices(probes, relays, shelf, permit).close()
        raise
    return Devices(probes, relays, shelf, permit)


def discover(sysfs: Path) -> Sequence[FoundProbe]:
    """Every probe the kernel shows below `sysfs`; none is read.

    Raises:
        OSError: it cannot be listed.
    """
    from matwarden_hardware.discovery import discover as look

    return look(sysfs)


def idle_level(settings: Settings, enclosure: str) -> bool | None:
    """Whether a relay's line lets power through while nobody drives it; it is left as it is.

    Raises:
        DriverError: it is held, or cannot be looked at.
    """
    driver = settings.relay_drivers[enclosure]
    if isinstance(driver, GpioRelay):
        from matwarden_hardware.line_level import idle_level as look

        return look(driver.chip, driver.line, driver.active_high)
    from matwarden_hardware.twin.record import recorded_level

    record = None if settings.simulation is None else settings.simulation.record
    return None if record is None else recorded_level(record, driver.enclosure)


def main(arguments: list[str] | None = None) -> int:
    """The command `matwarden`."""
    from matwarden import cli

    return cli.run(sys.argv[1:] if arguments is None else arguments, open_devices, discover, idle_level)


def _relay(driver: GpioRelay | TwinRelay, shelf: Shelf | None, simulation: SimulationSettings | None) -> Relay:
    if isinstance(driver, GpioRelay):
        from matwarden_hardware.gpio import GpioRelay as Line

        return Line(driver.chip, driver.line, driver.active_high)
    from matwarden_hardware.twin.devices import TwinRelay as Twin

    assert shelf is not None
    assert simulation is not None
    return Twin(shelf, driver.enclosure, record=simulation.record)


def _permit(
    driver: GpioPermit | TwinPermit | None, shelf: Shelf | None, simulation: SimulationSettings | None
) -> Permit | None:
    if driver is None:
        return None
    if isinstance(driver, GpioPermit):
        from matwarden_hardware.permit import PermitLine

        return PermitLine(driver.chip, driver.line)
    from matwarden_hardware.twin.permit import TwinPermit as Twin

    assert shelf is not None
    assert simulation is not None
    return Twin(shelf.clock_s, record=simulation.record)


def _probe(name: str, driver: OneWire | Iio | Hwmon | Dht22 | TwinProbe, shelf: Shelf | None) -> Probe:
    if isinstance(driver, OneWire):
        from matwarden_hardware.onewire import OneWireProbe

        return OneWireProbe(driver.address)
    if isinstance(driver, Iio):
        from matwarden_hardware.iio import IioProbe

        return IioProbe(driver.device)
    if isinstance(driver, Hwmon):
        from matwarden_hardware.hwmon import HwmonProbe

        return HwmonProbe(driver.chip, driver.address)
    if isinstance(driver, Dht22):
        from matwarden_hardware.dht22 import Dht22Probe

        return Dht22Probe(driver.pin, driver.use_pulseio)
    from matwarden_hardware.twin.devices import Node
    from matwarden_hardware.twin.devices import TwinProbe as Twin

    assert shelf is not None
    return Twin(
        shelf,
        name,
        driver.enclosure,
        Node(driver.node),
        resolution_k=driver.resolution_k,
        noise_k=driver.noise_k,
        humidity=driver.humidity,
    )


def _shelf(
    settings: Settings, simulation: SimulationSettings, monotonic_s: Callable[[], float], real_time: bool
) -> Shelf:
    from matwarden_hardware.twin.faults import Fault, FaultKind
    from matwarden_hardware.twin.fitted import FittedTub
    from matwarden_hardware.twin.physics import Physics, TubPhysics

    tubs: dict[str, Physics] = {
        twin.enclosure: TubPhysics(
            wall_j_per_k=twin.wall_j_per_k,
            air_j_per_k=twin.air_j_per_k,
            substrate_j_per_k=twin.substrate_j_per_k,
            wall_air_w_per_k=twin.wall_air_w_per_k,
            wall_substrate_w_per_k=twin.wall_substrate_w_per_k,
            air_substrate_w_per_k=twin.air_substrate_w_per_k,
            wall_room_w_per_k=twin.wall_room_w_per_k,
            air_room_w_per_k=twin.air_room_w_per_k,
            substrate_room_w_per_k=twin.substrate_room_w_per_k,
            mat_w=twin.mat_w,
        )
        for twin in simulation.twins
    }
    for found in simulation.fitted:
        tubs[found.enclosure] = FittedTub(
            capacities_j_per_k=found.capacities_j_per_k,
            joins_w_per_k=found.joins_w_per_k,
            losses_w_per_k=found.losses_w_per_k,
            mat_w=found.mat_w,
            lag_s=found.lag_s,
            loss_share=found.loss_share,
            wall_k=found.wall_k,
            inside_k=found.inside_k,
            substrate_inside=found.substrate_inside,
            start_c=found.start_c,
            start_w=found.start_w,
        )
    faults = [
        Fault(
            at_s=fault.at_s,
            until_s=fault.until_s,
            kind=FaultKind(fault.kind),
            subject=fault.subject,
            amount=fault.amount,
            place=fault.place,
        )
        for fault in simulation.faults
    ]
    return Shelf(
        tubs,
        _room(simulation),
        monotonic_s,
        start_c=simulation.start_c,
        seed=simulation.seed,
        faults=faults,
        real_time=real_time,
    )


def _room(simulation: SimulationSettings) -> Room:
    from matwarden.core.units import rfc3339_z

    room = simulation.room
    if isinstance(room, RoomFile):
        return SeriesRoom.from_csv(room.path, rfc3339_z(simulation.start_wall_s))
    if isinstance(room, RoomSeries):
        return SeriesRoom([t_s for t_s, _ in room.points], [room_c for _, room_c in room.points])
    start_hour = simulation.start_wall_s % 86400.0 / 3600.0
    if isinstance(room, RoomPlan):
        return DayPlanRoom(room.points, room.drift_k_per_day, start_hour)
    return DailyRoom(room.mean_c, room.swing_k, room.warmest_hour, room.drift_k_per_day, start_hour)
