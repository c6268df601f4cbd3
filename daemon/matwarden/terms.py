"""The words of the house: what is watched, what was read, what was decided. Values only, SI units in the names.

A missing reading is a value of its own (`Quality.MISSING`, value None): never 0, never NaN, never the last one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import Enum, StrEnum
from typing import NamedTuple

# No setting can raise the software cut-out above this (guard.md, "Orders"): it leaves 0.4 K of warning before the
# 31.4 C that a probe of +-0.5 C accuracy might hide, and is far under what harms the animals for a short time only.
CUT_OUT_CEILING_C = 31.0


class Unit(StrEnum):
    """The temperature unit a keeper chose, for reading the settings file and for everything a person is shown."""

    C = "C"
    F = "F"


class Role(StrEnum):
    """What a probe tells about."""

    AIR = "air"
    WALL = "wall"
    ROOM = "room"
    SUBSTRATE = "substrate"


class Side(StrEnum):
    """Which side of a tub a probe sits in: one is kept moister than the other."""

    MOIST = "moist"
    DRY = "dry"


class Placement(StrEnum):
    """Where a mat may be. There is no third value, on purpose."""

    SIDE = "side"
    BACK = "back"


class Quantity(StrEnum):
    """A measured quantity of a probe."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"


class At(NamedTuple):
    """One instant on both clocks: monotonic seconds, and UTC seconds since 1970 as the machine believed them."""

    mono_s: float
    wall_s: float


@dataclass(frozen=True, slots=True)
class Band:
    """The range of inside temperature that is all right, in degrees Celsius."""

    low_c: float
    high_c: float


@dataclass(frozen=True, slots=True)
class ProbeTerms:
    """One probe: what it tells about and how its samples are judged.

    Attributes:
        enclosure: id of its tub; None for a room probe.
        poll_s: seconds between captures. deadline_s: a capture that takes longer is missing.
        stale_s: a reading older than this is no reading (at least three polls).
        max_rate_k_per_min: a faster change is doubtful until `agree_n` readings in a row agree.
        offset_k: added to every reading (found against a reference thermometer).
        checked_on: local day of the last check against a reference thermometer; None when not told.
    """

    id: str
    role: Role
    enclosure: str | None
    side: Side | None
    poll_s: float
    deadline_s: float
    stale_s: float
    max_rate_k_per_min: float
    offset_k: float
    checked_on: date | None = None


@dataclass(frozen=True, slots=True)
class MatTerms:
    """One mat and the limits its guard holds it to. Temperatures in Celsius, differences in kelvin.

    Attributes:
        differential_k: how far under limiter or cut-out a temperature must fall before that cause is over.
        memory_s: how long after heat was last allowed a cut-out still counts as the mat's own doing.
        prove_n: good readings in a row of each governing role before heat may be allowed.
    """

    placement: Placement
    watts_w: float | None
    setpoint_c: float
    hysteresis_k: float
    limiter_c: float
    cut_out_c: float
    differential_k: float
    minimum_on_s: float
    minimum_off_s: float
    memory_s: float
    prove_n: int
    rated_operations: int


@dataclass(frozen=True, slots=True)
class InverseTime:
    """Constants of one inverse-time curve of IEC 60255-151: the further out of its band, the sooner an alarm rings.

    Attributes:
        pickup_k: what a deviation is a multiple of. reset_s: seconds in which a full dose decays.
    """

    pickup_k: float
    k_s: float
    c_s: float
    alpha: float
    reset_s: float


@dataclass(frozen=True, slots=True)
class AlarmTimes:
    """Delays and deadband of one enclosure's alarms.

    Attributes:
        inverse: the second way for cold and hot to ring; None: only after their delay.
        ring_again_s: seconds a high alarm may stay unacknowledged before it rings again; None: never.
        second_after_s: seconds until it rings at the second targets; None: never.
        re_alarm_s: seconds after which an acknowledged alarm that still stands is announced anew; None: never.
        lost_after_s: of another station that is watched from here, and of the broker.
        too_dry_kpa: vapour-pressure deficit of the moist side's air at which it is too dry; None: never.
    """

    cold_after_s: float
    hot_after_s: float
    blind_after_s: float
    clear_after_s: float
    deadband_k: float
    inverse: InverseTime | None = None
    ring_again_s: float | None = None
    second_after_s: float | None = None
    re_alarm_s: float | None = None
    lost_after_s: float = 300.0
    too_dry_kpa: float | None = None
    too_dry_after_s: float = 21_600.0


@dataclass(frozen=True, slots=True)
class Enclosure:
    """One tub: its band, its probes, its mat if it has one."""

    id: str
    name: str
    band: Band
    probes: tuple[ProbeTerms, ...]
    mat: MatTerms | None
    alarms: AlarmTimes


class Quality(Enum):
    """How far a probe's latest word can be used."""

    GOOD = "good"
    DOUBTFUL = "doubtful"
    MISSING = "missing"


class Seen(NamedTuple):
    """What a probe says at this moment, judged.

    Attributes:
        value_c: the temperature; None exactly when quality is MISSING.
        taken_s: monotonic time of the capture behind it (of the attempt, when MISSING).
        good_run: good readings in a row up to now; 0 unless quality is GOOD.
        why: one clause for DOUBTFUL and MISSING, empty for GOOD.
    """

    quality: Quality
    value_c: float | None
    taken_s: float
    good_run: int
    why: str


class Reading(NamedTuple):
    """One accepted reading: temperature with its offset applied, and humidity where the probe has it."""

    probe: str
    at: At
    temperature_c: float
    humidity_pct: float | None


class Reason(StrEnum):
    """Why heat is cut or allowed: exactly one per verdict, in the order of the guard's table."""

    RELAY_FAULT = "relay-fault"
    TRIPPED = "tripped"
    CUT_OUT = "cut-out"
    HOT_ROOM = "hot-room"
    DOUBTFUL_HEAT = "doubtful-heat"
    BLIND = "blind"
    PROVING = "proving"
    HELD = "held"
    LIMITER = "limiter"
    WARM_ENOUGH = "warm-enough"
    RESTING = "resting"
    BELOW_SETPOINT = "below-setpoint"
    COASTING = "coasting"
    MINIMUM_ON = "minimum-on"


class Verdict(NamedTuple):
    """May heat be allowed? And why."""

    allowed: bool
    reason: Reason


class AlarmState(StrEnum):
    """States of an alarm in the words of ISA-18.2 / IEC 62682; the open restatement is OPC 10000-9."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned-unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched-unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched-acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed-by-design"
    OUT_OF_SERVICE = "out-of-service"


class Priority(StrEnum):
    """How soon a person should act."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class Recipients(StrEnum):
    """Which targets a push is for."""

    FIRST = "first"
    SECOND = "second"  # those that are told only of what nobody acknowledged
    ALL = "all"
