"""The tables of the simulated shelf: [simulation] and its room, [[twin]], [[fault]]."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from matwarden.settings.row_parts import INSTANT, PLACE, FilePath, Id, Number, Row


class SimulatedRoom(Row):
    """The simulated room: exactly one of file, mean and plan."""

    file: FilePath | None = Field(
        None, description="A recorded room: CSV with the columns time (RFC 3339) and temperature_c."
    )
    mean: Number | None = Field(None, description="A made-up room: its mean temperature.")
    swing: Number | None = Field(
        None, description="With mean: from coldest to warmest of a day, a temperature difference. Default 0."
    )
    warmest_hour: Number = Field(
        15.0, ge=0, lt=24, description="With mean: hour of the day (UTC) of the peak. Default 15."
    )
    plan: list[Annotated[list[Number], Field(min_length=2, max_length=2)]] | None = Field(
        None,
        min_length=1,
        description="A day that repeats: points of hour (UTC) and temperature, hours rising.",
    )
    drift_per_day: Number | None = Field(
        None, description="With mean or plan: change per day, a temperature difference. Default 0."
    )


class Simulation(Row):
    """A simulated shelf instead of a real one; every driver must then be twin."""

    start: str = Field(pattern=INSTANT, description="First instant, RFC 3339 in UTC, as 2026-01-16T17:00:00Z.")
    step_s: Number = Field(10.0, ge=0.1, le=300, description="Seconds a step; at most every_s. Default 10.")
    days: Number | None = Field(None, gt=0, le=4000, description="Days until the run ends. Default: never.")
    speed: Literal["real-time", "as-fast-as-possible"] = Field("real-time", description="Default real-time.")
    seed: int = Field(1, ge=0, le=2**31 - 1, description="Of everything random. Default 1.")
    start_temperature: Number | None = Field(None, description="Of all tubs at the start. Default: that of the room.")
    record: FilePath | None = Field(None, description="File to which each level change of a relay is added.")
    room: SimulatedRoom = Field(description="The room the shelf stands in.")


class TwinRow(Row):
    """The physics of one simulated tub: three parts, in joules and watts per kelvin whatever the unit of the file."""

    enclosure: Id = Field(description="Id of the tub.")
    wall_j_per_k: Number = Field(250.0, gt=0, le=1e7, description="Heat held by the wall at the mat. Default 250.")
    air_j_per_k: Number = Field(120.0, gt=0, le=1e7, description="Heat held by air and lid. Default 120.")
    substrate_j_per_k: Number = Field(5400.0, gt=0, le=1e7, description="Heat held by the substrate. Default 5400.")
    wall_air_w_per_k: Number = Field(0.9, ge=0, le=1e4, description="From wall to air. Default 0.9.")
    wall_substrate_w_per_k: Number = Field(0.4, ge=0, le=1e4, description="From wall to substrate. Default 0.4.")
    air_substrate_w_per_k: Number = Field(0.6, ge=0, le=1e4, description="From air to substrate. Default 0.6.")
    wall_room_w_per_k: Number = Field(0.15, ge=0, le=1e4, description="From wall to room. Default 0.15.")
    air_room_w_per_k: Number = Field(0.3, ge=0, le=1e4, description="From air to room. Default 0.3.")
    substrate_room_w_per_k: Number = Field(0.2, ge=0, le=1e4, description="From substrate to room. Default 0.2.")
    mat_w: Number = Field(8.0, ge=0, le=200, description="Heat of the mat in watts. Default 8.")


FaultKind = Literal[
    "probe-dead",
    "probe-stuck",
    "probe-offset",
    "probe-drift",
    "probe-noise",
    "probe-spike",
    "probe-hang",
    "probe-elsewhere",
    "relay-welded",
    "relay-open",
    "relay-readback-wrong",
    "mat-unplugged",
    "mat-power",
    "mat-covered",
    "lid-off",
    "room-offset",
]


class FaultRow(Row):
    """Something that goes wrong on the simulated shelf."""

    kind: FaultKind = Field(description="What goes wrong.")
    subject: Id = Field(description="Id of the probe (probe-...) or tub (all others) it strikes; room for room-offset.")
    at_h: Number = Field(ge=0, le=100_000, description="Hours from the start until it begins.")
    until_h: Number | None = Field(
        None, gt=0, le=100_000, description="Hours from the start until it ends. Default: never."
    )
    amount: Number | None = Field(
        None,
        description="How much: a temperature difference (probe-offset, -noise, -spike, room-offset), one per hour "
        "(probe-drift), or a factor (mat-power, mat-covered, lid-off).",
    )
    place: str | None = Field(
        None,
        pattern=PLACE,
        max_length=80,
        description="Where the probe of probe-elsewhere lies: room, or a tub's wall, air or substrate, as alder/air.",
    )
