"""A sound file, value by value: what the station will really use."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import REAL, TWIN, checked, edited
from matwarden.settings import Settings
from matwarden.settings.resolved import (
    Dht22,
    FaultTerms,
    GpioRelay,
    Hwmon,
    Iio,
    OneWire,
    RoomFile,
    RoomFormula,
    RoomPlan,
    SimulationSettings,
    TwinProbe,
    TwinRelay,
)
from matwarden.sinks.mqtt_terms import MqttTerms
from matwarden.sinks.push_terms import PushTarget, PushTerms
from matwarden.terms import AlarmTimes, InverseTime, MatTerms, Placement, ProbeTerms, Role, Side


def sound(tmp_path: Path, text: str) -> Settings:
    """The settings of a text that must be sound."""
    settings = checked(tmp_path, text).settings
    assert settings is not None
    return settings


def simulated(tmp_path: Path, *edits: tuple[str, str]) -> SimulationSettings:
    """The simulation of the twin file with edits."""
    simulation = sound(tmp_path, edited(TWIN, *edits)).simulation
    assert simulation is not None
    return simulation


def test_a_probe(tmp_path: Path) -> None:
    """A probe carries its role, place and offset, and the times of [polling]."""
    assert sound(tmp_path, REAL).enclosures[0].probes[1] == ProbeTerms(
        id="oak-air",
        role=Role.AIR,
        enclosure="oak",
        side=Side.MOIST,
        poll_s=10.0,
        deadline_s=5.0,
        stale_s=60.0,
        max_rate_k_per_min=3.0,
        offset_k=-0.2,
    )


def test_a_probe_may_be_polled_at_its_own_pace(tmp_path: Path) -> None:
    """A probe's own every_s replaces that of [polling] for this probe only; when it is stale stays the house's."""
    text = edited(REAL, ('device = "dht11@4"', 'device = "dht11@4"\nevery_s = 20'))
    oak, rowan = sound(tmp_path, text).enclosures

    assert [(probe.poll_s, probe.stale_s) for probe in (*oak.probes, *rowan.probes)] == [
        (10.0, 60.0),
        (10.0, 60.0),
        (20.0, 60.0),
    ]


def test_a_room_probe_belongs_to_no_tub(tmp_path: Path) -> None:
    """A probe of the room stands beside the tubs, not in one."""
    settings = sound(tmp_path, REAL)

    assert [(probe.id, probe.enclosure) for probe in settings.room_probes] == [("room", None)]
    assert "room" not in [probe.id for tub in settings.enclosures for probe in tub.probes]


def test_a_mat(tmp_path: Path) -> None:
    """A mat carries every limit its guard holds it to."""
    assert sound(tmp_path, REAL).enclosures[0].mat == MatTerms(
        placement=Placement.SIDE,
        watts_w=7.0,
        setpoint_c=25.0,
        hysteresis_k=1.0,
        limiter_c=28.5,
        cut_out_c=30.0,
        differential_k=1.0,
        minimum_on_s=60.0,
        minimum_off_s=180.0,
        memory_s=1800.0,
        prove_n=3,
        rated_operations=100_000,
    )


def test_a_tub_without_a_mat_is_only_watched(tmp_path: Path) -> None:
    """A tub with no [[mat]] has no mat and no relay, and its alarms all the same."""
    settings = sound(tmp_path, REAL)

    assert settings.enclosures[1].mat is None
    assert list(settings.relay_drivers) == ["oak"]
    assert settings.enclosures[1].alarms == AlarmTimes(
        3600.0,
        3600.0,
        600.0,
        300.0,
        0.5,
        InverseTime(1.0, 810.0, 0.0, 1.0, 3600.0),
        900.0,
        1800.0,
        None,
        too_dry_kpa=1.6,
    )


def test_how_probes_are_opened(tmp_path: Path) -> None:
    """Each probe's driver has what identifies its part, in small letters."""
    text = edited(REAL, ('"28-0316a2793f01"', '"28-0316A2793F01"'))

    assert sound(tmp_path, text).probe_drivers == {
        "oak-wall": OneWire("28-0316a2793f01"),
        "oak-air": OneWire("28-0316a2793f02"),
        "rowan-air": Iio("dht11@4"),
        "room": Hwmon("sht4x", "0x44"),
    }


@pytest.mark.parametrize(("more", "use_pulseio"), [("", True), ("\nuse_pulseio = false", False)])
def test_how_a_dht22_is_opened(more: str, use_pulseio: bool, tmp_path: Path) -> None:
    """It has the pin as written; its pulses are timed by the helper unless the file says no."""
    text = edited(REAL, ('driver = "iio"\ndevice = "dht11@4"', f'driver = "dht22"\npin = 4{more}'))

    assert sound(tmp_path, text).probe_drivers["rowan-air"] == Dht22(4, use_pulseio)


@pytest.mark.parametrize(("active", "active_high"), [("low", False), ("high", True)])
def test_the_polarity_of_a_relay_is_the_one_written(active: str, active_high: bool, tmp_path: Path) -> None:
    """`active` says at which level power is allowed; nothing turns it round."""
    text = edited(REAL, ('active = "high"', f'active = "{active}"'))

    assert sound(tmp_path, text).relay_drivers == {"oak": GpioRelay("/dev/gpiochip0", 17, active_high)}


def test_the_sinks(tmp_path: Path) -> None:
    """Broker and pushes carry what was written and the defaults of the rest."""
    settings = sound(tmp_path, REAL)

    assert settings.mqtt == MqttTerms(host="localhost", username="shelf-1", expire_after_s=50)
    assert settings.push == PushTerms((PushTarget("paper", f"file:{tmp_path}/pushes.txt"),), 259_200.0, 1000)


def test_what_is_left_out_is_off(tmp_path: Path) -> None:
    """Without their tables there is no broker, no push and no simulation; the digest is on."""
    settings = sound(tmp_path, TWIN)

    assert (settings.mqtt, settings.push) == (None, None)
    assert sound(tmp_path, REAL).simulation is None
    assert (settings.digest.at, settings.digest.enabled) == ("08:00", True)


def test_a_push_target_in_a_file_of_its_own(tmp_path: Path) -> None:
    """A url_file is kept as an absolute path; the file's content is not read."""
    (tmp_path / "phone").write_bytes(b"\xff not even text")
    (tmp_path / "phone").chmod(0o600)
    push = sound(tmp_path, edited(REAL, ('url = "file:pushes.txt"', 'url_file = "phone"'))).push

    assert push is not None
    assert push.targets == (PushTarget("paper", url_file=f"{tmp_path}/phone"),)


def test_twin_drivers(tmp_path: Path) -> None:
    """A twin probe sits where its role says, unless node puts it elsewhere."""
    text = edited(TWIN, ('id = "oak-wall"', 'id = "oak-wall"\nnode = "substrate"\nnoise = 0.1\nresolution = 0.1'))
    settings = sound(tmp_path, text)

    assert settings.probe_drivers == {
        "oak-wall": TwinProbe("oak", "substrate", 0.1, 0.1, False),
        "oak-air": TwinProbe("oak", "air", 0.0, 0.0625, True),
        "room": TwinProbe(None, "room", 0.0, 0.0625, False),
    }
    assert settings.relay_drivers == {"oak": TwinRelay("oak")}


def test_a_simulation(tmp_path: Path) -> None:
    """The simulation starts at its instant (2026-01-16T17:00:00Z is 1768582800 by date(1)) with its faults."""
    simulation = simulated(tmp_path)

    assert simulation.start_wall_s == 1_768_582_800.0
    assert (simulation.step_s, simulation.days, simulation.as_fast_as_possible) == (10.0, 3.0, True)
    assert (simulation.seed, simulation.record, simulation.start_c) == (1, None, None)
    assert simulation.faults == (FaultTerms("probe-offset", "oak-air", 36_000.0, 43_200.0, 2.0),)
    assert [twin.enclosure for twin in simulation.twins] == ["oak"]


def test_the_three_kinds_of_room(tmp_path: Path) -> None:
    """A room is a formula, a plan of the day, or a file."""
    (tmp_path / "room.csv").write_text("time,temperature_c\n", encoding="utf-8")
    room = "mean = 18.0\nswing = 3.0"

    assert simulated(tmp_path).room == RoomFormula(18.0, 3.0, 15.0, 0.0)
    plan = simulated(tmp_path, (room, "plan = [[6, 17], [8, 20.5]]\ndrift_per_day = -0.5")).room
    assert plan == RoomPlan(((6.0, 17.0), (8.0, 20.5)), -0.5)
    assert simulated(tmp_path, (room, 'file = "room.csv"')).room == RoomFile(tmp_path / "room.csv")


@pytest.mark.parametrize(("first", "second"), [("0x44", "0x45"), ("1-0044", "3-0044"), ("0x44", "1-0045")])
def test_chips_at_addresses_of_their_own_may_be_of_a_kind(tmp_path: Path, first: str, second: str) -> None:
    """Two sensors of one name are sound where no address of one can mean the other."""
    more = f'[[probe]]\nid = "room-2"\nrole = "room"\ndriver = "hwmon"\nchip = "sht4x"\naddress = "{second}"\n\n[[mat]]'
    settings = sound(tmp_path, edited(REAL, ('address = "0x44"', f'address = "{first}"'), ("[[mat]]", more)))
    assert settings.probe_drivers["room"] == Hwmon("sht4x", first)
    assert settings.probe_drivers["room-2"] == Hwmon("sht4x", second)


@pytest.mark.parametrize(
    ("house_keys", "tub_keys", "limit_kpa", "after_s"),
    [
        ("", "", 1.6, 21_600.0),
        ("too_dry_kpa = 1.2\ntoo_dry_after_h = 2", "", 1.2, 7200.0),
        ("too_dry_kpa = 1.2", "too_dry_after_h = 0.5", 1.2, 1800.0),
        ("", "too_dry_kpa = 0", None, 21_600.0),
        ("too_dry_kpa = 0", "too_dry_kpa = 2", 2.0, 21_600.0),
    ],
)
def test_how_dry_is_too_dry(
    tmp_path: Path, house_keys: str, tub_keys: str, limit_kpa: float | None, after_s: float
) -> None:
    """The house's keys, or those of the tub in their place; 0 kPa turns the alarm off."""
    text = edited(
        REAL, ("[alarms]\n", f"[alarms]\n{house_keys}\n"), ("band_low = 22.0\n", f"band_low = 22.0\n{tub_keys}\n")
    )
    times = sound(tmp_path, text).enclosures[0].alarms
    assert (times.too_dry_kpa, times.too_dry_after_s) == (limit_kpa, after_s)
