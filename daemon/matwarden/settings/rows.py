"""The tables of the settings file, as written: one model a table, in the keeper's units, unknown keys refused.

These models carry each key's meaning, default and range, and so are the source of the JSON Schema. What needs two keys
at once is judged in `tubs`, `mats`, `services` and `simulated`. A default of None in a temperature means the number
told in its description, which does not depend on the unit of the file.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

ID = r"^[a-z0-9]([a-z0-9-]*[a-z0-9])?$"
TEXT = r"^[^\x00-\x1f\x7f]*[^\x00-\x20\x7f][^\x00-\x1f\x7f]*$"
FILE_PATH = r"^[^\x00]+$"
TIME_OF_DAY = r"^([01][0-9]|2[0-3]):[0-5][0-9]$"
INSTANT = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z$"
ONE_WIRE = r"^28-[0-9a-fA-F]{12}$"
I2C = r"^(0x|[0-9]{1,3}-00)[0-7][0-9a-fA-F]$"
GPIO_CHIP = r"^/dev/gpiochip[0-9]+$"
PLACE = r"^(room|[a-z0-9]([a-z0-9-]*[a-z0-9])?/(wall|air|substrate))$"
HOST = r"^[^\x00-\x20/@]+$"

Id = Annotated[str, Field(pattern=ID, max_length=64)]
Text = Annotated[str, Field(pattern=TEXT, max_length=60)]
FilePath = Annotated[str, Field(pattern=FILE_PATH)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Role = Literal["air", "wall", "substrate", "room"]


class Row(BaseModel):
    """Common manners: exact types, no unknown key, each key judged on its own when assigned."""

    model_config = ConfigDict(extra="forbid", strict=True, validate_assignment=True)


class House(Row):
    """The installation as a whole."""

    id: Id = Field(description="Id of this station, also its MQTT device id: small letters, digits, hyphens.")
    name: Text | None = Field(None, description="Name for people. Default: the id, capitalised.")
    temperature_unit: Literal["C", "F"] = Field(
        description="Unit of every temperature in this file and of everything people are shown."
    )
    zone: Text = Field(description="IANA time zone, as Europe/Amsterdam; decides when the digest is due.")


class Polling(Row):
    """How often probes are read and how readings are judged."""

    every_s: Number = Field(10.0, ge=1, le=300, description="Seconds between two readings of a probe. Default 10.")
    deadline_s: Number = Field(
        5.0, ge=0.5, le=60, description="Seconds a reading may take; shorter than every_s. Default 5."
    )
    stale_after_s: Number = Field(
        60.0,
        ge=3,
        le=1800,
        description="Seconds after which a reading counts no more; at least 3 polls. Default 60.",
    )
    max_rate_per_min: Number | None = Field(
        None, description="Change per minute that is doubted, a temperature difference. Default 3 C (5.4 F)."
    )


class AlarmKeys(Row):
    """Keys that stand in [alarms] for the whole house and in [[enclosure]] for one tub."""

    cold_after_min: Number | None = Field(
        None, ge=0, le=1440, description="Minutes below the band before the cold alarm. Default 60."
    )
    hot_after_min: Number | None = Field(
        None, ge=0, le=1440, description="Minutes above the band before the hot alarm. Default 60."
    )
    blind_after_min: Number | None = Field(
        None,
        ge=1,
        le=1440,
        description="Minutes without a usable reading before the blind alarm. Default 10.",
    )
    clear_after_min: Number | None = Field(
        None, ge=0, le=1440, description="Minutes all must be well before an alarm ends. Default 5."
    )
    deadband: Number | None = Field(
        None,
        description="How far back inside the band ends an alarm, a temperature difference. Default 0.5 C (0.9 F).",
    )
    inverse: bool | None = Field(
        None, description="Whether cold and hot ring the sooner the further out of the band. Default true."
    )
    inverse_pickup: Number | None = Field(
        None, description="What a deviation is a multiple of, a temperature difference. Default 1 C (1.8 F)."
    )
    inverse_k_min: Number | None = Field(
        None, gt=0, le=1440, description="Constant k of the inverse-time curve, in minutes. Default 13.5."
    )
    inverse_c_min: Number | None = Field(
        None, ge=0, le=1440, description="Constant c of the inverse-time curve, in minutes. Default 0."
    )
    inverse_alpha: Number | None = Field(
        None, ge=0.01, le=4, description="Exponent of the inverse-time curve. Default 1."
    )
    inverse_reset_min: Number | None = Field(
        None, ge=1, le=1440, description="Minutes in the band in which a whole dose decays. Default 60."
    )


class Alarms(AlarmKeys):
    """When a person is told: sustained cold or heat, or no usable reading; and who, if nobody acknowledges it."""

    ring_again_min: Number | None = Field(
        None,
        ge=0,
        le=1440,
        description="Minutes a high alarm may stay unacknowledged before it rings again; 0: never. Default 15.",
    )
    second_after_min: Number | None = Field(
        None,
        ge=0,
        le=1440,
        description="Minutes until it rings at the second targets too; 0: never. Default 30.",
    )
    re_alarm_h: Number | None = Field(
        None,
        ge=0,
        le=720,
        description="Hours after which an acknowledged alarm that still stands rings anew; 0: never. Default 0.",
    )
    together_tubs: int = Field(
        3, ge=0, le=1000, description="From as many tubs on cold, hot or blind ring as one; 0: never. Default 3."
    )
    shelve_at_most_h: Number = Field(
        24.0, ge=0.1, le=720, description="Hours an alarm can be shelved at most. Default 24."
    )


class EnclosureRow(AlarmKeys):
    """One tub. Alarm keys given here replace those of [alarms] for this tub."""

    id: Id = Field(description="Id of the tub: small letters, digits, hyphens; not room or house.")
    name: Text | None = Field(None, description="Name for people. Default: the id, capitalised.")
    band_low: Number | None = Field(None, description="Low edge of the band. Default 22.22 C (72 F).")
    band_high: Number | None = Field(None, description="High edge of the band. Default 27.78 C (82 F).")


class ProbeRow(Row):
    """One probe; the keys every driver has."""

    id: Id = Field(description="Id of the probe, unique in the house.")
    role: Role = Field(description="What it tells about; wall means the wall at the mat.")
    enclosure: Id | None = Field(None, description="Id of its tub; none for the role room.")
    side: Literal["moist", "dry"] | None = Field(
        None, description="Side of the tub it sits in, if one is kept moister."
    )
    offset: Number | None = Field(None, description="Added to each reading, a temperature difference. Default 0.")
    checked: date | None = Field(
        None,
        description="Day of its last check beside a reference thermometer, as 2026-10-03 without quotes.",
    )
    every_s: Number | None = Field(
        None, ge=1, le=300, description="Seconds between its readings. Default: every_s of [polling]."
    )
    driver: Literal["one-wire", "iio", "hwmon", "dht22", "twin"] = Field(description="How it is read.")


class OneWireProbe(ProbeRow):
    """A probe on the 1-wire bus."""

    driver: Literal["one-wire"] = Field(description="Read on the 1-wire bus.")
    address: str = Field(pattern=ONE_WIRE, description="Its serial number on the bus: 28- and twelve hex digits.")


class IioProbe(ProbeRow):
    """A probe of the kernel's industrial I/O devices."""

    driver: Literal["iio"] = Field(description="Read as an industrial I/O device of the kernel.")
    device: Text = Field(description="Name of the device or of its platform device, as dht11@4.")


class HwmonProbe(ProbeRow):
    """A probe of the kernel's hardware monitoring."""

    driver: Literal["hwmon"] = Field(description="Read as a hardware monitoring chip of the kernel.")
    chip: Text = Field(description="Name of the chip, as sht4x.")
    address: str | None = Field(
        None,
        pattern=I2C,
        description="Its address on the I2C bus, as 0x44, or as 1-0044 with its bus; needed for two of a kind.",
    )


class Dht22Probe(ProbeRow):
    """A DHT22 (AM2302) on a pin of the header, read by the program itself."""

    driver: Literal["dht22"] = Field(description="A DHT22 or AM2302, read by a process of its own.")
    pin: int = Field(ge=0, le=27, description="The pin of its data wire, as a GPIO number (BCM), not as a place.")
    use_pulseio: bool = Field(
        True, description="Whether a compiled helper times its pulses; false: from Python. Default true."
    )


class TwinProbe(ProbeRow):
    """A probe of the simulated shelf."""

    driver: Literal["twin"] = Field(description="Read from the simulated shelf.")
    node: Literal["air", "wall", "substrate"] | None = Field(
        None, description="The part of the twin it truly sits in. Default: its role."
    )
    noise: Number | None = Field(
        None, description="Standard deviation of its noise, a temperature difference. Default 0."
    )
    resolution: Number | None = Field(
        None, description="Its smallest step, a temperature difference. Default 0.0625 C."
    )
    humidity: bool = Field(False, description="Whether it reads humidity too, in air or substrate. Default false.")


class MatRow(Row):
    """One mat, the limits its guard holds it to, and its relay; the keys every driver has."""

    enclosure: Id = Field(description="Id of the tub it warms.")
    placement: Literal["side", "back"] = Field(description="The wall it sits on. Never below, never a lamp.")
    watts: Number | None = Field(None, gt=0, le=200, description="Rated power in watts.")
    setpoint: Number | None = Field(
        None,
        description="Middle of the air temperature that is held (of the wall, without an air probe). "
        "Default 25 C (77 F).",
    )
    hysteresis: Number | None = Field(
        None, description="Between heat on and heat off, a temperature difference. Default 1 C (1.8 F)."
    )
    limiter: Number | None = Field(
        None, description="Wall temperature that cuts heat until it has fallen. Default 28.5 C (83.3 F)."
    )
    cut_out: Number | None = Field(
        None,
        description="Software cut-out: trips until a person resets it. Default 30 C (86 F), never over 31 C.",
    )
    differential: Number | None = Field(
        None,
        description="How far under limiter or cut-out ends that cause, a temperature difference. Default 1 C (1.8 F).",
    )
    minimum_on_s: Number = Field(
        60.0, ge=0, le=600, description="Seconds heat stays on at least; any danger cuts at once. Default 60."
    )
    minimum_off_s: Number = Field(180.0, ge=10, le=1800, description="Seconds heat stays off at least. Default 180.")
    memory_min: Number = Field(
        30.0,
        ge=1,
        le=240,
        description="Minutes after heating in which a cut-out is the mat's doing. Default 30.",
    )
    prove_readings: int = Field(
        3, ge=1, le=20, description="Good readings in a row before heat may be allowed. Default 3."
    )
    rated_operations: int = Field(
        100_000, ge=1000, le=100_000_000, description="Switchings the relay is made for. Default 100000."
    )
    driver: Literal["gpio", "twin"] = Field(description="How its relay is driven.")


class GpioMat(MatRow):
    """A mat behind a relay on a GPIO line."""

    driver: Literal["gpio"] = Field(description="Its relay is driven by a GPIO line.")
    chip: str = Field(pattern=GPIO_CHIP, description="The GPIO chip, as /dev/gpiochip0.")
    line: int = Field(ge=0, le=511, description="The line's number on that chip.")
    active: Literal["high", "low"] = Field(description="The level at which the relay lets the mat have power.")


class TwinMat(MatRow):
    """A mat behind a relay of the simulated shelf."""

    driver: Literal["twin"] = Field(description="Its relay is simulated.")


class PermitRow(Row):
    """A second line that changes its level only at the end of each complete control cycle."""

    driver: Literal["gpio", "twin"] = Field(description="How the permit is driven.")


class GpioPermit(PermitRow):
    """A permit on a GPIO line, for a part outside the Pi that takes the relays' supply away when it stays still."""

    driver: Literal["gpio"] = Field(description="The permit is a GPIO line.")
    chip: str = Field(pattern=GPIO_CHIP, description="The GPIO chip, as /dev/gpiochip0.")
    line: int = Field(ge=0, le=511, description="The line's number on that chip.")


class TwinPermit(PermitRow):
    """A permit of the simulated shelf, which only writes its levels down."""

    driver: Literal["twin"] = Field(description="The permit is simulated.")


class Store(Row):
    """Where everything recorded is kept."""

    directory: FilePath = Field("/var/lib/matwarden", description="Directory. Default /var/lib/matwarden.")
    commit_every_s: Number = Field(
        300.0, ge=1, le=300, description="Seconds of readings a power cut may cost. Default 300."
    )
    keep_raw_days: int = Field(400, ge=2, le=3650, description="Days single readings are kept. Default 400.")
    keep_free_mb: int = Field(
        500,
        ge=100,
        le=1_000_000,
        description="Megabytes of the disk left free: the oldest readings go before there are fewer. Default 500.",
    )


class Control(Row):
    """Where the keeper's commands reach the running station."""

    socket: FilePath = Field("/run/matwarden/control.sock", description="Default /run/matwarden/control.sock.")


class Mqtt(Row):
    """A broker that is told everything. Leave the table out to publish nothing."""

    host: str = Field(pattern=HOST, max_length=253, description="The broker's host name or address.")
    port: int | None = Field(None, ge=1, le=65535, description="Default 1883, with tls 8883.")
    protocol: Literal["5", "3.1.1"] = Field("5", description="MQTT version. Default 5.")
    username: Text | None = Field(None, description="User name at the broker.")
    password_file: FilePath | None = Field(
        None, description="File that holds the password and nothing else, or credential:NAME."
    )
    tls: bool = Field(False, description="Whether the connection is encrypted. Default false.")
    ca_file: FilePath | None = Field(
        None, description="Certificate authority of the broker. Default: those of the system."
    )
    certificate_file: FilePath | None = Field(None, description="Client certificate, if the broker asks for one.")
    key_file: FilePath | None = Field(None, description="Private key of the client certificate.")
    topic_domain: Id = Field("homie", description="First part of every topic. Default homie.")
    qos: Literal[1, 2] = Field(1, description="Quality of service of all topics. Default 1.")
    will_delay_s: int = Field(
        30,
        ge=0,
        le=3600,
        description="Seconds before the broker reports a lost station (MQTT 5). Default 30.",
    )
    expire_after_s: int | None = Field(
        None, ge=1, le=86400, description="Seconds the broker keeps a reading (MQTT 5). Default 5 polls."
    )


class PushTargetRow(Row):
    """One phone or service that gets every push: exactly one of url_file and url."""

    name: Id = Field(description="What logs call it.")
    url_file: FilePath | None = Field(
        None, description="File whose first line is the address of the service, or credential:NAME."
    )
    url: Annotated[str, Field(pattern=TEXT, max_length=2000)] | None = Field(
        None,
        description="The address itself, if it holds no secret: file:PATH, or a service on this machine.",
    )


class Push(Row):
    """Messages to a phone. Leave the table out to push nothing."""

    give_up_after_h: Number = Field(72.0, ge=1, le=720, description="Hours a push is tried. Default 72.")
    keep: int = Field(1000, ge=10, le=100_000, description="Pushes kept at most. Default 1000.")
    target: list[PushTargetRow] = Field(description="Who gets every push.")


class Digest(Row):
    """The nightly summary."""

    at: str = Field("08:00", pattern=TIME_OF_DAY, description="Local time of day, HH:MM. Default 08:00.")
    enabled: bool = Field(True, description="Whether it is made. Default true.")


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


AnyProbe = Annotated[OneWireProbe | IioProbe | HwmonProbe | Dht22Probe | TwinProbe, Field(discriminator="driver")]
AnyMat = Annotated[GpioMat | TwinMat, Field(discriminator="driver")]
AnyPermit = Annotated[GpioPermit | TwinPermit, Field(discriminator="driver")]


class SettingsFile(Row):
    """The whole file."""

    house: House
    polling: Polling | None = None
    alarms: Alarms | None = None
    enclosure: list[EnclosureRow] = Field(min_length=1)
    probe: list[AnyProbe] = Field(min_length=1)
    mat: list[AnyMat] = Field([])
    permit: AnyPermit | None = None
    store: Store | None = None
    control: Control | None = None
    mqtt: Mqtt | None = None
    push: Push | None = None
    digest: Digest | None = None
    simulation: Simulation | None = None
    twin: list[TwinRow] = Field([])
    fault: list[FaultRow] = Field([])
