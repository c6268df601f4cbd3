"""A simulated shelf: the physics of tubs in a room, probes and relays on them, and faults on demand."""

from matwarden_hardware.twin.devices import Node, ProbeTimeoutError, TwinProbe, TwinRelay
from matwarden_hardware.twin.faults import ROOM, Fault, FaultKind
from matwarden_hardware.twin.fitted import FittedTub
from matwarden_hardware.twin.permit import TwinPermit
from matwarden_hardware.twin.physics import Network, TubPhysics
from matwarden_hardware.twin.room import DailyRoom, DayPlanRoom, Room, SeriesRoom
from matwarden_hardware.twin.shelf import Shelf, Temperatures

__all__ = [
    "ROOM",
    "DailyRoom",
    "DayPlanRoom",
    "Fault",
    "FaultKind",
    "FittedTub",
    "Network",
    "Node",
    "ProbeTimeoutError",
    "Room",
    "SeriesRoom",
    "Shelf",
    "Temperatures",
    "TubPhysics",
    "TwinPermit",
    "TwinProbe",
    "TwinRelay",
]
