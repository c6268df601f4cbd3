"""The keeper's own settings, with everything that could touch the world taken out: for a drill.

What decides stays as it is: band, limits, times, alarms, whom a push is for and its quiet hours. What acts is replaced:
every probe, relay and permit by the simulated shelf's, every push address by one that leads nowhere, the record by one
in a directory of the drill's own. MQTT, heartbeat, digest and other stations are off; the other tubs are left out.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from matwarden.core.fault_catalogue import FaultCase
from matwarden.settings.resolved import (
    Dht22,
    FaultTerms,
    FittedTwin,
    OneWire,
    RoomFormula,
    RoomSeries,
    Settings,
    SimulationSettings,
    Twin,
    TwinPermit,
    TwinProbe,
    TwinRelay,
)
from matwarden.sinks.push_terms import PushTarget, PushTerms
from matwarden.terms import Enclosure, ProbeTerms, Role

if TYPE_CHECKING:
    from matwarden.analysis.network import Network

__all__ = ["NOWHERE", "drill_settings", "fault_terms", "fitted_twin", "reads_inside", "stock_twin"]

# Where a drill's pushes would go if they were sent: nobody ever opens it.
NOWHERE = "file:/nowhere"
_STAND_IN = PushTerms((PushTarget("phone", url=NOWHERE),), 72 * 3600.0, 1000)
# Of the sensors, K: a DS18B20 (datasheet, 12 bit), a DHT22 (datasheet), and others as if they had none.
_STEPS_K = {OneWire: 0.0625, Dht22: 0.1}
_STEP_K, _NOISE_K = 0.01, 0.02
_STEP_S = 10.0


def drill_settings(
    settings: Settings,
    enclosure: Enclosure,
    tub: Twin | FittedTwin,
    room: RoomFormula | RoomSeries,
    start_wall_s: float,
    start_c: float,
    directory: Path,
) -> Settings:
    """The settings of a drill of one tub.

    Args:
        start_wall_s: UTC seconds at its beginning. start_c: of the tub then, where `tub` does not say so itself.
        directory: the drill's own, for its record.
    """
    drivers = {
        probe.id: TwinProbe(enclosure.id, probe.role.value, _NOISE_K, _step_k(settings, probe), humidity=False)
        for probe in enclosure.probes
    }
    drivers |= {
        probe.id: TwinProbe(None, "room", _NOISE_K, _step_k(settings, probe), humidity=False)
        for probe in settings.room_probes
    }
    probes = [*enclosure.probes, *settings.room_probes]
    return replace(
        settings,
        # A probe's offset makes it right; the twin's are right already.
        enclosures=(replace(enclosure, probes=tuple(replace(probe, offset_k=0.0) for probe in enclosure.probes)),),
        room_probes=tuple(replace(probe, offset_k=0.0) for probe in settings.room_probes),
        probe_drivers=drivers,
        relay_drivers={enclosure.id: TwinRelay(enclosure.id)} if enclosure.mat is not None else {},
        permit=None if settings.permit is None else TwinPermit(),
        store=replace(settings.store, directory=directory),
        control=replace(settings.control, socket=directory / "none.sock"),
        mqtt=None,
        push=_STAND_IN if settings.push is None else _nowhere(settings.push),
        digest=replace(settings.digest, enabled=False, picture=False, pages=None),
        watched=(),
        heartbeat=None,
        simulation=SimulationSettings(
            start_wall_s=start_wall_s,
            step_s=min(_STEP_S, *(probe.poll_s for probe in probes)),
            days=None,
            as_fast_as_possible=True,
            seed=1,
            record=None,
            start_c=start_c,
            room=room,
            twins=(tub,) if isinstance(tub, Twin) else (),
            faults=(),
            fitted=(tub,) if isinstance(tub, FittedTwin) else (),
        ),
    )


def stock_twin(enclosure: Enclosure) -> Twin:
    """The simulated shelf's own six-litre tub, with the watts of this one's mat where they are told."""
    mat_w = 8.0 if enclosure.mat is None or enclosure.mat.watts_w is None else enclosure.mat.watts_w
    return Twin(enclosure.id, 250.0, 120.0, 5400.0, 0.9, 0.4, 0.6, 0.15, 0.3, 0.2, mat_w)


def fitted_twin(enclosure: Enclosure, network: Network, nodes_c: tuple[float, ...], share: float) -> FittedTwin:
    """A commissioned tub. `nodes_c`, `share`: as it is at the start, and the share of heat that keeps it so."""
    return FittedTwin(
        enclosure=enclosure.id,
        capacities_j_per_k=tuple(map(float, network.capacities)),
        joins_w_per_k=tuple(map(float, network.joins)),
        losses_w_per_k=tuple(map(float, network.losses)),
        mat_w=float(network.power_w),
        lag_s=float(network.lag_s),
        loss_share=min(1.0, max(0.0, float(network.loss_share))),
        wall_k=float(network.wall_offset_k),
        inside_k=float(network.inside_offset_k),
        substrate_inside=reads_inside(enclosure) is Role.SUBSTRATE,
        start_c=nodes_c,
        start_w=share * float(network.power_w),
    )


def reads_inside(enclosure: Enclosure) -> Role:
    """Which probes tell the inside: those in the air; only without any, those in the substrate."""
    roles = {probe.role for probe in enclosure.probes}
    return Role.SUBSTRATE if Role.SUBSTRATE in roles and Role.AIR not in roles else Role.AIR


def fault_terms(case: FaultCase, enclosure: Enclosure, at_s: float) -> FaultTerms | None:
    """The fault for the simulated shelf; None where that has no part in it. Of several probes the first is struck."""
    if not case.kind:
        return None
    subject = enclosure.id
    if case.role is not None:
        subject = next(probe.id for probe in enclosure.probes if probe.role is case.role)
    elif case.kind == "room-offset":
        subject = "room"
    until_s = None if case.for_h is None else at_s + case.for_h * 3600.0
    return FaultTerms(case.kind, subject, at_s, until_s, case.amount, case.place.format(tub=enclosure.id))


def _step_k(settings: Settings, probe: ProbeTerms) -> float:
    return _STEPS_K.get(type(settings.probe_drivers[probe.id]), _STEP_K)


def _nowhere(push: PushTerms) -> PushTerms:
    return replace(push, targets=tuple(replace(each, url=NOWHERE, url_file=None) for each in push.targets))
