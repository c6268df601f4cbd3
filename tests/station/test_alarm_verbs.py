"""A person's verbs about alarms, over a real socket to a running station on simulated time."""

from __future__ import annotations

import getpass
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from helpers_desk import DAY_S, Desk
from helpers_station import ALARMS, Bench, House, alarms, house, probe, pushes, tub
from matwarden.events import AlarmChanged, PersonDid
from matwarden.report.status_text import status_text
from matwarden.sinks.store_read import Recorded
from matwarden.terms import AlarmState, Role, Unit

S = AlarmState
_HOUR_S = 3600.0
_CALLING = replace(ALARMS, ring_again_s=900.0, second_after_s=1800.0)


class Shelf(Bench):
    """Oak without a mat, calling again and again, with a desk at which to ask."""

    def __init__(self, directory: Path) -> None:
        oak = replace(tub("oak", (probe("oak-air", Role.AIR),), mat=None), alarms=_CALLING)
        super().__init__(oak, replace(tub("alder", (probe("alder-air", Role.AIR),), mat=None), alarms=_CALLING))
        self.desk = Desk(directory, self.station, self.cycle)

    def cold(self, for_s: float = _HOUR_S + 60.0) -> None:
        self.set(oak_air=20.0)
        self.run(for_s)

    def warm(self) -> None:
        self.set(oak_air=24.0)
        self.run(600.0)

    def rung(self) -> int:
        """How often oak's cold has called somebody."""
        return len([push for push in pushes(self.told, "cold/oak") if f"/{S.UNACKNOWLEDGED.value}/" in push.key])


@pytest.fixture
def shelf(tmp_path: Path) -> Iterator[Shelf]:
    shelf = Shelf(tmp_path)
    yield shelf
    shelf.desk.close()


def test_alarms_lists_what_is_not_normal_with_its_numbers(shelf: Shelf) -> None:
    """One cold tub is one entry, with name, state, priority, how long, and a sentence that says how cold it is now."""
    assert shelf.desk.listed() == {}
    shelf.cold()
    (cold,) = shelf.desk.ask("alarms")["alarms"]
    assert (cold["id"], cold["enclosure"], cold["name"], cold["title"]) == ("cold/oak", "oak", "Oak", "cold")
    assert (cold["state"], cold["priority"], cold["acknowledged"]) == ("unacknowledged", "high", False)
    assert _HOUR_S <= cold["active_s"] <= _HOUR_S + 120.0
    assert "now 20.0 °C" in cold["text"]
    assert "2026-01-16T17:00:00Z" <= cold["since"] <= "2026-01-16T17:01:00Z"


def test_an_acknowledged_alarm_never_rings_until_it_is_over_and_back(shelf: Shelf) -> None:
    """With calls after 15 and 30 min: none in two days once acknowledged, and the first one anew with the next cold."""
    shelf.cold()
    shelf.run(1000.0)
    assert shelf.rung() == 2
    assert shelf.desk.ask("ack", "cold/oak")["alarms"] == ["cold/oak"]
    shelf.run(2 * DAY_S)
    assert shelf.rung() == 2
    shelf.warm()
    shelf.cold()
    assert shelf.rung() == 3


def test_an_acknowledgement_after_the_return_takes_the_alarm_off_the_list(shelf: Shelf) -> None:
    """Over but not acknowledged it stays listed, with the sentence that told its end; acknowledged it is normal."""
    shelf.cold()
    shelf.warm()
    told = shelf.desk.listed()["cold/oak"]
    assert told["state"] == "returned-unacknowledged"
    assert told["text"].startswith("Oak is back")
    assert shelf.desk.ask("ack", "oak")["alarms"] == ["cold/oak"]
    assert shelf.desk.listed() == {}


def test_a_tub_means_all_its_alarms_and_nobody_elses(shelf: Shelf) -> None:
    """`shelve oak` shelves each of oak's alarms and none of alder's."""
    done = shelf.desk.ask("shelve", "oak", for_s=4 * _HOUR_S)
    listed = shelf.desk.listed()
    expected = ["blind-probe/oak-air", "blind/oak", "cold/oak", "hot/oak", "unsteady-probe/oak-air"]
    assert sorted(done["alarms"]) == sorted(listed) == expected
    assert {alarm["state"] for alarm in listed.values()} == {"shelved"}


def test_a_shelved_alarm_rings_when_its_time_is_over_not_before(shelf: Shelf) -> None:
    """Cold through four hours of shelf: no call; then one, as if it had begun."""
    assert shelf.desk.ask("shelve", "cold/oak", for_s=4 * _HOUR_S)["ok"]
    shelf.cold(4 * _HOUR_S - 60.0)
    assert shelf.rung() == 0
    assert 0 < shelf.desk.listed()["cold/oak"]["shelved_left_s"] <= 60
    shelf.run(120.0)
    assert shelf.rung() == 1


def test_a_shelf_for_once_ends_with_that_time(shelf: Shelf) -> None:
    """`--once` while it is warm covers the next cold, and the one after it rings."""
    assert shelf.desk.ask("shelve", "cold/oak", once=True)["shelved_left_s"] == DAY_S
    assert shelf.desk.listed()["cold/oak"]["one_shot"]
    shelf.cold()
    shelf.warm()
    assert (shelf.rung(), shelf.desk.listed()) == (0, {})
    shelf.cold()
    assert shelf.rung() == 1


@pytest.mark.parametrize("for_s", [DAY_S + 1, 0, -1, "long", None, float("nan"), 10**400], ids=lambda s: repr(s)[:6])
def test_a_shelf_longer_than_the_limit_or_of_no_length_is_refused(shelf: Shelf, for_s: object) -> None:
    """More than shelve_at_most_h, or no number of seconds above zero: nothing is shelved."""
    answer = shelf.desk.ask("shelve", "oak", for_s=for_s)
    assert (answer["ok"], answer["refused"], shelf.desk.listed()) == (False, True, {})


def test_unshelve_shows_a_cold_tub_at_once(shelf: Shelf) -> None:
    """Taken off the shelf while it is cold, it rings."""
    shelf.desk.ask("shelve", "cold/oak", for_s=4 * _HOUR_S)
    shelf.cold()
    assert shelf.desk.ask("unshelve", "oak")["alarms"] == ["cold/oak"]
    shelf.cycle()
    assert (shelf.rung(), shelf.desk.listed()["cold/oak"]["state"]) == (1, "unacknowledged")


def test_out_of_service_is_silent_until_put_back_and_says_that_the_guard_goes_on(shelf: Shelf) -> None:
    """Days of cold tell nobody; put back, it rings."""
    answer = shelf.desk.ask("service", "cold/oak", on=False)
    assert "guard goes on" in answer["text"]
    shelf.cold(2 * DAY_S)
    assert (shelf.rung(), shelf.desk.listed()["cold/oak"]["state"]) == (0, "out-of-service")
    assert not shelf.desk.ask("service", "cold/oak", on=False)["ok"]
    assert shelf.desk.ask("service", "oak", on=True)["alarms"] == ["cold/oak"]
    shelf.cycle()
    assert shelf.rung() == 1


def test_status_shows_what_is_acknowledged_and_what_tells_nobody(shelf: Shelf) -> None:
    """A forgotten shelf or an alarm out of service stands in `status`, and an acknowledged alarm as such."""
    shelf.cold()
    shelf.desk.ask("ack", "cold/oak")
    shelf.desk.ask("shelve", "hot/oak", for_s=3600)
    shelf.desk.ask("service", "blind/alder", on=False)
    text = status_text(shelf.desk.ask("status")["status"], "Our shelf", Unit.C, ZoneInfo("Europe/Amsterdam"))
    assert "ALARM cold/oak: on for 1 h 1 min, acknowledged\n" in text
    assert "\ntold to nobody, shelved: hot/oak\ntold to nobody, out-of-service: blind/alder" in text


def test_an_unknown_id_suggests_near_ones(shelf: Shelf) -> None:
    """A slip of the finger is answered with what may have been meant; `all` is for acknowledging alone."""
    answer = shelf.desk.ask("ack", "cold/oka")
    assert (answer["ok"], answer["unknown"]) == (False, True)
    assert "did you mean cold/oak" in answer["text"]
    assert shelf.desk.ask("shelve", "all", for_s=60)["unknown"]
    assert shelf.desk.ask("ack", "all")["ok"]


def test_who_did_it_stands_in_the_change_and_in_the_deed(shelf: Shelf) -> None:
    """The kernel's word on the other end of the socket, as a user name, whatever the request says."""
    shelf.cold()
    shelf.desk.ask("ack", "cold/oak", by="somebody else")
    change = next(e for e in shelf.told if isinstance(e, AlarmChanged) and e.state is S.ACKNOWLEDGED)
    (deed,) = (e for e in shelf.told if isinstance(e, PersonDid))
    assert change.by == deed.by == getpass.getuser()
    assert (deed.verb, deed.target, deed.ok) == ("ack", "cold/oak", True)


def test_a_shelf_outlives_a_restart_and_ends_when_it_was_to_end(tmp_path: Path) -> None:
    """Shelved for two hours, restarted within: cold rings when it is over; the record says who."""
    world = House(house(tmp_path, heated=(), unheated=("alder",), start_c=21.0, alarms="inverse = false"))
    try:
        _ask(world, tmp_path, "shelve", "cold/alder", for_s=2 * _HOUR_S)
        world.pass_time(1.5 * _HOUR_S)
        world.restart()
        world.pass_time(0.4 * _HOUR_S)
        assert alarms(world.told(AlarmChanged), "cold/alder") == [S.SHELVED]
        world.pass_time(0.2 * _HOUR_S)
        assert alarms(world.told(AlarmChanged), "cold/alder")[:2] == [S.SHELVED, S.UNACKNOWLEDGED]
    finally:
        world.close()
    (deed,) = Recorded(tmp_path).deeds()
    assert (deed.by, deed.verb, deed.target, deed.ok) == (getpass.getuser(), "shelve", "cold/alder", True)


def test_a_clock_set_back_does_not_prolong_a_shelf(tmp_path: Path) -> None:
    """Set back by ten hours while it runs, and again over a restart: two hours of shelf are two hours of running."""
    world = House(house(tmp_path, heated=(), unheated=("alder",), start_c=21.0, alarms="inverse = false"))
    try:
        _ask(world, tmp_path, "shelve", "cold/alder", for_s=2 * _HOUR_S)
        world.pass_time(_HOUR_S)
        world.clock.step_wall(-10 * _HOUR_S)
        world.pass_time(60.0)
        world.clock.step_wall(-10 * _HOUR_S)
        world.restart()
        world.pass_time(1.1 * _HOUR_S)
        assert alarms(world.told(AlarmChanged), "cold/alder")[:2] == [S.SHELVED, S.UNACKNOWLEDGED]
    finally:
        world.close()


def _ask(world: House, directory: Path, do: str, target: str, **more: object) -> None:
    station = world.run.station
    desk = Desk(directory, station, lambda: world.pass_time(10.0))
    assert desk.ask(do, target, **more)["ok"]
    desk.close()
