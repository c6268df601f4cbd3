"""The tables of the settings file, as written: one model a table, in the keeper's units, unknown keys refused.

Here those of house, tubs, probes, mats and permit, and the file as a whole; the rest in `service_rows` and
`simulation_rows`.

These models carry each key's meaning, default and range, and so are the source of the JSON Schema. What needs two keys
at once is judged in `tubs`, `mats`, `services` and `simulated`. A default of None in a temperature means the number
told in its description, which does not depend on the unit of the file.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from matwarden.settings.row_parts import GPIO_CHIP, I2C, ONE_WIRE, Id, Number, Role, Row, Text
from matwarden.settings.service_rows import Control, Digest, Heartbeat, Mqtt, Push, Store, Upkeep, WatchRow
from matwarden.settings.simulation_rows import FaultRow, Simulation, TwinRow


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
    too_dry_kpa: Number | None = Field(
        None,
        ge=0,
        le=5,
        description="Vapour-pressure deficit of the moist side's air that is too dry, in kPa; 0: never. Default 1.6.",
    )
    too_dry_after_h: Number | None = Field(
        None, ge=0.5, le=168, description="Hours it must be so dry before the low alarm. Default 6."
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
    upkeep: Upkeep | None = None
    watch: list[WatchRow] = Field([])
    heartbeat: Heartbeat | None = None
    simulation: Simulation | None = None
    twin: list[TwinRow] = Field([])
    fault: list[FaultRow] = Field([])
