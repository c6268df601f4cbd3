"""The too-dry alarm through the running station, and through the whole program with its record."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from helpers_station import Bench, House, alarms, house, probe, pushes, tub
from matwarden.core.moist_air import vapour_pressure_deficit_kpa
from matwarden.core.units import parse_rfc3339
from matwarden.events import DigestMade, Readings
from matwarden.settings import load
from matwarden.sinks.store_read import Recorded
from matwarden.terms import AlarmState, Priority, ProbeTerms, Quantity, Role, Side
from matwarden_hardware.ports import ProbeError, Sample

_HOUR_S = 3600.0
_DRY = "too-dry/oak"
# 25 C: deficits of 1.743, 1.585, 1.268 and 0.792 kPa (CoolProp 8.0.0).
_TOO_DRY_PCT, _NEARLY_PCT, _WELL_PCT, _MOIST_PCT = 45.0, 50.0, 60.0, 75.0


def air(id: str = "oak-air", side: Side | None = Side.MOIST) -> ProbeTerms:
    return replace(probe(id, Role.AIR), side=side)


def bench(*probes: ProbeTerms, limit_kpa: float | None = 1.6) -> Bench:
    """Oak without a mat, too dry from 1.6 kPa for six hours on."""
    oak = tub(probes=probes or (air(),), mat=None)
    return Bench(replace(oak, alarms=replace(oak.alarms, too_dry_kpa=limit_kpa)))


def say(on: Bench, humidity_pct: float | None, probe: str = "oak-air", celsius: float = 25.0) -> None:
    on.probes[probe].says = Sample(celsius, humidity_pct)


def test_six_dry_hours_ring_once_and_low() -> None:
    """One low push that tells the humidity and what to do; none before six hours, none after."""
    on = bench()
    say(on, _TOO_DRY_PCT)
    on.run(6 * _HOUR_S - 60.0)
    assert pushes(on.told, _DRY) == []
    on.run(18 * _HOUR_S)
    (push,) = pushes(on.told, _DRY)
    assert push.priority is Priority.LOW
    assert push.title == "Oak: too dry"
    assert push.body.startswith("Oak has been too dry for 6 h (humidity 45 %, VPD 1.7 kPa), now 25.0 °C. Moisten the")


def test_it_returns_after_moistening() -> None:
    """Over as soon as the air is 0.2 kPa better for five minutes, and told."""
    on = bench()
    say(on, _TOO_DRY_PCT)
    on.run(7 * _HOUR_S)
    say(on, _MOIST_PCT)
    on.run(600.0)
    assert alarms(on.told, _DRY) == [AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL]
    assert pushes(on.told, _DRY)[-1].title == "Oak: no longer too dry"


def test_heat_cycles_ring_nothing() -> None:
    """Three days of a mat that dries the air for 15 of every 40 minutes."""
    on = bench()
    for _ in range(108):
        say(on, 40.0, celsius=25.4)
        on.run(900.0)
        say(on, _WELL_PCT)
        on.run(1500.0)
    assert alarms(on.told, _DRY) == []


def test_inside_its_deadband_the_delay_goes_on_but_nothing_rings() -> None:
    """Dry for five hours, then just under the limit: told only when it is over the limit again."""
    on = bench()
    say(on, _TOO_DRY_PCT)
    on.run(5 * _HOUR_S)
    say(on, _NEARLY_PCT)
    on.run(5 * _HOUR_S)
    assert alarms(on.told, _DRY) == []
    say(on, _TOO_DRY_PCT)
    on.run(60.0)
    assert alarms(on.told, _DRY) == [AlarmState.UNACKNOWLEDGED]


@pytest.mark.parametrize("side", [Side.MOIST, None])
def test_the_moist_side_or_an_untold_one_is_judged(side: Side | None) -> None:
    """A single probe whose keeper did not say where it sits is better than none."""
    on = bench(air(side=side))
    say(on, _TOO_DRY_PCT)
    on.run(7 * _HOUR_S)
    assert alarms(on.told, _DRY) == [AlarmState.UNACKNOWLEDGED]


def test_a_dry_side_alone_never_rings() -> None:
    """It is meant to be dry; nor does such a tub have the alarm."""
    on = bench(air(side=Side.DRY))
    say(on, 20.0)
    on.run(48 * _HOUR_S)
    assert alarms(on.told, _DRY) == []
    assert _DRY not in on.station.alarm_ids()


def test_a_probe_without_humidity_never_rings() -> None:
    """However hot it gets."""
    on = bench()
    say(on, None, celsius=27.5)
    on.run(48 * _HOUR_S)
    assert alarms(on.told, _DRY) == []


def test_substrate_is_not_judged() -> None:
    """Only air has a lid and vents."""
    on = bench(probe("oak-air", Role.AIR), replace(probe("oak-soil", Role.SUBSTRATE), side=Side.MOIST))
    say(on, None)
    say(on, 20.0, "oak-soil")
    on.run(12 * _HOUR_S)
    assert alarms(on.told, _DRY) == []


def test_of_two_sides_the_moist_one_decides() -> None:
    """A dry dry side rings nothing; a dry moist side rings though the other is wet."""
    on = bench(air("oak-moist"), air("oak-dry", Side.DRY))
    say(on, _MOIST_PCT, "oak-moist")
    say(on, 30.0, "oak-dry")
    on.run(12 * _HOUR_S)
    assert alarms(on.told, _DRY) == []
    say(on, 30.0, "oak-moist")
    say(on, 95.0, "oak-dry")
    on.run(7 * _HOUR_S)
    assert alarms(on.told, _DRY) == [AlarmState.UNACKNOWLEDGED]


def test_a_probe_stuck_at_saturation_hides_no_dry_one_and_rings_nothing() -> None:
    """Condensation holds cheap probes at 100 % for hours (common practice, no source)."""
    on = bench(air("oak-air-1"), air("oak-air-2"))
    say(on, 100.0, "oak-air-1")
    say(on, 100.0, "oak-air-2")
    on.run(24 * _HOUR_S)
    assert alarms(on.told, _DRY) == []
    say(on, _TOO_DRY_PCT, "oak-air-2")
    on.run(7 * _HOUR_S)
    assert alarms(on.told, _DRY) == [AlarmState.UNACKNOWLEDGED]


@pytest.mark.parametrize("silence", [Sample(25.0, None), Sample(25.0, 140.0), ProbeError("nothing answers")])
def test_missing_humidity_is_neither_dry_nor_moist(silence: Sample | ProbeError) -> None:
    """Four dry hours and a day without humidity ring nothing; two more dry hours do, and silence does not end it."""
    on = bench()
    say(on, _TOO_DRY_PCT)
    on.run(4 * _HOUR_S)
    on.probes["oak-air"].says = silence
    on.run(24 * _HOUR_S)
    assert alarms(on.told, _DRY) == []
    say(on, _TOO_DRY_PCT)
    on.run(2.2 * _HOUR_S)
    on.probes["oak-air"].says = silence
    on.run(6 * _HOUR_S)
    assert alarms(on.told, _DRY) == [AlarmState.UNACKNOWLEDGED]


def test_no_other_probe_stands_in_for_a_moist_one_that_fell_silent() -> None:
    """The untold one may sit anywhere: as long as the moist side told its humidity once, only it is judged."""
    on = bench(air("oak-moist"), air("oak-lid", None))
    say(on, _MOIST_PCT, "oak-moist")
    say(on, 20.0, "oak-lid")
    on.run(_HOUR_S)
    say(on, None, "oak-moist")
    on.run(24 * _HOUR_S)
    assert alarms(on.told, _DRY) == []


def test_zero_turns_it_off() -> None:
    """A tub without a limit does not have the alarm."""
    on = bench(limit_kpa=None)
    say(on, 10.0)
    on.run(12 * _HOUR_S)
    assert _DRY not in on.station.alarm_ids()
    assert alarms(on.told, _DRY) == []


def damp_house(directory: Path, limit_kpa: float) -> House:
    """The whole program; its simulated tub's probe measures humidity too, over a damp substrate."""
    alarm_lines = f"inverse = false\ntoo_dry_kpa = {limit_kpa}\ntoo_dry_after_h = 2"
    house(directory, alarms=alarm_lines)
    file = directory / "matwarden.toml"
    text = file.read_text(encoding="utf-8").replace("noise = 0.02", 'noise = 0.02\nhumidity = true\nside = "moist"', 1)
    file.write_text(text, encoding="utf-8")
    return House(load(file))


def test_through_restarts_it_waits_once_and_rings_once(tmp_path: Path) -> None:
    """The real record: an hour and a half before a restart and half an hour after it are two hours; no second push."""
    shelf = damp_house(tmp_path, 0.05)
    shelf.pass_time(1.5 * _HOUR_S)
    assert shelf.told(Readings)[-1].taken[0].humidity_pct is not None
    shelf.restart()
    shelf.pass_time(_HOUR_S)
    shelf.restart()
    shelf.pass_time(5 * _HOUR_S)
    shelf.close()
    assert len(pushes(shelf.collector.events, _DRY)) == 1
    assert [title for title in shelf.pushed() if "too dry" in title] != []
    recorded = Recorded(shelf.settings.store.directory)
    assert any(row.quantity is Quantity.HUMIDITY for row in recorded.latest_readings())


def test_a_damp_tub_of_the_twin_rings_nothing_and_its_digest_tells_how_moist_it_was(tmp_path: Path) -> None:
    """Two days over damp substrate, with a mat that warms: the default limit is lenient; the record has the figures."""
    shelf = damp_house(tmp_path, 1.6)
    shelf.pass_time(48 * _HOUR_S)
    shelf.close()
    assert pushes(shelf.collector.events, _DRY) == []
    digest = shelf.told(DigestMade)[-1]
    assert "  VPD 0." in digest.text
    (moist,) = digest.document["enclosures"][0]["humidity"]
    readings = [r for event in shelf.told(Readings) for r in event.taken if r.probe == "oak-air"]
    begun_s = parse_rfc3339(digest.document["from"])
    night = [r for r in readings if begun_s <= r.at.wall_s < begun_s + digest.document["lasts_s"]]
    deficits_kpa = [vapour_pressure_deficit_kpa(r.temperature_c, r.humidity_pct) for r in night]
    assert moist["lowest"]["value_pct"] == pytest.approx(min(r.humidity_pct for r in night))
    # The record keeps thousandths.
    assert moist["vapour_pressure_deficit"]["highest"]["value_kpa"] == pytest.approx(max(deficits_kpa), abs=2e-3)
    assert moist["vapour_pressure_deficit"]["mean_kpa"] == pytest.approx(sum(deficits_kpa) / len(night), abs=2e-3)
